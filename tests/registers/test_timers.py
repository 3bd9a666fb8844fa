"""The three timers in the modes a drive uses, by their flags and by what they do at gate pins."""

import numpy as np
import pytest

from dryspin.recording import Signal

from ..small_firmware import Told
from .conftest import RegisterBench

CHOP = """\
    int main(void)
    {{
        DDRB = _BV(PB3);
        TCCR2A = _BV(COM2A1) | {mode};
        OCR2A = {compare};
        TCCR2B = _BV(CS20);
        {after}
        for (;;) {{ }}
    }}
"""


def high_cycles(bench: RegisterBench, mode: str, compare: int, after: str = "") -> list[int]:
    """Lengths of the pulses at the gate of V in 5 ms, the first left out."""
    recording = bench.run(CHOP.format(mode=mode, compare=compare, after=after), 0.07)
    cycles, values, _ = recording.of(Signal.GATE_V)
    on, off = cycles[values == 1], cycles[1:][values[1:] == 0]
    n = min(len(on), len(off))
    return [int(length) for length in off[:n] - on[:n]][1:]


def period(bench: RegisterBench, mode: str) -> set[int]:
    """Cycles from one rise to the next."""
    cycles, values, _ = bench.run(CHOP.format(mode=mode, compare=100, after=""), 0.07).of(Signal.GATE_V)
    return set(np.diff(cycles[values == 1])[1:].tolist())


@pytest.mark.parametrize(
    ("mode", "cycles", "on"),
    [("_BV(WGM20)", 510, 200), ("_BV(WGM21) | _BV(WGM20)", 256, 101)],
    ids=["phase-correct", "fast"],
)
def test_carriers_have_the_period_and_the_pulse_of_the_data_sheet(
    bench: RegisterBench, mode: str, cycles: int, on: int
) -> None:
    """2467P pp. 152, 154: f / (256 N) and f / (510 N); high for OCR + 1 of 256, 2 OCR of 510."""
    assert period(bench, mode) == {cycles}
    assert set(high_cycles(bench, mode, 100)) == {on}


def test_fast_pwm_at_0_is_a_spike_and_phase_correct_is_nothing(bench: RegisterBench) -> None:
    """2467P p. 152: "a narrow spike for each MAX+1 timer clock cycle"; p. 154: "continuously low"."""
    assert set(high_cycles(bench, "_BV(WGM21) | _BV(WGM20)", 0)) == {1}
    assert high_cycles(bench, "_BV(WGM20)", 0) == []


def test_a_compare_value_is_taken_over_at_top_in_phase_correct_mode(bench: RegisterBench) -> None:
    """Table "Waveform Generation Mode": OCR at TOP, at BOTTOM in fast mode; no pulse is a mix."""
    later = "TIFR1 = 0; for (volatile int k = 0; k < 400; k++) { (void)TCNT1; } OCR2A = 30;"

    assert set(high_cycles(bench, "_BV(WGM20)", 100, later)) == {200, 60}
    assert set(high_cycles(bench, "_BV(WGM21) | _BV(WGM20)", 100, later)) == {101, 31}


def test_clear_on_match_counts_ocr_plus_one_ticks(bench: RegisterBench) -> None:
    """Section "Clear Timer on Compare Match": f / (N (1 + OCR)); the flag once a period, no overflow."""
    recording = bench.run(
        """\
        ISR(TIMER1_COMPA_vect) { say(TIFR1 & _BV(TOV1)); }
        int main(void)
        {
            OCR1A = 99; TCCR1B = _BV(WGM12) | _BV(CS11); TIMSK1 = _BV(OCIE1A); sei();
            for (;;) { }
        }
        """,
        0.066,
    )
    cycles, values, _ = recording.of(Signal.HANDLER)

    assert set(np.diff(cycles[values == 12]).tolist()) == {800}
    assert set(Told(recording).numbers) == {0}


def test_a_compare_value_behind_the_count_waits_a_whole_wrap(bench: RegisterBench) -> None:
    """U-26 of the trade: 65 536 ticks; and a stale flag calls its handler as soon as that is enabled."""
    recording = bench.run(
        """\
        ISR(TIMER1_COMPA_vect) { TIMSK1 = 0; say(TCNT1); }
        int main(void)
        {
            TCCR1B = _BV(CS10);
            TCNT1 = 1000; OCR1A = 900; TIFR1 = 0xFF;
            TIMSK1 = _BV(OCIE1A); sei();
            for (;;) { }
        }
        """,
        0.075,
    )
    cycles, values, _ = recording.of(Signal.HANDLER)

    (entry,) = cycles[values == 12]
    assert entry - 1_040_000 == pytest.approx(65536 - 100, abs=20)


def test_writing_a_count_blocks_the_match_of_the_next_tick(bench: RegisterBench) -> None:
    """8159E p. 83: "All CPU writes to the TCNT1 Register will block any Compare Match that occurs in the
    next timer clock cycle"."""
    told = bench.told(
        "TCCR1B = _BV(CS11); OCR1A = 500; TIFR1 = 0xFF;"
        "TCNT1 = 500; while (TCNT1 < 510) { } say(TIFR1 & _BV(OCF1A));"
        "TCNT1 = 498; while (TCNT1 < 510) { } say(TIFR1 & _BV(OCF1A));"
    )

    assert told == [0, 2]


def test_prescalers_held_in_reset_start_two_timers_together(bench: RegisterBench) -> None:
    """Section "Timer/Counter Prescaler": TSM keeps the timers halted until it is cleared."""
    told = bench.told(
        "GTCCR = _BV(TSM) | _BV(PSRASY) | _BV(PSRSYNC); TCCR0B = _BV(CS00); TCCR2B = _BV(CS20); (void)OCR1A;"
        "GTCCR = 0; uint8_t a = TCNT0; uint8_t b = TCNT2; say(a); say(b);"
    )

    assert told == [1, 3]


def test_capture_is_late_by_synchroniser_and_canceller(bench: RegisterBench) -> None:
    """DS40001906C p. 165: "additional four system clock cycles"; two more of synchroniser."""

    def latency(canceller: str) -> int:
        recording = bench.run(
            "ISR(TIMER1_CAPT_vect) { GPIOR2 = 1; } int main(void) { TCCR1B = _BV(ICES1) | _BV(CS11)"
            f"{canceller}; TIMSK1 = _BV(ICIE1); sei(); for (;;) {{ }} }}",
            0.1,
            throttle_us=((0.0, 1500.0),),
        )
        rises = recording.of(Signal.THROTTLE)
        entries = recording.of(Signal.HANDLER)
        first = entries[0][entries[1] == 11][0]
        return int(first - rises[0][(rises[1] == 1) & (rises[0] <= first)][-1])

    assert [latency(""), latency(" | _BV(ICNC1)")] == [2, 6]


def test_pins_of_interrupts_see_the_throttle(bench: RegisterBench) -> None:
    """INT0 on rising edges, a pin change on both (sections "External Interrupts")."""
    recording = bench.wired(throttle="PD2").run(
        "ISR(INT0_vect) { } ISR(PCINT2_vect) { } int main(void) { EICRA = 3; EIMSK = 1; PCICR = 4;"
        " PCMSK2 = _BV(PCINT18); sei(); for (;;) { } }",
        0.125,
        throttle_us=((0.0, 1500.0),),
    )
    _, values, _ = recording.of(Signal.HANDLER)
    rises = int(np.sum(recording.of(Signal.THROTTLE)[1][recording.of(Signal.THROTTLE)[0] > 1_040_000] == 1))

    assert [int(np.sum(values == 2)), int(np.sum(values == 6))] == [rises, 2 * rises]
