/* thruster. gates on port d, see drawing.
 * top row of the connector: phase A high is pin PD2, phase B high is PD3, phase C high is PD5 */
#include <avr/io.h>
#include <util/delay.h>

unsigned char tab[6] = { 0x14, 0x84, 0x88, 0x0A, 0x22, 0x30 };   /* one high, one low each */

int main(void)
{
	unsigned char i = 0;

	DDRD = 0xBE;
	while (1) {
		PORTD = tab[i];
		_delay_us(150);
		PORTD = 0;
		_delay_ms(5);
		if (++i > 5) i = 0;
	}
}
