"""The two carriers: phase-correct, 8 bits, no prescaler.

Outside checks: f = f_clk / 510 (ATmega128 2467P p. 154; 31 372.55 Hz at 16 MHz); compare
at BOTTOM continuously low, at MAX continuously high (2467P pp. 152, 154); in phase-correct
mode the compare register is taken over at TOP (same pages).
"""

from itertools import pairwise

import pytest

from dryspin.recording import Recording, Signal

from ..small_firmware import Bench, Told

PERIOD = 510


def chop(duty: str, then: str = "", start: str = "port_carriers_start(3);", legs: str = "U") -> str:
    """A firmware that chops `legs` at `duty`, with the text `then` before it falls asleep."""
    return f"""
        #include "say.h"
        static void wait(uint16_t ticks)
        {{
            uint16_t from = port_ticks();
            while ((uint16_t)(port_ticks() - from) < ticks) {{}}
        }}
        int main(void)
        {{
            {" ".join(f"port_leg(PORT_{leg}, PORT_CHOPPED);" for leg in legs)}
            port_duty({duty});
            port_mark(20);
            {start}
            wait(2000);
            {then}
            SLEEP_FOREVER
        }}
    """


def gate(recording: Recording, leg: int = 0) -> list[tuple[int, int]]:
    """Changes of one leg's FETs, as (cycle, value), without the value at power-on."""
    cycles, values, _ = recording.of(Signal(leg))
    return [(int(c), int(v)) for c, v in zip(cycles, values, strict=True)][1:]


def pulses(recording: Recording, leg: int = 0) -> list[tuple[int, int]]:
    """Complete on-pulses of one leg's high FET as (rise, fall), the first left out."""
    edges = gate(recording, leg)
    both = pairwise(edges)
    return [(rise, fall) for (rise, value), (fall, _) in both if value == 1][1:]


def carrier_began(recording: Recording) -> int:
    """Cycle at which a carrier that was started right after mark 20 stood at bottom."""
    cycles, values, _ = recording.of(Signal.MARK)
    return int(cycles[values == 20][0]) + 10


def test_the_carrier_runs_at_31372_55_hz(bench: Bench) -> None:
    """2467P p. 154: 16 MHz / 510, both periods and their mean."""
    seen = pulses(bench.run(chop("100")))
    rises = [rise for rise, _ in seen]

    assert {late - early for early, late in pairwise(rises)} == {PERIOD}
    frequency_hz = 16e6 * (len(rises) - 1) / (rises[-1] - rises[0])
    assert frequency_hz == pytest.approx(31_372.55, abs=0.005)


@pytest.mark.parametrize("duty", [1, 100, 254])
def test_the_on_pulse_lasts_twice_the_compare_value_centred_on_bottom(bench: Bench, duty: int) -> None:
    """2467P p. 154: the output falls on the way up and rises on the way down, at the same count."""
    recording = bench.run(chop(str(duty)))
    began = carrier_began(recording)
    seen = pulses(recording)

    assert len(seen) > 100
    assert {fall - rise for rise, fall in seen} == {2 * duty}
    assert {((rise + fall) // 2 - began) % PERIOD for rise, fall in seen} == {0}


def test_duty_0_is_continuously_low_and_255_continuously_high(bench: Bench) -> None:
    """2467P p. 154, phase-correct mode: no spike at either end."""
    low = bench.run(chop("0"))
    high = bench.run(chop("255"))

    assert gate(low) == []
    assert gate(high) == [(carrier_began(high), 1)]


def test_a_chopped_leg_stays_off_until_its_carrier_starts(bench: Bench) -> None:
    """A stopped timer's output stands at its reset value."""
    assert gate(bench.run(chop("100", start=""))) == []


@pytest.mark.parametrize("phase", range(0, 510, 30))
def test_a_new_duty_is_taken_over_at_top(bench: Bench, phase: int) -> None:
    """The middle of the off-time: every pulse is whole, old or new, whenever the duty is written."""
    recording = bench.run(
        chop(
            "150",
            # 8 cycles a tick: the remainder is brought about by marks of 2 cycles
            then=f"""
                wait({100 + phase // 8}); for (uint8_t k = 0; k < {phase % 8 // 2}; k++) port_mark(30);
                port_duty(50);
                wait(500);
            """,
        )
    )
    written = int(recording.of(Signal.DUTY)[0][2])
    began = carrier_began(recording)
    top = written + (PERIOD // 2 - (written - began)) % PERIOD

    seen = pulses(recording)
    assert {fall - rise for rise, fall in seen if fall <= top} == {300}
    assert {fall - rise for rise, fall in seen if rise >= top} == {100}
    assert not [1 for rise, fall in seen if rise < top < fall]


def test_both_bits_in_one_call_start_the_carriers_in_phase(bench: Bench) -> None:
    """Through the prescaler's reset, which holds both timers (data sheet, general timer control)."""
    recording = bench.run(chop("100", legs="UV"))

    assert pulses(recording, 0) == pulses(recording, 1)


def test_two_calls_start_the_carriers_apart(bench: Bench) -> None:
    """By the 10 cycles of the second call: U's pulses run ahead of V's and W's."""
    recording = bench.run(chop("100", start="port_carriers_start(1); port_carriers_start(2);", legs="UVW"))

    apart = {b[0] - a[0] for a, b in zip(pulses(recording, 0), pulses(recording, 1), strict=False)}
    assert apart == {10}
    assert pulses(recording, 1) == pulses(recording, 2)


def test_a_leg_that_becomes_chopped_inside_an_on_pulse_begins_with_a_runt(bench: Bench) -> None:
    """Pin modes act at once: the first pulse is what is left of the carrier's."""
    first = []
    for marks in range(0, 250, 25):
        recording = bench.run(
            chop(
                "150",
                legs="",
                then=f"for (uint8_t k = 0; k < {marks}; k++) port_mark(30); port_leg(PORT_U, PORT_CHOPPED);",
            )
        )
        command = int(recording.of(Signal.LEG_U)[0][1])
        inside = (command - carrier_began(recording)) % PERIOD
        (rise, _), (fall, _) = gate(recording)[:2]
        first.append(fall - rise)
        if inside < 150:
            assert (rise, fall - rise) == (command, 150 - inside)
        elif inside >= 360:
            assert (rise, fall - rise) == (command, 660 - inside)
        else:
            assert (rise - command, fall - rise) == (360 - inside, 300)
    assert min(first) < 300, "at least one of the moments lies inside an on-pulse"


def test_a_chopped_leg_keeps_its_low_fet_off(bench: Bench) -> None:
    """One-sided chopping: the current freewheels through the body diode."""
    recording = bench.run(chop("100"))

    assert {value for _, value in gate(recording)} == {0, 1}


def test_all_open_acts_on_every_leg_in_one_go(bench: Bench) -> None:
    """Three legs, one cycle."""
    recording = bench.run(
        chop("255", legs="UW", then="port_leg(PORT_V, PORT_LOW); port_mark(21); port_all_open();")
    )
    off = [[cycle for cycle, value in gate(recording, leg) if value == 0] for leg in range(3)]

    assert off == [[Told(recording).cycle_of(21) + 6]] * 3
