/*
 * serial.c - the serial output: a byte in the shift register, one in the buffer (section "Data Transmission").
 * Nothing is ever received.
 */
#include "part.h"

enum { EMPTY_VECTOR = 19, SENT_VECTOR = 20 };

void serial_reset(void)
{
	part.sent = NEVER;
	part.waiting = -1;
	dryspin_registers[UCSR0C] = BIT(UCSZ00) | BIT(UCSZ01);
}

/* Section "Frame Formats": a start bit, 5 to 9 bits of data, a parity bit or none, one or two stop bits. */
static int frame_bits(void)
{
	uint8_t c = dryspin_registers[UCSR0C];
	int size = (c >> UCSZ00 & 3) | (dryspin_registers[UCSR0B] & BIT(UCSZ02) ? 4 : 0);
	if (size > 3 && size < 7)
		part_refuse("UCSZ = %d is reserved", size);
	return 1 + (size == 7 ? 9 : 5 + size) + (c & BIT(UPM01) ? 1 : 0) + (c & BIT(USBS0) ? 2 : 1);
}

static int64_t frame_cycles(void)
{
	int64_t divider = dryspin_registers[UBRR0L] | (dryspin_registers[UBRR0H] & 15) << 8;
	return frame_bits() * (dryspin_registers[UCSR0A] & BIT(U2X0) ? 8 : 16) * (divider + 1);
}

static void send(uint8_t byte, int64_t cycle)
{
	part.sent = cycle + frame_cycles();
	record(SIGNAL_SERIAL, byte, cycle, part.who.pc, part.who.caller);
}

int64_t serial_next(void)
{
	return part.sent;
}

void serial_at(int64_t cycle)
{
	if (part.sent > cycle)
		return;
	part.sent = NEVER;
	if (part.waiting >= 0) {
		send((uint8_t)part.waiting, cycle);
		part.waiting = -1;
	} else {
		ctl.irq_pending |= BIT(SENT_VECTOR);
	}
	vectors_watch();
}

void serial_write(uint8_t at, uint8_t value)
{
	switch (at) {
	case UDR0:
		if (dryspin_registers[PRR] & BIT(PRUSART0))
			part_refuse("UDR0 is written while PRR (PRUSART0) keeps the serial interface off", 0);
		if (!(dryspin_registers[UCSR0B] & BIT(TXEN0)))
			break;
		if (part.sent == NEVER)
			send(value, ctl.now);
		else if (part.waiting < 0) /* "can only be written when UDRE is set", else it is lost */
			part.waiting = value;
		break;
	case UCSR0A:
		if (value & BIT(TXC0))
			ctl.irq_pending &= ~BIT(SENT_VECTOR);
		dryspin_registers[at] = value & (BIT(U2X0) | BIT(MPCM0));
		break;
	case UCSR0B:
		if (value & BIT(RXCIE0))
			part_refuse("RXCIE0: nothing is ever received on the rig, so the handler would never run", 0);
		ctl.irq_enabled &= ~(BIT(EMPTY_VECTOR) | BIT(SENT_VECTOR));
		ctl.irq_enabled |= value & BIT(UDRIE0) ? BIT(EMPTY_VECTOR) : 0;
		ctl.irq_enabled |= value & BIT(TXCIE0) ? BIT(SENT_VECTOR) : 0;
		break;
	case UCSR0C:
		if (value & (BIT(UMSEL00) | BIT(UMSEL01)))
			part_refuse("UMSEL = %d: the rig models the asynchronous serial output only", value >> UMSEL00);
		break;
	default:
		break;
	}
	vectors_watch();
}

uint8_t serial_read(uint8_t at)
{
	if (at == UDR0)
		return 0;
	if (at == UCSR0A)
		return (uint8_t)((dryspin_registers[at] & (BIT(U2X0) | BIT(MPCM0))) | (part.waiting < 0 ? BIT(UDRE0) : 0) |
		                 (ctl.irq_pending & BIT(SENT_VECTOR) ? BIT(TXC0) : 0));
	return dryspin_registers[at];
}
