"""Steps that follow the crossings of a rotor that has not proved itself yet."""

from dataclasses import replace

import pytest

from dryspin.call.firmware import QUIET
from dryspin.recording import Mark

from .moments import LATENCY
from .running import (
    ALL_OPEN,
    CAUGHT,
    CAUGHT_STREAK,
    FORWARD,
    LOST,
    MS,
    PAST,
    REVERSE,
    Following,
    way,
)

BOTH = pytest.mark.parametrize("direction", [FORWARD, REVERSE])
PAST_LIMIT = 24
"""settings.h: four electrical turns without one crossing seen."""


@BOTH
def test_six_good_crossings_in_a_row_prove_that_the_rotor_is_caught(firmware, direction):
    """Said and marked with the sixth, not with the fifth; its steps follow all along."""
    following = Following(firmware, direction=direction)
    crossed = [following.crossed]
    following.events()
    for _ in range(CAUGHT_STREAK - 2):
        crossed.append(following.cross_again())
    assert not following.events() & CAUGHT
    assert following.marks() == []
    crossed.append(following.cross_again())
    assert following.events() & CAUGHT
    assert following.marks() == [Mark.RUN]
    interval = following.call.commutation_interval()
    following.until(following.crossed + interval // 2)

    assert following.acted()[following.handover :] == pytest.approx(
        [at + interval / 2 - LATENCY for at in crossed], abs=1
    )
    following.cross_again()
    assert following.marks() == [Mark.RUN, Mark.CROSSING]


def test_a_crossing_at_an_odd_moment_begins_the_proof_anew(firmware):
    """More than twice the interval after the one before: six more are needed, that one's not counted."""
    following = Following(firmware)
    for _ in range(CAUGHT_STREAK - 2):
        following.cross_again()
    following.cross_again(2 * following.interval + 200)
    for _ in range(CAUGHT_STREAK - 1):
        following.cross_again()
    assert following.marks() == []
    following.cross_again()

    assert following.marks() == [Mark.RUN]


def test_a_crossing_past_begins_the_proof_anew(firmware):
    """It was not seen."""
    following = Following(firmware)
    for _ in range(CAUGHT_STREAK - 2):
        following.cross_again()
    following.cross_again(how=PAST)
    for _ in range(CAUGHT_STREAK - 1):
        following.cross_again(1800)
    assert following.marks() == []
    following.cross_again(1800)

    assert following.marks() == [Mark.RUN]


def test_a_rotor_not_yet_caught_is_waited_for_for_three_steps(firmware):
    """It may have been left behind by half a turn; then legs open and beats go on."""
    following = Following(firmware)
    following.until(following.crossed + following.interval)
    begun = following.acted()[-1]
    limit = begun + 3 * following.interval
    following.events()
    following.until(limit - 4)
    assert following.events() == 0
    following.until(limit + 6)

    assert following.events() == LOST
    assert following.legs() == ALL_OPEN
    assert limit + 2 <= following.acted()[-1] <= limit + 3


@BOTH
def test_a_crossing_past_of_a_rotor_that_is_ahead_is_stepped_soon(firmware, direction):
    """A 16th of an interval after it was found, the interval a 16th shorter: so it comes into sight."""
    following = Following(firmware, direction=direction)
    at = following.cross_again(how=PAST)
    legs = following.pattern((following.handover + 3) * way(direction))
    following.until(at + following.interval // 8)

    assert following.acted()[-1] == at + following.interval // 16
    assert following.legs() == legs
    assert following.call.commutation_interval() == following.interval - following.interval // 16
    assert following.marks() == []


def test_a_ramp_may_be_handed_over_by_a_crossing_past(firmware):
    """Likewise stepped a 16th later."""
    following = Following(firmware, how=PAST)
    following.until(following.crossed + following.interval // 8)

    assert following.acted()[-1] == following.crossed + following.interval // 16


def test_four_turns_of_crossings_past_are_a_lost_rotor(firmware):
    """Steps that never see a crossing drive themselves."""
    following = Following(firmware, how=PAST)
    for k in range(2, PAST_LIMIT + 1):
        assert not following.events() & LOST
        following.cross_again(1000, PAST)
        assert (following.legs() == ALL_OPEN) is (k == PAST_LIMIT)

    assert following.events() & LOST


def test_one_crossing_seen_among_those_past_begins_the_count_anew(firmware):
    """It has shown that there is a rotor."""
    following = Following(firmware, how=PAST)
    for _ in range(PAST_LIMIT - 2):
        following.cross_again(1000, PAST)
    following.cross_again(1000)
    for _ in range(PAST_LIMIT - 1):
        following.cross_again(300, PAST)
    assert not following.events() & LOST
    following.cross_again(300, PAST)

    assert following.events() & LOST


@pytest.mark.parametrize(("early", "is_past"), [(1, False), (0, True)])
def test_in_steps_not_caught_yet_what_is_beyond_is_past_after_seven_sixteenths(firmware, early, is_past):
    """As in the ramp, of the interval that is followed."""
    # above the neutral for ever: one of the two directions has a crossing that rises in the step looked at
    for direction in (FORWARD, REVERSE):
        following = Following(firmware, direction=direction, scenario=replace(QUIET, parts={"offset_v": 0.5}))
        following.until(following.crossed + following.interval // 2 + 20)
        if following.sensed()[1] == 1:
            break
    interval = following.call.commutation_interval()
    # entry, two legs, reading the count
    watched_from = following.acted()[-1] + (7 + 12 + 4) // 8
    following.until(watched_from + interval // 2 - interval // 16 - early - 0.5)
    following.call.port_interrupts_off()
    following.call.on_compare_b()

    assert following.sensed()[1] == 1
    assert (following.call.commutation_interval() < interval) is is_past


def test_crossings_past_before_a_ramp_do_not_count_after_it(firmware):
    """Another start: one below the limit before it, one after it."""
    following = Following(firmware, how=PAST)
    for _ in range(PAST_LIMIT - 2):
        following.cross_again(1000, PAST)
    following.call.commutation_rest(MS)
    again = Following(firmware, how=PAST, begun=following.tick + 100)
    again.until(again.crossed + again.interval // 8)

    assert not again.events() & LOST
    assert again.acted()[-1] == again.crossed + again.interval // 16
