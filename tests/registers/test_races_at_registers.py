"""Races at registers of the part: what masks too little, and what shares a byte without seeming to."""

from dataclasses import replace

from dryspin.faults import Inspector
from dryspin.registers import register_names

from ..small_firmware import scenario
from .conftest import RegisterBench

TEXT = """\
ISR(TIMER1_COMPA_vect)
{
	PORTB ^= 0x0C;
	TCCR2A |= 3;
	GPIOR1 = (uint8_t)TCNT1;
	OCR1A = 999;
	TIFR1 = 2;
}
ISR(TIMER1_OVF_vect) { }
int main(void)
{
	TCCR1B = _BV(CS10);
	TIMSK1 = _BV(OCIE1A) | _BV(TOIE1);
	sei();
	for (;;) {
		PORTB |= 0x30; // FAULT lost update: PORTB
		PORTB &= 0xCF; // FAULT lost update: PORTB
		TCCR2A &= 0xFE; // FAULT lost update: TCCR2A
		GPIOR0 = (uint8_t)TCNT1; // FAULT torn read: TCNT1
		OCR1B = 7; // FAULT torn write: OCR1B
		PORTB |= 0x10; // one bit within reach of sbi
		TCCR2A = 1; // a store without a read
		TCCR2B |= 3; // no handler's register
		TIFR1 |= _BV(OCF1B); // a flag, where zeros do nothing
		GPIOR0 = (uint8_t)OCR1A; // without the temporary byte
		cli();
		TCCR2A &= 0xFE;
		sei();
		TIMSK1 = _BV(TOIE1);
		TCCR2A &= 0xFE;
		OCR1B = 8;
		TIMSK1 = _BV(OCIE1A) | _BV(TOIE1);
	}
}
"""


def test_what_a_handler_may_undo_or_spoil_is_found_and_nothing_else(bench: RegisterBench) -> None:
    """Data sheet, "Accessing 16-bit Registers": interrupts off, if a handler accesses one of them, too.

    Reading OCR1A/B does not involve the temporary byte. SBI and CBI are one instruction (instruction set
    manual).
    """
    bench.image(TEXT)
    drive = replace(
        bench.drive,
        firmware=replace(bench.drive.firmware, sources=("main.c",)),
        controller=replace(bench.drive.controller, block_cycles=6),
    )
    inspector = Inspector(drive, bench.folder)
    found = inspector.judge(inspector.evidence([scenario(0.075)])).faults
    lines = bench.sources["main.c"].splitlines()

    told = {f"{f.kind}: {f.variable}": lines[int(f.place.line.rpartition(":")[2]) - 1] for f in found}
    assert len(found) == TEXT.count("FAULT")
    assert all(line.endswith(f"// FAULT {what}") for what, line in told.items())
    assert {str(f.against).partition(" in ")[2] for f in found} == {"TIMER1_COMPA_vect()"}


def test_names_of_registers_are_those_of_their_addresses() -> None:
    """Data sheet, "Register Summary": data address and width."""
    names = register_names()

    assert names[0x25, 1] == "PORTB"
    assert names[0x6F, 1] == "TIMSK1"
    assert names[0x84, 2] == "TCNT1"
