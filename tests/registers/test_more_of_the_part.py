"""Capture from the comparator, the store's first contents, frames, buffers, outputs that interrupt."""

import numpy as np
import pytest

from dryspin.errors import RigError
from dryspin.recording import Recording, Signal

from ..small_firmware import Told
from .conftest import RegisterBench

SENSE = "ADCSRB = _BV(ACME); ADMUX = 0;"


def driven(bench: RegisterBench, text: str) -> Recording:
    """A rotor turned at 600 rpm, 70 electrical turns a second: the comparator changes."""
    return bench.run(text, 0.12, speed_rpm=((0.0, 600.0),))


@pytest.mark.parametrize(
    ("edge", "level", "canceller", "late"),
    [("", 1, "", 1), ("", 1, " | _BV(ICNC1)", 5), ("_BV(ICES1) | ", 0, "", 1)],
    ids=["falling", "falling, noise cancelled", "rising"],
)
def test_the_capture_unit_takes_the_count_at_the_comparator_s_edge(
    bench: RegisterBench, edge: str, level: int, canceller: str, late: int
) -> None:
    """Register ACSR, ACIC; ACO is 1 while the phase lies below the neutral, so ACO falls as it rises above.

    The capture unit sees it a cycle before ACO does, and is late by two cycles, and by four of the canceller
    (DS40001906C p. 165): by one or five after the level that software could read.
    """
    recording = driven(
        bench,
        "ISR(TIMER1_CAPT_vect) { say(ICR1); }\n"
        f"int main(void) {{ {SENSE} TCCR1B = {edge}_BV(CS10){canceller}; ACSR = _BV(ACIC); TIFR1 = _BV(ICF1);"
        " TIMSK1 = _BV(ICIE1); sei(); for (;;) { } }",
    )
    cycles, values, _ = recording.of(Signal.COMPARATOR)
    edges = cycles[(values == level) & (cycles > 1_040_005)]
    entries = recording.of(Signal.HANDLER)
    taken = entries[0][entries[1] == 11]
    counts = np.array(Told(recording).numbers)

    assert len(edges) >= 3
    assert list(taken - edges[: len(taken)]) == [late] * len(taken)
    assert list(np.diff(counts) % 65536) == list(np.diff(taken) % 65536)[: len(counts) - 1]


def test_choosing_the_comparator_as_the_source_may_capture(bench: RegisterBench) -> None:
    """8025I p. 121: "changing trigger source can trigger a capture", so the flag must be cleared after it."""
    assert bench.told(
        "TCCR1B = _BV(CS10); TIFR1 = _BV(ICF1); ACSR = _BV(ACIC); say(TIFR1 & _BV(ICF1));"
        "TIFR1 = _BV(ICF1); ACSR = _BV(ACIC); say(TIFR1 & _BV(ICF1));"
    ) == [32, 0]


def test_the_throttle_is_no_longer_captured_while_the_comparator_is(bench: RegisterBench) -> None:
    """One unit, one source."""
    recording = bench.run(
        f"ISR(TIMER1_CAPT_vect) {{ }} int main(void) {{ {SENSE} TCCR1B = _BV(ICES1) | _BV(CS11);"
        " ACSR = _BV(ACIC); TIFR1 = _BV(ICF1); TIMSK1 = _BV(ICIE1); sei(); for (;;) { } }",
        0.2,
        throttle_us=((0.0, 1500.0),),
    )
    comparator = recording.of(Signal.COMPARATOR)
    changes = int(np.sum((comparator[0] > 1_041_000) & (comparator[1] == 0)))

    assert int(np.sum(recording.of(Signal.THROTTLE)[0] > 1_041_000)) >= 10
    assert int(np.sum(recording.of(Signal.HANDLER)[1] == 11)) <= changes


STORE = """\
#include <avr/eeprom.h>
uint8_t EEMEM first = 0x41;
uint16_t EEMEM second = 0x1234;
uint8_t EEMEM plain;
"""


def test_initialisers_of_the_store_are_there_at_power_on(bench: RegisterBench) -> None:
    """As the programmer writes them from the file for it; the rest is erased."""
    text = (
        STORE + "int main(void) { say(eeprom_read_byte(&first)); say(eeprom_read_word(&second));"
        " say(eeprom_read_byte(&plain)); say(eeprom_read_byte((uint8_t *)100)); stop(); }"
    )

    assert Told(bench.run(text)).numbers == [0x41, 0x1234, 0, 0xFF]


def test_what_was_written_outlives_a_reset_and_a_scenario_s_bytes_go_first(bench: RegisterBench) -> None:
    """Initialisers are the programmer's doing, once; a scenario tells another past."""
    from dryspin.scenario import Fault

    text = (
        STORE + "int main(void) { uint8_t was = eeprom_read_byte(&first); say(was);"
        " eeprom_update_byte(&first, 0x77); stop(); }"
    )

    marks = Told(bench.run(text, 0.2, faults=(Fault("reset", 0.1),))).marks

    assert [value for _, value in marks] == [0, 0x41, 0, 0, 0x77]
    assert Told(bench.run(text, store="05" * 8)).numbers == [5]


@pytest.mark.parametrize(
    ("setting", "bits"),
    [
        ("", 10),
        ("UCSR0C = _BV(UCSZ01) | _BV(UCSZ00) | _BV(USBS0);", 11),
        ("UCSR0C = _BV(UPM01) | _BV(UCSZ01) | _BV(UCSZ00);", 11),
        ("UCSR0C = _BV(UCSZ01);", 9),
    ],
    ids=["8N1", "8N2", "8E1", "7N1"],
)
def test_frames_are_as_long_as_their_format(bench: RegisterBench, setting: str, bits: int) -> None:
    """Section "Frame Formats": start, data, parity, stop bits; each of 16 (UBRR + 1) cycles."""
    recording = bench.run(
        f"int main(void) {{ UBRR0 = 3; {setting} UCSR0B = _BV(TXEN0);"
        " for (uint8_t k = 'a'; k < 'd'; k++) { while (!(UCSR0A & _BV(UDRE0))) { } UDR0 = k; } stop(); }"
    )

    assert list(np.diff(recording.of(Signal.SERIAL)[0])) == [bits * 64] * 2


def test_pins_without_their_digital_buffer_read_as_zero(bench: RegisterBench) -> None:
    """DIDR0, DIDR1: "The corresponding PIN Register bit will always read as zero when this bit is set"."""
    assert bench.told(
        "PORTC = 0x30; say(PINC & 0x30); DIDR0 = _BV(ADC4D); say(PINC & 0x30);"
        "DDRD = _BV(PD6); PORTD = _BV(PD6); say(PIND & 0x40); DIDR1 = _BV(AIN0D); say(PIND & 0x40);"
    ) == [0x30, 0x20, 0x40, 0]


def test_an_output_that_changes_interrupts_as_an_input_does(bench: RegisterBench) -> None:
    """Section "External Interrupts": as outputs too, "a way of generating a software interrupt"."""
    told = bench.told(
        "DDRC = _BV(PC5); DDRD = _BV(PD2); PCMSK1 = _BV(PCINT13); PCICR = _BV(PCIE1);"
        "EICRA = _BV(ISC01); EIMSK = _BV(INT0); sei();"
        "PORTC = _BV(PC5); (void)TCNT0; PORTD = _BV(PD2); (void)TCNT0; PORTD = 0; (void)TCNT0;"
        "PORTC = _BV(PC5); (void)TCNT0;",
        before="ISR(PCINT1_vect) { say(5); }\nISR(INT0_vect) { say(2); }",
    )

    assert told == [5, 2]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("SMCR = _BV(SM0) | _BV(SE); dryspin_sleep();", "sleep mode SM = 1 stops clocks"),
        ("SMCR = _BV(SM1) | _BV(SM0) | _BV(SE); dryspin_sleep();", "sleep mode SM = 3 stops clocks"),
        ("SMCR = _BV(SM2) | _BV(SM1) | _BV(SE); dryspin_sleep();", "sleep mode SM = 6 stops clocks"),
        ("dryspin_sleep();", "sleep with SE of SMCR clear"),
        (f"{SENSE} PRR = _BV(PRADC); (void)ACSR;", "PRR (PRADC) shuts the ADC down"),
        ("PRR = _BV(PRUSART0); UCSR0B = _BV(TXEN0); UDR0 = 1;", "PRUSART0"),
        ("UCSR0B = _BV(RXCIE0) | _BV(RXEN0);", "nothing is ever received"),
        ("UCSR0B = _BV(UCSZ02) | _BV(TXEN0); UCSR0C = 0; UDR0 = 1;", "UCSZ = 4 is reserved"),
        ("UCSR0C = _BV(UMSEL00);", "asynchronous serial output only"),
        ("ADCSRA = _BV(ADEN) | _BV(ADATE); ADCSRB = 3;", "started by another unit (ADTS = 3)"),
        ("EECR = _BV(EERIE);", "store's own interrupt"),
        ("EECR = _BV(EEPM0);", "erasing and writing the store apart (EEPM = 1)"),
        ("EIMSK = _BV(INT0);", "INT0 by level"),
        ("MCUCR = _BV(PUD);", "neither vectors elsewhere nor pull-ups off"),
        ("PRR = _BV(PRTIM1);", "stops timers"),
        ("DDRB = _BV(PB1); TCCR1A = _BV(WGM10) | _BV(COM1A1); TCCR1B = 1;", "low FET of leg 1"),
        ("TCCR1B = _BV(CS12) | _BV(CS11) | _BV(CS10);", "timer 1 counts edges at a pin"),
        ("TCCR2A = _BV(WGM21); TCCR2B = _BV(WGM22) | 1; TCCR2A = 0;", "is reserved"),
        ("ADMUX = _BV(REFS0) | 8; ADCSRA = _BV(ADEN) | _BV(ADSC); while (1) (void)ADCSRA;", "channel 8"),
    ],
)  # fmt: skip
def test_every_mode_that_is_not_modelled_ends_the_run_at_its_line(
    bench: RegisterBench, text: str, words: str
) -> None:
    """An unmodelled register or mode must never be silently ignored."""
    with pytest.raises(RigError) as error:
        bench.run(f"int main(void)\n{{\n{text}\nfor (;;) {{ }} }}")

    assert words in str(error.value)
    assert "main.c:7" in str(error.value)
