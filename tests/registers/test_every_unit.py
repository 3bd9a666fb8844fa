"""What a drive uses of the part, unit by unit, where no other file here has a test for it."""

import numpy as np
import pytest

from dryspin.recording import Signal

from ..small_firmware import Told
from .conftest import RegisterBench

WAIT = "for (uint8_t k = 0; k < 50; k++) (void)TCNT0;"

# ---- timers at their pins -----------------------------------------------------------------------


def pulses(bench: RegisterBench, pin: str, setting: str) -> tuple[set[int], set[int]]:
    """Periods and lengths of the pulses at a compare output that leads to the high FET of V (cycles)."""
    high = ("PD3", pin, "PD5") if pin not in ("PD3", "PD5") else ("PB3", pin, "PB2")
    low = tuple(p for p in ("PD4", "PD7", "PC5", "PB0"))[:3]
    port = pin[1]
    recording = bench.wired(high=high, low=low, throttle="", steady={}).run(
        f"int main(void) {{ DDR{port} = _BV({pin}); {setting} for (;;) {{ }} }}", 0.075
    )
    cycles, values, _ = recording.of(Signal.GATE_V)
    on, off = cycles[values == 1], cycles[1:][values[1:] == 0]
    n = min(len(on), len(off))
    return set(np.diff(on)[1:].tolist()), set((off[:n] - on[:n])[1:].tolist())


PWM = {
    "timer 0, fast": (
        "PD5",
        "OCR0B = 63; TCCR0A = _BV(COM0B1) | _BV(WGM01) | _BV(WGM00); TCCR0B = _BV(CS01);",
        256 * 8,
        64 * 8,
    ),
    "timer 0, fast to OCR0A": (
        "PD5",
        "OCR0A = 99; OCR0B = 24; TCCR0A = _BV(COM0B1) | _BV(WGM01) | _BV(WGM00);"
        " TCCR0B = _BV(WGM02) | _BV(CS00);",
        100,
        25,
    ),
    "timer 0, inverted": (
        "PD5",
        "OCR0B = 63; TCCR0A = _BV(COM0B1) | _BV(COM0B0) | _BV(WGM00); TCCR0B = _BV(CS00);",
        510,
        510 - 126,
    ),
    "timer 1, fast to ICR1": (
        "PB1",
        "ICR1 = 799; OCR1A = 199; TCCR1A = _BV(COM1A1) | _BV(WGM11);"
        " TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS10); ICR1 = 799;",
        800,
        200,
    ),
    "timer 1, phase-correct to ICR1": (
        "PB2",
        "TCCR1A = _BV(COM1B1) | _BV(WGM11); TCCR1B = _BV(WGM13);"
        " ICR1 = 400; OCR1B = 100; TCCR1B = _BV(WGM13) | _BV(CS10);",
        800,
        200,
    ),
    "timer 1, phase and frequency correct": (
        "PB1",
        "TCCR1B = _BV(WGM13); ICR1 = 400; OCR1A = 100; TCCR1A = _BV(COM1A1);"
        " TCCR1B = _BV(WGM13) | _BV(CS10);",
        800,
        200,
    ),
    "timer 1, 9 bits": (
        "PB1",
        "OCR1A = 100; TCCR1A = _BV(COM1A1) | _BV(WGM11); TCCR1B = _BV(CS10);",
        1022,
        200,
    ),
    "timer 2, prescaler 32": (
        "PD3",
        "OCR2B = 9; TCCR2A = _BV(COM2B1) | _BV(WGM21) | _BV(WGM20); TCCR2B = _BV(CS21) | _BV(CS20);",
        256 * 32,
        10 * 32,
    ),
}
"""Pin, setting, period and pulse by the formulae of the data sheet's sections on the modes."""


@pytest.mark.parametrize("name", PWM)
def test_compare_outputs_have_period_and_pulse_of_their_mode(bench: RegisterBench, name: str) -> None:
    """Fast: N (1 + TOP), high OCR + 1 ticks; phase-correct: 2 N TOP, high 2 OCR (2467P p. 152)."""
    pin, setting, period, pulse = PWM[name]

    assert pulses(bench, pin, setting) == ({period}, {pulse})


def test_an_output_toggled_on_match_has_twice_the_period_of_the_matches(bench: RegisterBench) -> None:
    """Section "Clear Timer on Compare Match Mode": f / (2 N (1 + OCR))."""
    setting = "OCR2A = 49; TCCR2A = _BV(COM2A0) | _BV(WGM21); TCCR2B = _BV(CS21);"

    assert pulses(bench, "PB3", setting) == ({2 * 50 * 8}, {50 * 8})


def test_a_forced_match_acts_at_the_pin_and_sets_no_flag(bench: RegisterBench) -> None:
    """FOC2A: "will not set the OCF2A Flag"; the pin is as COM says."""
    told = bench.told(
        "DDRB = _BV(PB3); TCCR2A = _BV(COM2A1) | _BV(COM2A0); say(PINB & 8); TCCR2B = _BV(FOC2A);"
        "say(PINB & 8); say(TIFR2);"
    )

    assert told == [0, 8, 0]


def test_a_compare_value_is_buffered_in_timer_1_until_the_count_is_at_bottom(bench: RegisterBench) -> None:
    """Phase and frequency correct: taken over at BOTTOM; the register reads the new one."""
    told = bench.told(
        "TCCR1B = _BV(WGM13); ICR1 = 1000; OCR1A = 300; TCCR1B = _BV(WGM13) | _BV(CS11);"
        "while (TCNT1 < 100) { } OCR1A = 200; TIFR1 = 0xFF; say(OCR1A);"
        "while (!(TIFR1 & _BV(OCF1A))) { } say(TCNT1 >= 300 && TCNT1 <= 303);"
    )

    assert told == [200, 1]


def test_a_sixteen_bit_register_takes_the_high_byte_that_was_written_before(bench: RegisterBench) -> None:
    """Section "Accessing 16-bit Registers": one shared byte; low first takes the old high one."""
    told = bench.told(
        "OCR1AH = 0x12; OCR1AL = 0x34; say(OCR1A); OCR1BL = 0x56; OCR1BH = 0x78; say(OCR1B);"
        "TCNT1 = 0x0A0B; uint8_t low = TCNT1L; uint8_t high = TCNT1H; say(high << 8 | low);"
    )

    assert told == [0x1234, 0x1256, 0x0A0B]


# ---- interrupts ---------------------------------------------------------------------------------


def test_handlers_by_every_macro_are_entered(bench: RegisterBench) -> None:
    """SIGNAL as ISR, an empty one for its wake-up alone, and BADISR_vect for whatever has none of its own."""
    recording = bench.run(
        "SIGNAL(TIMER0_OVF_vect) { GPIOR1++; }\nEMPTY_INTERRUPT(TIMER2_OVF_vect)\n"
        "ISR(BADISR_vect) { TIMSK1 = 0; say(99); }\n"
        "int main(void) { TIMSK0 = _BV(TOIE0); TIMSK1 = _BV(TOIE1); TIMSK2 = _BV(TOIE2);"
        " TCCR0B = 1; TCCR2B = 1; TCCR1A = _BV(WGM10); TCCR1B = _BV(WGM12) | 1; sei(); for (;;) { } }",
        0.067,
    )
    handlers = set(recording.of(Signal.HANDLER)[1].tolist())

    assert handlers == {0, 10, 14, 17}
    assert Told(recording).numbers == [99]


@pytest.mark.parametrize(
    ("sense", "levels"), [(1, {0, 1}), (2, {0}), (3, {1})], ids=["any", "falling", "rising"]
)
def test_external_interrupts_come_at_the_chosen_edge(
    bench: RegisterBench, sense: int, levels: set[int]
) -> None:
    """Table "Interrupt 1 Sense Control": ISC1 1 any change, 2 falling, 3 rising; INT1 is PD3."""
    recording = bench.wired(throttle="PD3", high=("PD5", "PB3", "PB0")).run(
        f"ISR(INT1_vect) {{ say(PIND >> PD3 & 1); }} int main(void) {{ EICRA = {sense} << ISC10;"
        " EIFR = _BV(INTF1); EIMSK = _BV(INT1); sei(); for (;;) { } }",
        0.15,
        throttle_us=((0.0, 1500.0),),
    )

    assert set(Told(recording).numbers) == levels


def test_sleep_in_idle_ends_with_a_handler_and_loses_no_wake_up(bench: RegisterBench) -> None:
    """4 cycles of waking besides the 7 of entry (8271H section 7.7.1), and those of the handler."""
    told = bench.told(
        "TCCR1B = _BV(CS10); OCR1A = 400; TIFR1 = 0xFF; TIMSK1 = _BV(OCIE1A);"
        "set_sleep_mode(SLEEP_MODE_IDLE); sleep_enable(); sei(); sleep_cpu(); sleep_disable(); cli();"
        "say(GPIOR0); say(TCNT1 > 410 && TCNT1 < 450);",
        before="#include <avr/sleep.h>\nISR(TIMER1_COMPA_vect) { GPIOR0 = 1; }",
    )

    assert told == [1, 1]


# ---- converter, comparator ----------------------------------------------------------------------


def test_a_conversion_takes_25_clocks_at_first_and_13_then(bench: RegisterBench) -> None:
    """8271H p. 241; prescaler 8: 200 and 104 cycles, seen by a loop of some ten cycles."""
    first, second = bench.told(
        "ADMUX = _BV(REFS0) | 3; TCCR1B = _BV(CS10); ADCSRA = _BV(ADEN) | 3;"
        "uint16_t a = TCNT1; ADCSRA |= _BV(ADSC); while (ADCSRA & _BV(ADSC)) { } say(TCNT1 - a);"
        "a = TCNT1; ADCSRA |= _BV(ADSC); while (ADCSRA & _BV(ADSC)) { } say(TCNT1 - a);"
    )

    assert 200 <= first <= 220
    assert 104 <= second <= 124


def test_a_conversion_gives_the_bus_through_its_divider_and_the_bandgap(bench: RegisterBench) -> None:
    """1023 V / Vref: 11.1 V by 10 / 43 is 2.58 V of 5 V; channel 14 is the bandgap, 1.1 V, 15 ground."""
    bus, gap, ground, left = bench.told(
        "#define CONVERT(c) (ADMUX = _BV(REFS0) | (c), ADCSRA = _BV(ADEN) | _BV(ADSC) | 3)\n"
        "CONVERT(3); while (ADCSRA & _BV(ADSC)) { } say(ADC);"
        "CONVERT(14); while (ADCSRA & _BV(ADSC)) { } say(ADC);"
        "CONVERT(15); while (ADCSRA & _BV(ADSC)) { } say(ADC);"
        "CONVERT(3 | _BV(ADLAR)); while (ADCSRA & _BV(ADSC)) { } say(ADCH);"
    )

    assert bus == pytest.approx(1023 * 11.1 * 10 / 43 / 5, abs=3)
    assert gap == pytest.approx(1023 * 1.1 / 5, abs=1)
    assert (ground, left) == (0, bus >> 2)


def test_a_free_running_converter_interrupts_every_13_clocks(bench: RegisterBench) -> None:
    """ADATE with ADTS = 0: "a new conversion is started immediately"."""
    recording = bench.run(
        "ISR(ADC_vect) { } int main(void) { ADMUX = _BV(REFS0) | 3;"
        " ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADATE) | _BV(ADIE) | 4; sei(); for (;;) { } }",
        0.067,
    )
    entries = recording.of(Signal.HANDLER)

    assert set(np.diff(entries[0][entries[1] == 22]).tolist()) == {13 * 16}


@pytest.mark.parametrize(
    ("acis", "levels"), [(0, {0, 1}), (2, {0}), (3, {1})], ids=["any", "falling", "rising"]
)
def test_the_comparator_interrupts_at_the_chosen_edge_of_its_output(
    bench: RegisterBench, acis: int, levels: set[int]
) -> None:
    """Table "ACIS1/ACIS0 Settings": 0 toggle, 2 falling, 3 rising edge of ACO."""
    recording = bench.run(
        "ISR(ANALOG_COMP_vect) { say(ACSR >> ACO & 1); } int main(void) { ADCSRB = _BV(ACME); ADMUX = 1;"
        f" {WAIT} ACSR = {acis}; ACSR = _BV(ACI) | _BV(ACIE) | {acis}; sei(); for (;;) {{ }} }}",
        0.12,
        speed_rpm=((0.0, 600.0),),
    )

    assert set(Told(recording).numbers) == levels


# ---- watchdog -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("timeout", "ms"), [("WDTO_15MS", 16), ("WDTO_60MS", 64)])
def test_the_watchdog_bites_after_its_time_and_says_so(bench: RegisterBench, timeout: str, ms: int) -> None:
    """2545T table 11-2: 16, 32, 64 ms typical; WDRF stands in MCUSR after it."""
    recording = bench.run(
        "#include <avr/wdt.h>\nint main(void) { say(MCUSR); if (MCUSR & _BV(WDRF)) stop();"
        f" MCUSR = 0; wdt_enable({timeout}); wdt_reset(); for (;;) {{ }} }}",
        0.21,
    )
    resets = recording.of(Signal.RESET)[0]
    marks = [value for _, value in Told(recording).marks]

    assert (resets[1] - 1_040_000) / 16_000 == pytest.approx(ms, abs=0.1)
    assert marks[:5] == [0, 1, 0, 0, 8]
