"""A rotor that turns as asked for is caught while it is being stopped; with a driven rotor, too."""

from dataclasses import replace

import pytest

from dryspin.call.firmware import QUIET
from dryspin.recording import Mark, Signal

from .legs import legs_now, marks
from .stopper import AGAIN, FIRST, FORWARD, GOES_ON, LAST, LOOKS, LOW, NOTHING, OPEN, REVERSE, STOPPED

EVENT_BEAT, EVENT_CAUGHT, EVENT_LOST = 2, 8, 16


@pytest.mark.parametrize("wanted", [FORWARD, REVERSE])
def test_a_rotor_looked_at_and_seen_to_turn_is_caught(stopping, wanted):
    """Legs stay open, no beat disturbs the catching; the crossings looked for are those of that direction."""
    stopping.call.stopping_check(0)
    assert stopping.call.stopping_caught() == 0
    assert stopping.seems_to_turn(wanted) == GOES_ON

    assert stopping.call.stopping_caught() == wanted
    assert stopping.beats(2 * LOOKS, wanted) == {GOES_ON}
    assert stopping.call.stopping_caught() == wanted
    assert Mark.BRAKE not in marks(stopping.firmware)
    _, edges, _ = stopping.firmware.recording().of(Signal.SENSE_EDGE)
    assert edges[-1] == stopping.call.steps_edge(0, wanted)


def test_a_rotor_that_cannot_be_caught_is_braked_as_if_at_any_speed(stopping):
    """And not tried again until it has been looked at anew: it may turn the other way."""
    stopping.call.stopping_check(1)
    stopping.seems_to_turn(FORWARD)
    stopping.call.stopping_not_caught()

    assert stopping.call.stopping_caught() == 0
    assert stopping.brakes_for(FORWARD) == FIRST
    assert stopping.seems_to_turn(FORWARD) == GOES_ON
    assert stopping.call.stopping_caught() == 0
    assert stopping.brakes_for(FORWARD) == AGAIN


def test_nothing_is_caught_where_nothing_is_asked(stopping):
    """A stick at neutral: the rotor is to stop."""
    stopping.call.stopping_check(0)
    assert stopping.seems_to_turn(NOTHING) == GOES_ON

    assert stopping.call.stopping_caught() == 0
    assert stopping.brakes_for() == AGAIN


def test_a_stop_does_not_catch(stopping):
    """A reversal brakes first, whatever was looked at before: the bridge never drives against a rotor."""
    stopping.call.stopping_check(1)
    stopping.call.stopping_begin()
    assert stopping.brakes_for(FORWARD) == FIRST
    assert stopping.seems_to_turn(FORWARD) == GOES_ON

    assert stopping.call.stopping_caught() == 0
    assert stopping.brakes_for(FORWARD) == AGAIN
    assert stopping.seems_at_rest(FORWARD) == GOES_ON


def test_what_the_water_turns_is_listened_to_and_caught_in_turn(stopping):
    """After the longest brake, with a direction asked for: never braked again, caught or not."""
    stopping.brake_for_the_longest()
    assert stopping.seems_to_turn(FORWARD) == GOES_ON
    assert legs_now(stopping.firmware) == [OPEN] * 3
    assert stopping.call.stopping_caught() == 0
    said = marks(stopping.firmware)
    for _ in range(3):
        assert stopping.seems_to_turn(FORWARD) == GOES_ON
        assert stopping.call.stopping_caught() == FORWARD
        stopping.call.stopping_not_caught()
        assert stopping.call.stopping_caught() == 0
        assert legs_now(stopping.firmware) == [OPEN] * 3

    # coasting goes on and is not said again
    assert marks(stopping.firmware) == said
    assert stopping.seems_to_turn(NOTHING) == STOPPED


def driven(firmware, rpm, wanted, stop):
    """A rotor driven at `rpm`, and a main line with nothing but a stop: (event or 0, s after the begin)."""
    firmware.reset(replace(QUIET, speed_rpm=((0.0, rpm),), end_s=5.0))
    firmware.call.clock_start()
    firmware.call.commutation_start()
    firmware.call.port_interrupts_restore(1)
    begun_s = firmware.now_s
    stop()
    while True:
        event = firmware.call.events_wait()
        if event & (EVENT_CAUGHT | EVENT_LOST) or (
            event & EVENT_BEAT and firmware.call.stopping_beat(wanted) == STOPPED
        ):
            return event & (EVENT_CAUGHT | EVENT_LOST), firmware.now_s - begun_s


def test_a_stop_takes_its_milliseconds(firmware):
    """Beats of 1 ms while braking, 0.1 ms while listening: twice 16 ms besides."""
    event, took_s = driven(firmware, 0.0, NOTHING, lambda: firmware.call.stopping_begin())

    assert event == 0
    assert took_s == pytest.approx((FIRST + LAST) * 1e-3 + 2 * LOOKS * 1e-4, abs=1e-3)


@pytest.mark.parametrize(("rpm", "wanted"), [(4000.0, FORWARD), (-4000.0, REVERSE)])
def test_a_turning_rotor_is_caught_within_some_electrical_turns(firmware, rpm, wanted):
    """4000 rpm are 2.1 ms an electrical turn: one to see that it turns, two to prove its crossings."""
    event, took_s = driven(firmware, rpm, wanted, lambda: firmware.call.stopping_check(0))

    assert event == EVENT_CAUGHT
    assert firmware.call.stopping_caught() == wanted
    assert took_s < 4 * 60 / 4000 / 7


@pytest.mark.parametrize(("rpm", "wanted"), [(-4000.0, FORWARD), (4000.0, REVERSE)])
def test_a_rotor_that_turns_the_other_way_is_not_caught(firmware, rpm, wanted):
    """It is lost in silence, legs open, and braked next."""
    event, _ = driven(firmware, rpm, wanted, lambda: firmware.call.stopping_check(0))
    assert event == EVENT_LOST
    assert legs_now(firmware) == [OPEN] * 3
    firmware.call.stopping_not_caught()

    assert legs_now(firmware) == [LOW] * 3
