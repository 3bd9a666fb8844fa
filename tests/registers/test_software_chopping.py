"""Low FETs that handlers chop by PORT bits, where the drive says `chopping = "low side"`."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from dryspin.monitors import Status, judge
from dryspin.recording import GATES, LEGS, Leg, Recording, Signal
from dryspin.recording.signals import LOW_FET
from dryspin.rig import Rig
from dryspin.scenario import Fault

from ..small_firmware import START_UP_CYCLES, scenario
from .conftest import RegisterBench

SIX_STEP = """\
#define LOW_D _BV(PD4)
#define LOW_B (_BV(PB1) | _BV(PB2))
#define STEP_PERIODS 40
/* High and low FETs of the six steps: UV UW VW VU WU WV. */
static const uint8_t high_d[6] = {_BV(PD5), _BV(PD5), 0, 0, _BV(PD3), _BV(PD3)};
static const uint8_t high_b[6] = {0, 0, _BV(PB3), _BV(PB3), 0, 0};
static const uint8_t low_d[6] = {0, 0, 0, LOW_D, LOW_D, 0};
static const uint8_t low_b[6] = {_BV(PB1), _BV(PB2), _BV(PB2), 0, 0, _BV(PB1)};
static volatile uint8_t step, periods;

ISR(TIMER0_COMPA_vect)
{
	if (++periods == STEP_PERIODS) {
		periods = 0;
		step = step == 5 ? 0 : step + 1;
		PORTD = 0;
		PORTB = 0;
		PORTD = high_d[step];
		PORTB = high_b[step];
	}
	PORTD |= low_d[step];
	PORTB |= low_b[step];
}

ISR(TIMER0_COMPB_vect)
{
	PORTD &= (uint8_t)~LOW_D;
	PORTB &= (uint8_t)~LOW_B;
}

int main(void)
{
	DDRD = _BV(PD5) | _BV(PD3) | LOW_D;
	DDRB = _BV(PB3) | LOW_B;
	GPIOR2 = 4;
	PORTD = high_d[0];
	PORTB = low_b[0];
	TCCR0A = _BV(WGM01);
	OCR0A = 99;
	OCR0B = ON_COUNTS;
	TIMSK0 = _BV(OCIE0A) | _BV(OCIE0B);
	TCCR0B = _BV(CS01);
	sei();
	for (;;) { }
}
"""
"""Timer 0 clears on match: 100 counts of 8 cycles, 800 cycles a period, 40 of them a step."""

PERIOD_CYCLES, STEP_PERIODS = 800, 40


def chopping_below(bench: RegisterBench) -> RegisterBench:
    """The bench; its carrier of 20 kHz is none that the timers' PWM can make."""
    bridge = replace(bench.drive.bridge, chopping="low side", f_pwm_hz=20_000.0)
    return replace(bench, drive=replace(bench.drive, bridge=bridge))


def chopped(bench: RegisterBench, on_counts: int) -> Recording:
    """60 ms of the six steps, so many of 100 counts on."""
    text = f"#define ON_COUNTS {on_counts}\n{SIX_STEP}"
    return chopping_below(bench).run(text, end_s=0.125, block_cycles=2)


def spans_at_gates(recording: Recording) -> dict[int, tuple[int, int]]:
    """By the cycle at which a low FET goes on: cycles it was on in the period before, and that period."""
    edges = sorted(
        (int(cycle), bool(value & LOW_FET))
        for signal in GATES
        for cycle, value in zip(*recording.of(signal)[:2], strict=True)
        if cycle > START_UP_CYCLES
    )
    on = [cycle for cycle, is_on in edges if is_on]
    off = np.array([cycle for cycle, is_on in edges if not is_on])
    return {b: (int(off[np.searchsorted(off, a)]) - a, b - a) for a, b in pairwise(on)}


@pytest.mark.parametrize("on_counts", [10, 50, 85])
def test_steps_and_duty_are_those_that_the_handlers_make(bench: RegisterBench, on_counts: int) -> None:
    """Duty: the share of a period that a low FET is on, as counted at the gates. What the timer is set to
    lies less than 40 cycles (13 of 255 counts) from it: their handlers differ in length."""
    recording = chopped(bench, on_counts)
    verdicts = {verdict.name: verdict for verdict in judge(recording)}
    steps, at_gates = recording.steps, spans_at_gates(recording)
    cycles, told, _ = recording.of(Signal.DUTY)
    measured = [(at_gates[int(c)], int(v)) for c, v in zip(cycles, told, strict=True) if c > START_UP_CYCLES]

    assert verdicts["gates.pattern"].status is Status.HELD, verdicts["gates.pattern"].text
    assert len(steps) > 20
    assert set(steps.moves) in ({1}, {-1})
    assert set(np.round(np.diff(steps.cycles[1:]) / PERIOD_CYCLES)) == {STEP_PERIODS}
    assert measured
    for (on_cycles, period_cycles), counts in measured:
        assert abs(period_cycles - PERIOD_CYCLES) < 40
        assert abs(on_cycles - 8 * on_counts) < 40
        assert abs(counts - 255.0 * on_cycles / period_cycles) <= 0.5


@pytest.mark.parametrize("high_goes_off", [True, False])
def test_a_leg_is_let_go_when_its_period_is_over_or_no_high_fet_is_on(
    bench: RegisterBench, high_goes_off: bool
) -> None:
    """An eighth late still counts as chopped; 255 stands from where a period has passed without an off."""
    release = "PORTD = 0;" if high_goes_off else ""
    text = f"""\
#include <util/delay.h>
int main(void)
{{
	DDRD = _BV(PD5);
	DDRB = _BV(PB1);
	PORTD = _BV(PD5);
	PORTB = _BV(PB1);
	_delay_us(100);
	PORTB = 0;
	{release}
	for (;;) {{ }}
}}
"""
    recording = chopping_below(bench).run(text, end_s=0.07)
    legs, told = recording.of(LEGS[1]), recording.of(Signal.DUTY)
    gates = recording.of(GATES[1])
    on, off = (int(cycle) for cycle in gates[0][-2:])
    low, let_go = (int(cycle) for cycle in legs[0][-2:])

    assert list(gates[1][-2:]) == [LOW_FET, 0]
    assert list(legs[1][-2:]) == [Leg.LOW, Leg.OPEN]
    assert low == on
    assert let_go - off == (1 if high_goes_off else PERIOD_CYCLES * 9 // 8)
    assert (int(told[0][-1]) - on, int(told[1][-1])) == (PERIOD_CYCLES * 9 // 8, 255)


def test_a_reset_forgets_the_leg_that_was_held(bench: RegisterBench) -> None:
    """ "I/O ports ... immediately reset to their initial state when a reset source goes active" (7810C p.
    44): every leg is open from that cycle on, in the off-time of the chopping as well."""
    drive = chopping_below(bench).drive
    rig = Rig(bench.image(f"#define ON_COUNTS 50\n{SIX_STEP}"), drive)
    held = 0
    for k in range(4):
        at_s = START_UP_CYCLES / 16e6 + 2e-3 + k * 12.5e-6
        recording = rig.run(scenario(at_s + 1e-3, faults=(Fault("reset", at_s),)), block_cycles=2)
        legs, gates, at = recording.legs, recording.gates, round(at_s * 16e6)
        told_low = legs.values[legs.index_at(at - 1)] == Leg.LOW
        held += bool(np.any(told_low & (gates.values[gates.index_at(at - 1)] & LOW_FET == 0)))

        assert np.any(told_low)
        assert not np.any(legs.values[legs.index_at(at)])
        assert legs.cycles[-1] <= at
    assert 0 < held < 4
