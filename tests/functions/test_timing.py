"""From crossings to the moment of the next step: the two formulas of the header, their borders, and the wrap.

Times are ticks of 0.5 us. Where halves come into it, the numbers are chosen to divide, so that what is
expected is exact.
"""

from fractions import Fraction
from itertools import accumulate

import pytest

from .moments import LATENCY

WRAP = 65536


def crossings(firmware, first: int, *gaps: int) -> list[int]:
    """Delays after crossings `gaps` apart, the first at `first`."""
    times = accumulate(gaps, initial=first)
    return [firmware.call.timing_crossing(at % WRAP) for at in times]


def begun(firmware, interval: int) -> None:
    """With a step interval known otherwise."""
    firmware.call.timing_begin(interval)


@pytest.mark.parametrize("interval", [80, 400, 2200])
def test_with_no_partner_a_crossing_is_half_a_step_before_the_next_step(firmware, interval):
    """30 of 60 degrees, less what seeing and acting take; one crossing says nothing about the rate."""
    begun(firmware, interval)

    assert firmware.call.timing_crossing(1234) == interval // 2 - LATENCY
    assert firmware.call.timing_interval() == interval
    assert firmware.call.timing_is_plausible() == 1


def test_a_step_may_be_due_before_the_crossing_was_stamped(firmware):
    """With half a step shorter than the latency the answer is negative, and no huge count of ticks."""
    begun(firmware, 8)

    assert firmware.call.timing_crossing(1000) == 4 - LATENCY


def test_the_first_gap_is_weighed_with_the_interval_known_before(firmware):
    """One gap alone holds the comparator's offset in full."""
    begun(firmware, 400)

    assert crossings(firmware, 100, 480) == [200 - LATENCY, 220 - LATENCY]
    assert firmware.call.timing_interval() == 440


@pytest.mark.parametrize(("gap", "mean"), [(40, 30), (20, 20), (10, 15)])
def test_a_gap_at_the_border_of_plausible_is_still_taken(firmware, gap, mean):
    """Half the interval, and twice the interval."""
    begun(firmware, 20)
    crossings(firmware, 100, gap)

    assert firmware.call.timing_is_plausible() == 1
    assert firmware.call.timing_interval() == mean


@pytest.mark.parametrize("gap", [9, 41, 0, 30000])
def test_a_gap_beyond_half_or_twice_the_interval_is_not_believed(firmware, gap):
    """The interval stands, and the step is taken from this crossing alone."""
    begun(firmware, 20)

    assert crossings(firmware, 100, gap)[-1] == 10 - LATENCY
    assert firmware.call.timing_is_plausible() == 0
    assert firmware.call.timing_interval() == 20


@pytest.mark.parametrize("gap", [199, 801])
def test_the_gap_after_an_unbelievable_one_begins_anew(firmware, gap):
    """Its two crossings stand for a gap, weighed with the interval; the odd gap is in no mean."""
    begun(firmware, 400)
    crossings(firmware, 100, 400, 400, gap, 440)

    assert firmware.call.timing_is_plausible() == 1
    assert firmware.call.timing_interval() == 420


def test_an_unbelievable_gap_spoils_no_later_mean(firmware):
    """Two gaps further the interval is the mean of those two."""
    begun(firmware, 400)
    crossings(firmware, 100, 400, 400, 900, 440, 480)

    assert firmware.call.timing_interval() == 460


@pytest.mark.parametrize(
    ("before", "last"), [(400, 400), (380, 420), (420, 380), (360, 440), (300, 500), (404, 396), (500, 340)]
)
def test_the_step_follows_the_formula_of_the_last_three_crossings(firmware, before, last):
    """T = (c0 - c2) / 2 and step = (c0 + c1) / 2 + T, of exact numbers, less the latency."""
    begun(firmware, 400)
    delay = crossings(firmware, 1000, 400, before, last)[-1]
    c2, c1, c0 = 1400, 1400 + before, 1400 + before + last
    interval = Fraction(c0 - c2, 2)

    assert firmware.call.timing_interval() == interval
    assert c0 + delay == Fraction(c0 + c1, 2) + interval - LATENCY


@pytest.mark.parametrize("offset", [-60, -20, 20, 60])
def test_an_offset_of_the_comparator_moves_no_step(firmware, offset):
    """Every other crossing is early and those between late; the steps stay 400 ticks apart, mid-way."""
    begun(firmware, 400)
    true = [1000 + 400 * k for k in range(10)]
    steps = [
        at + firmware.call.timing_crossing(at) for at in (t + offset * (-1) ** k for k, t in enumerate(true))
    ]

    assert steps[3:] == [at + 200 - LATENCY for at in true[3:]]
    assert firmware.call.timing_interval() == 400


@pytest.mark.parametrize("gaining", [-8, 8])
def test_the_interval_follows_a_rotor_that_changes_its_speed(firmware, gaining):
    """The mean of the last two gaps is half a change behind, the steps less than one."""
    begun(firmware, 400)
    gaps = [400 + gaining * k for k in range(20)]
    crossings(firmware, 500, *gaps)

    assert firmware.call.timing_interval() == 400 + gaining * 19 - gaining // 2


@pytest.mark.parametrize("wrap_after", [1, 150, 500, 799, 801, 1100])
def test_delays_do_not_change_where_the_ticks_wrap(firmware, wrap_after):
    """Uneven gaps, so that each difference counts; the wrap of 16 bits lies between, or at a crossing."""
    gaps = (400, 360, 440, 900, 420)
    begun(firmware, 400)
    plain = crossings(firmware, 3000, *gaps)
    begun(firmware, 400)

    assert crossings(firmware, WRAP - wrap_after, *gaps) == plain


@pytest.mark.parametrize(("shorten", "share"), [("timing_hidden", 32), ("timing_ahead", 16)])
def test_what_was_not_seen_shortens_the_interval_by_its_share(firmware, shorten, share):
    """A 32nd for a crossing that current hid, a 16th for a rotor that is ahead; whole ticks are dropped."""
    begun(firmware, 1600)
    getattr(firmware.call, shorten)()
    assert firmware.call.timing_interval() == 1600 - 1600 // share

    begun(firmware, share - 1)
    getattr(firmware.call, shorten)()
    assert firmware.call.timing_interval() == share - 1


@pytest.mark.parametrize("shorten", ["timing_hidden", "timing_ahead"])
def test_the_crossing_after_one_not_seen_has_no_partner(firmware, shorten):
    """The gap to it covers two steps or a step and an unknown; neither rate nor middle is taken from it."""
    begun(firmware, 400)
    crossings(firmware, 100, 400, 400)
    getattr(firmware.call, shorten)()
    interval = firmware.call.timing_interval()
    delay = firmware.call.timing_crossing(900 + 500)

    assert delay == interval // 2 - LATENCY
    assert firmware.call.timing_is_plausible() == 1
    assert firmware.call.timing_interval() == interval


def test_beginning_anew_forgets_the_crossings_before(firmware):
    """A start after a run must not take a gap over the pause."""
    begun(firmware, 400)
    crossings(firmware, 100, 400, 400)
    begun(firmware, 800)

    assert firmware.call.timing_crossing(900 + 1000) == 400 - LATENCY
    assert firmware.call.timing_interval() == 800
    assert firmware.call.timing_is_plausible() == 1


def test_a_plausible_crossing_clears_the_doubt_of_the_one_before(firmware):
    """The answer is about the last crossing."""
    begun(firmware, 400)
    crossings(firmware, 100, 1000)
    assert firmware.call.timing_is_plausible() == 0
    firmware.call.timing_crossing(1100 + 400)

    assert firmware.call.timing_is_plausible() == 1
