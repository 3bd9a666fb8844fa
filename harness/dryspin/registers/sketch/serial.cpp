/*
 * serial.cpp - the serial output of sketches; write() waits for room, as there is no buffer behind it.
 */
#include "sketch.h"

SerialOutput Serial;

void SerialOutput::begin(uint32_t baud)
{
	/* double speed, rounded; data sheet, "Equations for Calculating Baud Rate Register Setting" */
	UCSR0A = _BV(U2X0);
	UBRR0 = (uint16_t)((F_CPU / 4 / baud - 1) / 2);
	UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
	UCSR0B = _BV(TXEN0);
}

void SerialOutput::write(uint8_t byte)
{
	while (!(UCSR0A & _BV(UDRE0))) {
	}
	UDR0 = byte;
}

void SerialOutput::flush(void)
{
	while (!(UCSR0A & _BV(TXC0))) {
	}
}

void SerialOutput::print(const char *text)
{
	while (*text)
		write((uint8_t)*text++);
}

void SerialOutput::print(unsigned long n, int base)
{
	char digits[33];
	uint8_t k = 0;

	do {
		digits[k++] = "0123456789ABCDEF"[n % (unsigned)base];
		n /= (unsigned)base;
	} while (n > 0);
	while (k > 0)
		write((uint8_t)digits[--k]);
}

void SerialOutput::print(long n, int base)
{
	if (n < 0 && base == DEC) {
		write('-');
		print(0UL - (unsigned long)n, base);
	} else {
		print((unsigned long)n, base);
	}
}

void SerialOutput::print(double x, int digits)
{
	double half = 0.5;
	unsigned long whole;

	if (x < 0) {
		write('-');
		x = -x;
	}
	for (int k = 0; k < digits; k++)
		half /= 10;
	x += half;
	whole = (unsigned long)x;
	print(whole);
	if (digits > 0)
		write('.');
	for (x -= (double)whole; digits > 0; digits--) {
		x *= 10;
		write((uint8_t)('0' + (int)x));
		x -= (int)x;
	}
}
