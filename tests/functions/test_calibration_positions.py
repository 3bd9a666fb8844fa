"""Learning the stick's range: three positions, each held still, each away from the one before."""

import pytest

from .learning import BEGINS, DOWN, ENDS, HOLD_PULSES, LOOKS, MIDDLE, NO_NEWS, POSITION, UP, Learner
from .legs import OFFSET_ABOVE

TICKS_PER_MS = 2000
STICK_UP, HOLD_LASTS, STILL, MOVED = 3400, 230 * TICKS_PER_MS, 30, 200
"""settings.h: up is beyond 1700 us; still within 15 us, for a quarter of a second at least; another position
is 100 us away."""


def test_a_stick_held_up_all_along_teaches_its_position_with_the_next_pulse(learning):
    """It has been held for two seconds already."""
    assert learning.hold(UP, 3) == [POSITION, NO_NEWS, NO_NEWS]


def test_a_stick_held_up_for_very_long_has_still_been_held(firmware):
    """Waiting for the rotor to rest may take more pulses than 8 bits count: 256 are 5 s."""
    firmware.reset(OFFSET_ABOVE)
    learner = Learner(firmware)
    learner.hold(UP, 262)
    assert learner.beats(LOOKS + 1)[-1] == BEGINS

    assert learner.pulse(UP) == POSITION


@pytest.mark.parametrize("frame_ms", [10, 20, 25])
def test_a_position_is_learnt_with_its_25th_pulse(learning, frame_ms):
    """Half a second at 20 ms a frame; and so for each of the three."""
    learning.learn(UP)
    gap = frame_ms * TICKS_PER_MS

    assert learning.hold(MIDDLE, 30, gap) == [NO_NEWS] * 24 + [POSITION] + [NO_NEWS] * 5
    assert learning.hold(DOWN, 30, gap) == [NO_NEWS] * 24 + [POSITION] + [NO_NEWS] * 5


def test_a_position_is_held_for_its_time_to_the_tick(learning):
    """230 ms between its first pulse and the one that completes it."""
    learning.learn(UP)
    gaps = [10_000] + [19_167] * 16 + [19_166] * 8
    assert sum(gaps[1:]) == HOLD_LASTS
    assert [learning.pulse(MIDDLE, gap) for gap in gaps] == [NO_NEWS] * 24 + [POSITION]

    gaps[1] -= 1
    assert [learning.pulse(DOWN, gap) for gap in [*gaps, 1]] == [NO_NEWS] * 25 + [POSITION]


def test_fast_frames_hold_a_position_for_as_long(learning):
    """25 pulses of 2.5 ms are 60 ms, in which a moving stick hardly moves."""
    learning.learn(UP)

    assert learning.hold(MIDDLE, 93, 5000) == [NO_NEWS] * 92 + [POSITION]


def test_a_hand_that_scatters_within_15_us_holds_still_and_its_middle_counts(learning):
    """A receiver scatters by a few us; the middle of least and most is what it means."""
    learning.learn(UP)
    scatter = [MIDDLE, MIDDLE + STILL, MIDDLE + 7] * 9

    assert [learning.pulse(width) for width in scatter[:HOLD_PULSES]] == [NO_NEWS] * 24 + [POSITION]
    assert learning.call.calibration_range()[0].neutral_ticks == MIDDLE + STILL // 2


@pytest.mark.parametrize("way", [1, -1])
def test_a_stick_that_moves_on_begins_a_new_hold_with_the_pulse_that_shows_it(learning, way):
    """One tick more than it may scatter, up or down, however late."""
    learning.learn(UP)
    learning.hold(MIDDLE, 24)
    moved = MIDDLE + way * (STILL + 1)

    assert learning.hold(moved, HOLD_PULSES) == [NO_NEWS] * 24 + [POSITION]
    assert learning.call.calibration_range()[0].neutral_ticks == moved


@pytest.mark.parametrize("frame_ticks", [20_000, 5000])
def test_a_new_hold_has_its_whole_time_before_it(learning, frame_ticks):
    """The time is counted from the pulse that showed the move."""
    learning.learn(UP)
    learning.hold(MIDDLE + 50, 20)
    needed = max(HOLD_PULSES, 1 + HOLD_LASTS // frame_ticks)

    assert learning.hold(MIDDLE, needed, frame_ticks) == [NO_NEWS] * (needed - 1) + [POSITION]


def test_a_bad_pulse_begins_the_hold_anew_and_nothing_else(learning):
    """Noise in the middle of a calibration costs half a second."""
    learning.learn(UP)
    learning.hold(MIDDLE, 24)
    assert learning.pulse(MIDDLE, good=0) == NO_NEWS

    assert learning.hold(MIDDLE, HOLD_PULSES) == [NO_NEWS] * 24 + [POSITION]


def test_bad_pulses_have_no_width(learning):
    """What a bad pulse carries as width is left over from somewhere."""
    learning.learn(UP)
    learning.hold(MIDDLE, 10)
    learning.pulse(MIDDLE + 20, good=0)
    learning.hold(MIDDLE, HOLD_PULSES)

    assert learning.call.calibration_range()[0].neutral_ticks == MIDDLE


@pytest.mark.parametrize(("width", "news"), [(STICK_UP, NO_NEWS), (STICK_UP + 1, POSITION)])
def test_the_first_position_is_one_with_the_stick_up(learning, width, news):
    """A stick let go as soon as calibrating begins teaches no top."""
    assert learning.hold(width, 60) == [NO_NEWS] * 24 + [news] + [NO_NEWS] * 35


def test_a_first_position_that_was_not_up_can_still_be_made_good(learning):
    """Nothing is learnt meanwhile."""
    assert learning.hold(MIDDLE, 60) == [NO_NEWS] * 60

    assert learning.hold(UP) == [NO_NEWS] * 24 + [POSITION]
    assert learning.call.calibration_range()[0].high_ticks == UP


@pytest.mark.parametrize(("apart", "counts"), [(MOVED - 1, 0), (MOVED, 1)])
@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize("which", [1, 2])
def test_another_position_is_a_hundred_microseconds_away(learning, which, way, apart, counts):
    """A hand that shifts a little must not teach the same position twice; up and down alike."""
    before = [3600, 3000][:which]
    learning.learn(*before)
    # a third position as near as that makes no range, and ends it
    news = POSITION if which == 1 else ENDS

    assert learning.hold(before[-1] + way * apart, 60) == [NO_NEWS] * 24 + [news * counts] + [NO_NEWS] * 35


def test_what_is_learnt_are_the_three_positions_in_their_order(learning):
    """Up, middle, down; its two ways need not be alike."""
    learning.learn(3900, 3100, 2500)
    learnt = learning.call.calibration_range()[0]

    assert (learnt.high_ticks, learnt.neutral_ticks, learnt.low_ticks) == (3900, 3100, 2500)
    assert learning.wants_beats == 1


@pytest.mark.parametrize("third", [2620, 1590, 3400, 3800], ids=["narrow", "no pulse", "between", "up again"])
def test_positions_that_make_no_range_end_it(learning, third):
    """What range_is_sane() refuses is neither stored nor asked about any further."""
    learning.learn(UP, MIDDLE)
    news = learning.hold(third, 60)

    assert [k for k in news if k != NO_NEWS] == [ENDS]
    assert learning.wants_beats == 0
    assert learning.hold(UP, 120) == [NO_NEWS] * 120


def test_further_pulses_teach_nothing_once_all_is_learnt(learning):
    """The stick may be let go."""
    learning.learn(UP, MIDDLE, DOWN)
    learnt = learning.call.calibration_range()[0]

    assert learning.hold(MIDDLE, 60) + learning.hold(2500, 60) == [NO_NEWS] * 120
    assert learning.call.calibration_range()[0] == learnt
    assert learning.wants_beats == 1
