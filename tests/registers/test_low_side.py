"""A carrier at a low gate, where the drive says so: the leg is low, its FET follows the carrier."""

from dataclasses import replace

import numpy as np
import pytest

from dryspin.errors import RigError
from dryspin.monitors import Status, judge
from dryspin.recording import GATES, LEGS, Leg, Signal
from dryspin.recording.signals import HIGH_FET, LOW_FET

from ..small_firmware import START_UP_CYCLES
from .conftest import RegisterBench

CHOPS_BELOW = """\
int main(void)
{
	DDRD = _BV(PD5) | _BV(PD3) | _BV(PD4);
	DDRB = _BV(PB3) | _BV(PB1) | _BV(PB2);
	GPIOR2 = 4;
	TCCR1A = _BV(WGM10);
	OCR1A = 102;
	TCCR1B = _BV(CS10);
	PORTD |= _BV(PD5);
	TCCR1A |= _BV(COM1A1);
	for (;;) { }
}
"""
"""U high, V low and chopped by timer 1: phase-correct, 510 cycles a period, 204 of them on."""


def low_side(bench: RegisterBench) -> RegisterBench:
    """The bench, its low FETs chopped."""
    return replace(bench, drive=replace(bench.drive, bridge=replace(bench.drive.bridge, chopping="low side")))


def test_the_low_fet_follows_the_carrier_under_a_high_one_that_stays_on(bench: RegisterBench) -> None:
    """Phase-correct: TOP 255 up and down, on below the compare value: 2 * 102 of 510 (data sheet, "PWM")."""
    recording = low_side(bench).run(CHOPS_BELOW, end_s=0.075)
    cycles, gates, _ = recording.of(GATES[1])
    on, off = cycles[gates == LOW_FET], cycles[gates == 0]
    on = on[on > START_UP_CYCLES + 1000]
    spans = off[np.searchsorted(off, on[:-1])] - on[:-1]

    assert set(np.diff(on)) == {510}
    assert set(spans) == {204}
    assert recording.of(GATES[0])[1][-1] == HIGH_FET
    assert recording.of(LEGS[0])[1][-1] == Leg.HIGH
    assert list(recording.of(LEGS[1])[1])[-1:] == [Leg.LOW]
    assert recording.of(Signal.DUTY)[1][-1] == 102


def test_it_is_one_pattern_to_the_monitors_and_no_gap_in_it(bench: RegisterBench) -> None:
    """One high, one low, one open, all the time; without the declaration the run is refused."""
    verdicts = {v.name: v for v in judge(low_side(bench).run(CHOPS_BELOW, end_s=0.075))}

    assert verdicts["gates.pattern"].status is Status.HELD
    with pytest.raises(RigError, match=r"the low FET of leg 1 is chopped; \[bridge\] chopping is not"):
        bench.run(CHOPS_BELOW, end_s=0.075)
