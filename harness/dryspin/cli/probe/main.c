/* Winding U against V for 100 us, from standstill: the current of an R-L circuit, known in closed form. */
#include "drive_port.h"

#define ON_TICKS 200U

void on_throttle_edge(void) {}
void on_compare_a(void) {}
void on_compare_b(void) {}
void on_wrap(void) {}
void on_converter_done(void) {}
void on_comparator_edge(void) {}

int main(void)
{
    port_leg(PORT_V, PORT_LOW);
    port_leg(PORT_U, PORT_HIGH);
    uint16_t begun = port_ticks();
    while ((uint16_t)(port_ticks() - begun) < ON_TICKS) {
    }
    port_all_open();
    for (;;) {
        port_interrupts_off();
        port_idle();
    }
}
