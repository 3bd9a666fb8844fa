"""Steps by the clock, what is listened for in them, and how they come to follow the crossings."""

from dataclasses import replace

import pytest

from dryspin.call.firmware import QUIET
from dryspin.recording import Signal, Vector

from .moments import LATENCY
from .running import (
    ALL_OPEN,
    BEAT,
    FORWARD,
    HANDOVER_STREAK,
    LOST,
    MS,
    REVERSE,
    STEP,
    Ramp,
    way,
)

BOTH = pytest.mark.parametrize("direction", [FORWARD, REVERSE])


@BOTH
@pytest.mark.parametrize("before", [0, 3, 5])
def test_a_ramp_without_crossings_makes_its_steps_by_the_clock_and_is_lost(firmware, before, direction):
    """To the tick from start to end, pattern by pattern from the one after the first; then legs open."""
    ramp = Ramp(firmware, before=before, direction=direction)
    assert ramp.legs() == ramp.pattern(before + way(direction))
    assert ramp.events() == STEP
    ramp.until(ramp.starts[-1] - 2)
    assert ramp.events() == STEP
    assert ramp.legs() == ramp.pattern(before + len(ramp.intervals) * way(direction))
    ramp.until(ramp.starts[-1] + 10)
    assert ramp.events() == LOST
    assert ramp.legs() == ALL_OPEN
    ramp.until(ramp.starts[-1] + 10 + MS)

    assert ramp.acted()[:-1] == ramp.starts[1:]
    assert ramp.patterns_after(ramp.starts[:-1]) == [
        ramp.pattern(before + (k + 1) * way(direction)) for k in range(len(ramp.intervals))
    ]
    assert ramp.events() == BEAT


@BOTH
def test_each_step_of_a_ramp_senses_the_leg_it_leaves_open(firmware, direction):
    """And the edge that is due there."""
    ramp = Ramp(firmware, direction=direction)
    for k in range(8):
        ramp.until(ramp.starts[k] + 10)
        step = (k + 1) * way(direction) % 6
        assert ramp.sensed() == (ramp.call.steps_open_leg(step), ramp.call.steps_edge(step, direction))


@pytest.mark.parametrize("offset_v", [-0.04, 0.04])
def test_a_rotor_at_rest_is_never_followed(firmware, offset_v):
    """The comparator's offset shows beyond in every other step and never in those between."""
    ramp = Ramp(firmware, scenario=replace(QUIET, parts={"offset_v": offset_v}))
    ramp.call.crossing_start()
    ramp.until(ramp.starts[-1] - 2)

    assert ramp.acted() == ramp.starts[1:-1]
    assert ramp.entries(Vector.COMPARE_B)
    assert ramp.events() == STEP
    on_at = [at for at, on in ramp.edges(Signal.SENSE_IRQ) if on]
    off_at = [at for at, on in ramp.edges(Signal.SENSE_IRQ) if not on]
    assert len(on_at) > 10
    # a step that has seen no crossing leaves no interrupt on for the next one
    for at in on_at[:-1]:
        step_end = next(end for end in ramp.starts if end > at)
        assert next(off for off in off_at if off > at) <= step_end + 4


@pytest.mark.parametrize(("early", "is_past"), [(1, False), (0, True)])
def test_in_the_ramp_what_is_beyond_is_past_after_seven_sixteenths(firmware, early, is_past):
    """A rotor that is dragged is ahead, and its crossing before the middle is believed; to the tick."""
    # above the neutral for ever, in a step whose crossing rises
    ramp = Ramp(firmware, scenario=replace(QUIET, parts={"offset_v": 0.5}))
    k = next(
        k
        for k, ticks in enumerate(ramp.intervals)
        if ticks % 16 == 0 and ramp.call.steps_edge((k + 1) % 6, FORWARD) == 1
    )
    ramp.until(ramp.starts[k] + 100)
    # the step began when the bridge had gone on: entry, interrupt, two legs, reading the count
    begun = _watched_from(ramp, k)
    ramp.until(begun + 7 * ramp.intervals[k] // 16 - early - 0.5)
    ramp.call.port_interrupts_off()
    ramp.call.on_compare_b()
    ramp.interrupts_on()

    assert ramp.watches() is not is_past


def _watched_from(ramp, k) -> int:
    """Tick that the watch of step k counts from: after entry (7), the two legs (12), the comparator's
    interrupt off (2) and reading the count (4)."""
    return ramp.starts[k] + (7 + 12 + 2 + 4) // 8


@BOTH
def test_six_steps_in_a_row_with_crossings_hand_over_as_soon_as_the_rotor_is_fast_enough(firmware, direction):
    """The crossings of all steps before, however many, do not hand over a slower one."""
    ramp = Ramp(firmware, direction=direction)
    for k in range(ramp.handover):
        ramp.cross_in(k, 0.25)
    at = ramp.cross_in(ramp.handover, 0.25)
    interval = ramp.intervals[ramp.handover]
    ramp.until(ramp.starts[ramp.handover + 1])
    acted = ramp.acted()

    assert acted[: ramp.handover] == ramp.starts[1 : ramp.handover + 1]
    assert acted[ramp.handover :] == [at + interval // 2 - LATENCY]
    assert ramp.legs() == ramp.pattern((ramp.handover + 2) * way(direction))
    assert ramp.call.commutation_interval() == interval


def test_five_steps_with_crossings_are_one_too_few(firmware):
    """A rotor at rest must not pass for one that turns; the sixth hands over."""
    ramp = Ramp(firmware)
    first = ramp.handover + 1
    for k in range(first, first + HANDOVER_STREAK - 1):
        ramp.cross_in(k, 0.25)
    ramp.until(ramp.starts[first + HANDOVER_STREAK - 1] + 5)
    assert ramp.acted()[-1] == ramp.starts[first + HANDOVER_STREAK - 1]
    at = ramp.cross_in(first + HANDOVER_STREAK - 1, 0.25)
    interval = ramp.intervals[first + HANDOVER_STREAK - 1]
    ramp.until(at + interval)

    assert ramp.acted()[-1] == at + interval // 2 - LATENCY


def test_a_step_without_its_crossing_breaks_the_row(firmware):
    """Both kinds of edges must come in turn for a whole electrical turn."""
    ramp = Ramp(firmware)
    first = ramp.handover + 1
    for k in range(first, first + 12):
        if k != first + 5:
            ramp.cross_in(k, 0.25)
    at_last = ramp.starts[first + 11] + ramp.intervals[first + 11] // 4
    ramp.until(at_last + ramp.intervals[-1] // 2 + 20)

    acted = ramp.acted()
    assert acted[first + 10] == ramp.starts[first + 11]
    assert acted[first + 11] == at_last + ramp.intervals[first + 11] // 2 - LATENCY
