"""The way into learning the stick's range: stick up from power-on, unbroken, and the rotor at rest."""

import pytest

from .learning import BEGINS, LOOKS, NO_NEWS, UP, UP_PULSES, Learner
from .legs import OFFSET_ABOVE

TICKS_PER_MS = 2000
STICK_UP, UP_LASTS, LONGEST_FRAME = 3400, 950 * TICKS_PER_MS, 40 * TICKS_PER_MS
"""settings.h: up is beyond 1700 us, for a second at least; no frame lasts over 40 ms."""


@pytest.fixture
def learner(firmware):
    """After power-on, the rotor at rest."""
    firmware.reset(OFFSET_ABOVE)
    return Learner(firmware)


def pulses_until_asked(learner, width=UP, gaps=()):
    """Which pulse, counted from 1, opens the way in."""
    for k, gap in enumerate(gaps, 1):
        assert learner.pulse(width, gap) == NO_NEWS
        if learner.wants_beats:
            return k
    return None


@pytest.mark.parametrize("frame_ms", [10, 20, 40])
def test_a_hundred_pulses_with_the_stick_up_open_the_way_in(learner, frame_ms):
    """Two seconds at 20 ms a frame; the longest frame is no missing one."""
    assert pulses_until_asked(learner, gaps=[frame_ms * TICKS_PER_MS] * 120) == UP_PULSES


@pytest.mark.parametrize("frame_ms", [2.5, 5, 9.5])
def test_fast_frames_must_last_a_second(learner, frame_ms):
    """A hundred of 2.5 ms are over in a quarter of one."""
    gap = round(frame_ms * TICKS_PER_MS)

    assert pulses_until_asked(learner, gaps=[gap] * 500) == 1 + -(-UP_LASTS // gap)


def test_the_stick_is_up_for_its_time_to_the_tick(firmware, learner):
    """A hundred pulses within one tick less are one short."""
    even = [20_000] + [19_192] * 91 + [19_191] * 8
    assert sum(even[1:]) == UP_LASTS
    assert pulses_until_asked(learner, gaps=even) == UP_PULSES
    firmware.reset()

    assert pulses_until_asked(Learner(firmware), gaps=[20_000, *even[2:], 19_191, 9]) == UP_PULSES + 1


@pytest.mark.parametrize("begin", [1_000_000, 2**32 - 2_000_000])
def test_the_clock_may_wrap_while_the_stick_is_up(learner, begin):
    """It does not after power-on, but nothing here depends on that."""
    learner.now_ticks = begin

    assert pulses_until_asked(learner, gaps=[10_000] * 500) == 191


@pytest.mark.parametrize(("width", "asked"), [(STICK_UP, None), (STICK_UP + 1, UP_PULSES)])
def test_up_is_beyond_1700_us(learner, width, asked):
    """A trimmed stick at rest never comes there."""
    assert pulses_until_asked(learner, width, gaps=[20_000] * 120) == asked


@pytest.mark.parametrize("cause", [2, 4, 8])
def test_no_other_reset_than_power_on_opens_the_way_in(firmware, cause):
    """A captain at sea who holds full ahead must never find himself calibrating."""
    learner = Learner(firmware, cause)

    assert pulses_until_asked(learner, gaps=[40_000] * 120) is None


@pytest.mark.parametrize("at", [1, 2, 50, 99, 100])
@pytest.mark.parametrize("wrong", ["bad", "not up", "late"])
def test_one_pulse_amiss_shuts_the_way_in_until_the_next_power_on(learner, at, wrong):
    """The run must be unbroken from the first pulse; a gap before that one is no frame."""
    learner.hold(UP, at - 1)
    if wrong == "late":
        learner.pulse(UP, LONGEST_FRAME + 1)
    else:
        learner.pulse(UP if wrong == "bad" else STICK_UP, good=int(wrong != "bad"))
    learner.hold(UP, UP_PULSES)
    is_shut = not (wrong == "late" and at == 1)

    assert learner.wants_beats == (not is_shut)


def test_the_way_in_shuts_again_if_the_stick_comes_down_before_the_rotor_rests(learner):
    """It was asked, but who asked has let go."""
    learner.ask()
    learner.beats(100)
    assert learner.pulse(STICK_UP) == NO_NEWS

    assert learner.wants_beats == 0


def test_calibrating_begins_once_the_rotor_is_seen_at_rest(learner):
    """One beat to begin the listening, all looks, and pulses go on meanwhile."""
    learner.ask()
    assert learner.beats(80) == [NO_NEWS] * 80
    assert learner.hold(UP, 10) == [NO_NEWS] * 10
    assert learner.wants_beats == 1

    assert learner.beats(LOOKS - 79) == [NO_NEWS] * (LOOKS - 80) + [BEGINS]


def test_a_turning_rotor_is_listened_to_until_it_rests(learner):
    """All looks anew after the last sign of turning."""
    learner.ask()
    assert learner.beats(1) == [NO_NEWS]
    for _ in range(3):
        assert learner.turn() == [NO_NEWS] * 5
        assert learner.wants_beats == 1

    assert learner.beats(LOOKS) == [NO_NEWS] * (LOOKS - 1) + [BEGINS]
