"""Steps of a rotor that was caught: they follow its crossings until one does not come."""

import pytest

from dryspin.recording import Mark, Signal

from .moments import LATENCY
from .running import (
    ALL_OPEN,
    BEAT,
    CAUGHT,
    FORWARD,
    HIDDEN,
    LOST,
    MS,
    PAST,
    REVERSE,
    SEEN,
    STEP,
    Caught,
    way,
)

BOTH = pytest.mark.parametrize("direction", [FORWARD, REVERSE])
PAST_LIMIT = 24
"""settings.h: four electrical turns without one crossing seen."""
STEP_SHORTEST = 80
"""settings.h: no rotor makes shorter steps."""


@BOTH
def test_a_turning_rotor_is_joined_half_a_step_after_the_last_crossing(firmware, direction):
    """With the pattern after the last crossing's own, and the duty that its EMF holds up."""
    caught = Caught(firmware, direction=direction)
    assert caught.legs() == ALL_OPEN
    assert caught.events() == CAUGHT
    assert caught.marks() == [Mark.RUN]
    assert caught.call.duty_now() == caught.call.duty_matched(400)
    assert caught.level(Signal.DUTY) == caught.call.duty_matched(400)
    caught.until(caught.crossed + 210)

    assert caught.acted() == [caught.crossed + 200 - LATENCY]
    assert caught.legs() == caught.pattern(caught.step + way(direction))
    assert caught.events() == STEP


@BOTH
@pytest.mark.parametrize("begun", [1000, 65536 - 3900])
def test_caught_steps_follow_the_crossings(firmware, direction, begun):
    """Half an interval after each, less the latency, pattern by pattern; each crossing is marked."""
    caught = Caught(firmware, direction=direction, begun=begun)
    first = caught.crossed
    for _ in range(8):
        caught.cross_again()
        expected = caught.step + (caught.crossed - first) // 400 * way(direction)
        leg = caught.call.steps_open_leg(expected % 6)
        assert caught.sensed() == (leg, caught.call.steps_edge(expected % 6, direction))
    caught.until(caught.crossed + 210)
    acted = [tick for tick in caught.acted() if tick != 65536]

    assert acted == [first + 400 * k + 200 - LATENCY for k in range(9)]
    assert caught.patterns_after(acted) == [
        caught.pattern(caught.step + way(direction) * k) for k in range(1, 10)
    ]
    assert caught.marks() == [Mark.RUN] + [Mark.CROSSING] * 8


@pytest.mark.parametrize("interval", [300, 401])
def test_a_caught_rotor_is_lost_one_and_a_half_steps_after_the_step_without_a_crossing(firmware, interval):
    """Its crossing is due in mid-step, and 60 degrees late then. Legs open at once, beats go on."""
    caught = Caught(firmware, interval=interval)
    caught.until(caught.crossed + interval)
    (begun,) = caught.acted()
    caught.events()
    one_step = caught.call.commutation_interval()
    limit = begun + one_step + one_step // 2
    caught.until(limit - 1)
    assert caught.legs() == caught.pattern(caught.step + 1)
    caught.until(limit + 6)
    assert caught.legs() == ALL_OPEN
    assert caught.events() == LOST
    caught.until(limit + MS + 10)

    lost = caught.acted()[1]
    assert limit + 2 <= lost <= limit + 3
    assert lost + MS <= caught.acted()[2] <= lost + MS + 6
    assert caught.events() == BEAT


def test_the_crossing_just_in_time_keeps_a_caught_rotor(firmware):
    """Four ticks before patience ends; its step comes, though late."""
    caught = Caught(firmware)
    begun = caught.crossed + 200 - LATENCY
    caught.cross(begun + 600 - 4)
    caught.until(begun + 1100)

    assert not caught.events() & LOST
    assert len(caught.acted()) == 2


@BOTH
def test_a_hidden_crossing_of_a_caught_rotor_is_stepped_an_eighth_early_and_told(firmware, direction):
    """Three eighths after it was past, less the latency; the interval gets a 32nd shorter; it is marked."""
    caught = Caught(firmware, interval=640, direction=direction)
    caught.until(caught.crossed + 320)
    caught.events()
    at = caught.cross_again(how=PAST)
    assert caught.call.commutation_interval() == 640 - 20
    caught.until(at + 300)

    assert caught.acted()[-1] == at + 240 - LATENCY
    assert caught.legs() == caught.pattern(caught.step + 2 * way(direction))
    assert caught.events() == HIDDEN | STEP
    assert caught.marks() == [Mark.RUN, Mark.CROSSING]


def test_four_turns_of_hidden_crossings_are_a_lost_rotor(firmware):
    """A comparator that never changes, as with a broken lead, must not be stepped by for ever."""
    caught = Caught(firmware, interval=2000)
    for _ in range(PAST_LIMIT - 1):
        caught.until(caught.crossed + 1100)
        caught.cross(caught.crossed + 1100, PAST)
        caught.crossed += 1100
        assert not caught.events() & LOST
    caught.until(caught.crossed + 1100)
    caught.cross(caught.crossed + 1100, PAST)

    assert caught.legs() == ALL_OPEN
    assert caught.events() & LOST


def test_one_crossing_seen_among_the_hidden_ones_begins_the_count_anew(firmware):
    """Half of the limit before it, more than half after it."""
    caught = Caught(firmware, interval=2000)
    for how in [PAST] * 20 + [SEEN] + [PAST] * 20:
        caught.cross(caught.crossed + 1000, how)
        caught.crossed += 1000

    assert not caught.events() & LOST


@pytest.mark.parametrize("stamped_before", [400, 300, 195])
def test_a_step_that_is_due_already_is_made_at_once(firmware, stamped_before):
    """A compare value behind the count would match after a whole wrap, 32 ms later, only."""
    caught = Caught(firmware)
    caught.until(caught.crossed + 400)
    at = caught.crossed + 600
    # the gap that the stamp tells is 600 - stamped_before: too short to be believed, or the same gap
    caught.cross(at, stamped=at - stamped_before)
    caught.until(at + 12)

    assert at + 4 <= caught.acted()[-1] <= at + 6
    assert caught.legs() == caught.pattern(caught.step + 2)


@pytest.mark.parametrize("ahead", [-1, 0, 3, 4, 5, 40])
def test_a_step_is_never_asked_for_nearer_than_four_ticks(firmware, ahead):
    """It may be passed before it is written; what is further away is kept to the tick."""
    caught = Caught(firmware)
    # turning interrupts off, marking and reading the count take 8 cycles
    due = caught.crossed + 400 + 200 - LATENCY
    caught.cross(due - ahead - 1, stamped=caught.crossed + 400)
    caught.until(due + 60)

    assert caught.acted()[-1] == due + max(0, 4 - ahead)


def test_a_rotor_faster_than_any_is_noise_and_lost(firmware):
    """36 000 rpm would be above the no-load speed at 20 V; steps of exactly the shortest are still made."""
    good = Caught(firmware, interval=STEP_SHORTEST)
    good.until(good.crossed + 45)
    assert good.legs() == good.pattern(good.step + 1)
    firmware.reset()
    caught = Caught(firmware, interval=STEP_SHORTEST - 1)

    assert caught.legs() == ALL_OPEN
    assert caught.events() == CAUGHT | LOST
    caught.until(caught.crossed + 60)
    assert caught.acted() == []


def test_hidden_crossings_before_a_catch_do_not_count_after_it(firmware):
    """Another rotor, another run."""
    caught = Caught(firmware, interval=2000)
    for _ in range(PAST_LIMIT - 1):
        caught.cross(caught.crossed + 1100, PAST)
        caught.crossed += 1100
    caught.call.commutation_rest(MS)
    caught.call.bridge_open()
    caught.call.commutation_catch(FORWARD)
    for _ in range(8):
        caught.cross_again()
    caught.events()
    caught.cross_again(1100, PAST)

    assert not caught.events() & LOST
