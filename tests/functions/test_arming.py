"""The arming rite: an unbroken run of neutral pulses, counted and timed to the tick."""

from itertools import accumulate

import pytest

TICKS_PER_MS = 2000
PULSES, LASTS_TICKS, LONGEST_FRAME_TICKS = 25, 230 * TICKS_PER_MS, 40 * TICKS_PER_MS
"""settings.h: half a second at 20 ms a frame, as long as 25 of 10 ms at least; no frame lasts over 40 ms."""

NEUTRAL, DEAD_BAND = 3000, 80
STICK = {"low_ticks": 2200, "neutral_ticks": NEUTRAL, "high_ticks": 3800}


@pytest.fixture
def rite(firmware):
    """Takes gaps between pulses in ticks; says which of the pulses, counted from 1, completes the run.

    The first pulse ends at `begin`, the others after the gaps. `wrong` is which of them are bad pulses, or
    good ones of that width.
    """
    firmware.call.throttle_range(STICK)

    def completed_by(gaps, begin=1_000_000, wrong=None):
        for k, end in enumerate(accumulate(gaps, initial=begin), 1):
            width, good = (wrong or {}).get(k, (NEUTRAL, 1))
            pulse = {"end_ticks": end % 2**32, "width_ticks": width, "good": good}
            if firmware.call.arming_pulse(pulse):
                return k
        return None

    return completed_by


def frames(ms, count):
    """Gaps between that many pulses."""
    return [round(ms * TICKS_PER_MS)] * (count - 1)


@pytest.mark.parametrize("frame_ms", [10, 12.5, 20, 25, 40])
def test_twenty_five_neutral_pulses_arm(rite, frame_ms):
    """Half a second at 20 ms a frame: longer than a stick passes through neutral."""
    assert rite(frames(frame_ms, 40)) == PULSES


@pytest.mark.parametrize("frame_ms", [2.5, 5, 9.5])
def test_fast_frames_must_last_for_as_long_as_the_slow_ones(rite, frame_ms):
    """A receiver of 400 Hz sends 25 pulses in 60 ms, in which a stick may well pass through neutral."""
    pulses = 1 + -(-LASTS_TICKS // round(frame_ms * TICKS_PER_MS))

    assert rite(frames(frame_ms, pulses + 5)) == pulses


def test_the_run_lasts_its_time_to_the_tick(rite):
    """25 pulses within one tick less than 230 ms are one short."""
    even = [19_167] * 16 + [19_166] * 8

    assert sum(even) == LASTS_TICKS
    assert rite([*even, 19_166]) == PULSES
    assert rite([*even[1:], 19_166, 19_166]) == PULSES + 1


def test_an_armed_stick_stays_armed_while_neutral_goes_on(firmware, rite):
    """However long the run, the count of its pulses must not wrap: 256 are 5 s of 20 ms."""
    assert rite(frames(20, PULSES)) == PULSES
    begin = 1_000_000 + (PULSES - 1) * 20 * TICKS_PER_MS
    later = range(begin + 40_000, begin + 400 * 40_000, 40_000)

    assert {
        firmware.call.arming_pulse({"end_ticks": end, "width_ticks": NEUTRAL, "good": 1}) for end in later
    } == {1}


@pytest.mark.parametrize("at", range(3, PULSES + 1))
@pytest.mark.parametrize("frame_ms", [10, 19])
def test_a_missing_frame_begins_the_run_anew(rite, frame_ms, at):
    """The pulse after the hole is the first of a new run, whichever frame is missing."""
    gaps = frames(frame_ms, 60)
    gaps[at - 2] *= 2

    assert rite(gaps) == at + PULSES - 1


@pytest.mark.parametrize("frame_ticks", [20_000, 20_001, 40_000])
def test_a_gap_half_as_long_again_is_still_a_frame_and_one_tick_more_is_none(rite, frame_ticks):
    """A receiver's frame varies a little with the channels before; half a frame more is a hole."""
    longest = frame_ticks + frame_ticks // 2
    even = [frame_ticks] * 60

    assert rite([*even[:10], longest, *even]) == PULSES
    assert rite([*even[:10], longest + 1, *even]) == 11 + PULSES


def test_no_frame_is_longer_than_forty_milliseconds(rite):
    """25 pulses one tick further apart never make a run: each may have lost one before it."""
    assert rite([LONGEST_FRAME_TICKS] * 60) == PULSES
    assert rite([LONGEST_FRAME_TICKS + 1] * 60) is None


def test_a_new_run_measures_its_frame_anew(rite):
    """The frame of the run before, and the hole that ended it, say nothing about this one's."""
    assert rite([*frames(2.5, 11), *[40_000] * 40], wrong={11: (NEUTRAL, 0)}) == 11 + PULSES
    assert rite([*[20_000] * 10, 40_000, *[62_000] * 40]) == 11 + PULSES


@pytest.mark.parametrize("at", [1, 2, 3, 24, 25])
@pytest.mark.parametrize(
    "wrong", [(NEUTRAL, 0), (NEUTRAL + DEAD_BAND + 1, 1), (NEUTRAL - DEAD_BAND - 1, 1)], ids=str
)
def test_a_pulse_bad_or_off_neutral_begins_anew(rite, at, wrong):
    """Noise that looks like neutral now and then must never add up."""
    assert rite(frames(10, 60), wrong={at: wrong}) == at + PULSES


@pytest.mark.parametrize("width", [NEUTRAL - DEAD_BAND, NEUTRAL + DEAD_BAND])
def test_the_border_of_the_dead_band_is_neutral(rite, width):
    """Stick scatter and trim are some 20 us, twice that is promised."""
    assert rite(frames(20, 40), wrong=dict.fromkeys(range(1, 41), (width, 1))) == PULSES


def test_a_run_begun_anew_has_its_whole_time_before_it(rite):
    """Fast frames: 60 good ones, a bad one, and the time counts from the pulse after it."""
    assert rite(frames(2.5, 200), wrong={61: (NEUTRAL, 0)}) == 61 + 93


def test_a_restart_forgets_the_run(firmware, rite):
    """After a disarming the whole rite is due, though pulses go on without a gap."""
    assert rite(frames(10, PULSES - 1)) is None
    firmware.call.arming_restart()

    assert rite(frames(10, 60), begin=1_000_000 + (PULSES - 1) * 20_000) == PULSES


def test_the_rite_is_the_same_across_the_wrap_of_the_clock(rite):
    """32 bits of 0.5 us wrap after 35 minutes of waiting for a transmitter."""
    assert rite(frames(10, 40), begin=2**32 - 100_000) == PULSES
    assert rite(frames(2.5, 200), begin=2**32 - 100_000) == 93
