"""A tone as compare A plays it, pulse by pulse."""

import pytest

from dryspin.recording import Signal

from .running import ALL_OPEN, BEAT, MS, Running


def test_a_tone_sounds_by_the_ticks_between_its_pulses_and_then_beats(firmware):
    """Each pulse by the one before, the first after a millisecond; the legs are open in between."""
    call = firmware.call
    stored = 35
    call.tone_begin(stored)
    ticks = list(iter(call.tone_next, 0))
    firmware.reset()
    running = Running(firmware)
    assert call.commutation_tone_is_over() == 1
    running.until(1000)
    call.tone_begin(stored)
    call.commutation_tone()
    assert call.commutation_tone_is_over() == 0
    running.until(1000 + MS - 1)
    assert running.events() == 0
    running.until(1000 + MS + 100)
    assert running.events() == BEAT
    running.until(1000 + MS + sum(ticks) - 1)
    assert call.commutation_tone_is_over() == 0
    running.events()
    running.until(1000 + MS + sum(ticks) + 10)
    assert call.commutation_tone_is_over() == 1
    assert running.events() == BEAT
    end = running.tick
    running.until(end + 3 * MS + 20)

    begun = [1000 + MS + sum(ticks[:k]) for k in range(len(ticks) + 1)]
    acted = running.acted()
    assert acted[: len(begun)] == pytest.approx(begun, abs=2)
    assert acted[len(begun) :] == [pytest.approx(begun[-1] + k * MS, abs=3) for k in (1, 2, 3)]
    high = [at for leg in (Signal.LEG_U, Signal.LEG_V) for at, value in running.edges(leg) if value == 2]
    assert len(high) == len(ticks)
    assert running.legs() == ALL_OPEN


def test_a_rest_ends_a_tone(firmware):
    """An armed stick cuts it short."""
    running = Running(firmware)
    running.call.tone_begin(35)
    running.call.commutation_tone()
    running.until(10 * MS)
    running.call.commutation_rest(MS)
    assert running.call.commutation_tone_is_over() == 1
    pulses = len(running.edges(Signal.LEG_U))
    running.until(20 * MS)

    assert len(running.edges(Signal.LEG_U)) == pulses
