"""Servo pulses: read from the pin to the tick, told from noise, and the median of three."""

from dataclasses import replace
from itertools import pairwise, product

import pytest

from dryspin.call.firmware import QUIET
from dryspin.recording import Signal

TICKS_PER_US = 2
EVENT_PULSE = 1
SHORTEST_US, LONGEST_US = 800, 2200
"""settings.h: the widths of a transmitter; what lies outside is noise or a broken lead."""

NEUTRAL, DEAD_BAND = 3000, 80


@pytest.fixture
def listening(firmware):
    """The firmware listening to a pin with these pulses, as main() has it."""

    def begin(throttle_us, frame_ms=20.0, end_s=5.0):
        firmware.reset(replace(QUIET, throttle_us=throttle_us, frame_ms=frame_ms, end_s=end_s))
        firmware.call.clock_start()
        firmware.call.throttle_start()
        firmware.call.port_interrupts_restore(1)
        return firmware

    return begin


def next_pulse(firmware):
    """Sleep until a pulse has ended; that pulse."""
    assert firmware.call.events_wait() == EVENT_PULSE
    return firmware.call.throttle_last()


@pytest.mark.parametrize("width_us", [SHORTEST_US, 800.5, 1100, 1499.5, 1500, 1900, 2199.5, LONGEST_US])
def test_a_pulse_is_read_to_the_tick(listening, width_us):
    """The capture register dates both edges, so latency costs no accuracy."""
    firmware = listening(((0.0, float(width_us)),))
    read = [next_pulse(firmware) for _ in range(5)]

    assert [pulse.good for pulse in read] == [1] * 5
    assert [pulse.width_ticks for pulse in read] == [width_us * TICKS_PER_US] * 5


@pytest.mark.parametrize("width_us", [2, 100, 799.5, 2200.5, 3000, 19_000])
def test_what_no_transmitter_sends_is_a_bad_pulse(listening, width_us):
    """It is told all the same: the arming rite begins anew with it."""
    firmware = listening(((0.0, float(width_us)),))

    assert [next_pulse(firmware).good for _ in range(3)] == [0, 0, 0]


def test_each_pulse_is_judged_by_itself(listening):
    """A good one after a bad one, and the other way round."""
    firmware = listening(((0.0, 1500.0), (0.09, 300.0), (0.11, 1600.0), (0.13, 2300.0), (0.15, 1400.0)))
    read = [next_pulse(firmware) for _ in range(5)]

    assert [pulse.good for pulse in read] == [1, 0, 1, 0, 1]
    assert [pulse.width_ticks for pulse in read if pulse.good] == [3000, 3200, 2800]


@pytest.mark.parametrize("frame_ms", [2.5, 7, 20, 25, 32.768])
def test_a_pulse_ends_when_its_edge_falls_whatever_the_timer_wraps(listening, frame_ms):
    """The timer wraps every 32.768 ms, between and within pulses; the clock goes on."""
    firmware = listening(((0.0, 1500.0),), frame_ms)
    ends = [next_pulse(firmware).end_ticks for _ in range(60)]
    cycles, levels, _ = firmware.recording().of(Signal.THROTTLE)
    fallen = [int(cycle) for cycle, level in zip(cycles, levels, strict=True) if not level][-60:]

    assert [late - early for early, late in pairwise(ends)] == [
        pytest.approx((late - early) / 8, abs=1) for early, late in pairwise(fallen)
    ]
    # read from the clock within the few ticks that waking up takes
    assert 0 <= firmware.call.clock_now() - ends[-1] < 20


def test_bad_pulses_have_an_end_too(listening):
    """A gap is counted from whatever was last seen on the lead."""
    firmware = listening(((0.0, 1500.0), (0.095, 300.0)))
    ends = [next_pulse(firmware).end_ticks for _ in range(4)]

    assert [late - early for early, late in pairwise(ends)] == [40_000, 40_000 - 1200 * TICKS_PER_US, 40_000]


@pytest.mark.parametrize("noise_us", [2, 20, 1500])
def test_a_pulse_over_before_anybody_looked_does_not_spoil_the_next(listening, noise_us):
    """With interrupts off for as long, only its rising edge was captured: the next is again a rising one."""
    firmware = listening(((0.0, float(noise_us)), (0.085, 1500.0)))
    firmware.call.port_interrupts_off()
    firmware.wait(ms=15)
    firmware.call.port_interrupts_restore(1)
    firmware.wait(ms=1)
    read = [next_pulse(firmware) for _ in range(3)]

    assert [(pulse.good, pulse.width_ticks) for pulse in read] == [(1, 3000)] * 3


@pytest.mark.parametrize("late_us", [10, 700])
def test_a_handler_that_comes_late_costs_no_accuracy(listening, late_us):
    """Whoever holds interrupts off over an edge: the edge was dated when it came."""
    firmware = listening(((0.0, 1500.0),))
    next_pulse(firmware)
    # the next rises 18.5 ms after the one before has fallen
    firmware.wait(ms=18.4)
    firmware.call.port_interrupts_off()
    firmware.wait(ms=0.1 + late_us / 1000)
    firmware.call.port_interrupts_restore(1)

    assert next_pulse(firmware).width_ticks == 3000


def test_no_pulse_is_told_without_one(listening):
    """A lead without pulses must not look like a transmitter."""
    firmware = listening(((0.0, 0.0),))
    firmware.wait(ms=500)
    cycles, _, _ = firmware.recording().of(Signal.HANDLER)

    assert firmware.call.throttle_last().good == 0
    assert firmware.call.throttle_last().end_ticks == 0
    # the wraps of the clock: entry and return each
    assert len(cycles) == 2 * int(0.5 / 32.768e-3)


@pytest.mark.parametrize("were_on", [0, 1])
def test_reading_the_last_pulse_leaves_interrupts_as_they_were(firmware, were_on):
    """A main line with interrupts off may be between two that belong together."""
    firmware.call.port_interrupts_restore(were_on)
    firmware.call.throttle_last()

    assert firmware.call.port_interrupts_off() == were_on


@pytest.mark.parametrize("neutral", [2600, NEUTRAL, 3400])
def test_the_dead_band_is_forty_microseconds_to_either_side_of_neutral(firmware, neutral):
    """Borders included; around the neutral that was learnt."""
    firmware.call.throttle_range(
        {"low_ticks": neutral - 800, "neutral_ticks": neutral, "high_ticks": neutral + 800}
    )
    widths = range(neutral - 2 * DEAD_BAND, neutral + 2 * DEAD_BAND + 1)

    assert [width for width in widths if firmware.call.throttle_is_neutral(width)] == [
        width for width in widths if abs(width - neutral) <= DEAD_BAND
    ]


def test_the_median_of_three_is_that_of_a_sorted_list(firmware):
    """All sequences of five from four widths, two of which are alike at times."""
    for widths in product((2200, 2201, 3000, 3800), repeat=5):
        firmware.call.median_fill(widths[0])
        read = [firmware.call.median_next(width) for width in widths[1:]]
        seen = [widths[0], *widths]

        assert read == [sorted(seen[k : k + 3])[1] for k in range(4)]


def test_one_wrong_pulse_asks_for_nothing(firmware):
    """Noise that cuts one pulse short never shows as long as two right ones stand beside it."""
    firmware.call.median_fill(NEUTRAL)
    widths = [NEUTRAL, NEUTRAL, 1700, NEUTRAL, NEUTRAL, 4300] * 3

    assert {firmware.call.median_next(width) for width in widths} == {NEUTRAL}
