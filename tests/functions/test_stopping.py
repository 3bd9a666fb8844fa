"""Braking and listening in turn, beat by beat, until the rotor rests or is left to the water."""

import pytest

from dryspin.recording import Mark

from .legs import legs_now, marks
from .stopper import AGAIN, FIRST, FORWARD, GOES_ON, HELD, LAST, LOOKS, LOW, NOTHING, OPEN, STOPPED

SLOW_LOOKS = 72
"""settings.h: a rotor that needs so many for two changes of mind is slower than 400 rpm."""


def test_a_stop_brakes_listens_makes_sure_and_listens_again(stopping):
    """Below 500 rpm an offset hides the EMF: what seems at rest is braked once more before it counts."""
    stopping.call.stopping_begin()

    assert marks(stopping.firmware)[-1] == Mark.BRAKE
    assert stopping.brakes_for() == FIRST
    assert stopping.seems_at_rest() == GOES_ON
    assert marks(stopping.firmware)[-1] == Mark.BRAKE
    assert stopping.brakes_for() == LAST
    assert stopping.seems_at_rest() == STOPPED
    assert marks(stopping.firmware)[-4:] == [Mark.BRAKE, Mark.COAST] * 2


def test_a_rotor_known_to_rest_is_only_looked_at(stopping):
    """An armed thruster starts at once: nothing is shorted, coasting is said once."""
    stopping.call.stopping_check(1)

    assert stopping.seems_at_rest(FORWARD) == STOPPED
    assert Mark.BRAKE not in marks(stopping.firmware)
    assert marks(stopping.firmware).count(Mark.COAST) == 1


def test_a_stop_makes_sure_though_the_rotor_was_known_to_rest(stopping):
    """Since it was looked at, it has been driven."""
    stopping.call.stopping_check(1)
    stopping.call.stopping_begin()

    assert stopping.brakes_for() == FIRST
    assert stopping.seems_at_rest() == GOES_ON
    assert stopping.brakes_for() == LAST


def test_a_rotor_that_was_lost_is_braked_once_before_it_counts_as_stopped(stopping):
    """Nobody knows whether it rests."""
    stopping.call.stopping_check(0)

    assert stopping.seems_at_rest(FORWARD) == GOES_ON
    assert stopping.brakes_for(FORWARD) == LAST
    assert stopping.seems_at_rest(FORWARD) == STOPPED


@pytest.mark.parametrize("wanted", [NOTHING, FORWARD])
def test_a_rotor_seen_to_turn_is_braked_again_and_no_longer_sure(stopping, wanted):
    """A sign of turning takes back what the braking before has made sure."""
    stopping.call.stopping_begin()
    assert stopping.brakes_for() == FIRST
    assert stopping.seems_at_rest(wanted) == GOES_ON
    assert stopping.brakes_for() == LAST
    assert stopping.seems_to_turn(wanted) == GOES_ON

    assert stopping.brakes_for() == AGAIN
    assert stopping.seems_at_rest(wanted) == GOES_ON
    assert stopping.brakes_for() == LAST
    assert stopping.seems_at_rest(wanted) == STOPPED


def test_where_nothing_is_asked_a_rotor_is_left_to_the_water_after_the_longest_brake(stopping):
    """The windings need not heat for it; the last look decides, to the millisecond of braking."""
    stopping.brake_for_the_longest()

    assert stopping.seems_to_turn() == STOPPED
    assert legs_now(stopping.firmware) == [OPEN] * 3


def test_after_the_longest_brake_rest_counts_at_once(stopping):
    """There is no braking left that could make it surer."""
    stopping.brake_for_the_longest()

    assert stopping.seems_at_rest() == STOPPED


def test_a_braking_short_of_the_longest_goes_on(stopping):
    """20 ms before it."""
    stopping.brake_until(980)

    assert stopping.seems_to_turn() == GOES_ON
    assert stopping.brakes_for() == AGAIN
    assert stopping.seems_to_turn() == STOPPED


@pytest.mark.parametrize(("braked_ms", "looks", "answer"), [
    (HELD, SLOW_LOOKS, STOPPED),
    (HELD, SLOW_LOOKS - 1, GOES_ON),
    (HELD - AGAIN, SLOW_LOOKS, GOES_ON),
])  # fmt: skip
def test_a_rotor_held_below_400_rpm_may_be_started(stopping, braked_ms, looks, answer):
    """What still turns after twelve time constants is turned by the water, and slowly enough for a start."""
    stopping.brake_until(braked_ms, FORWARD)

    assert stopping.seems_to_turn(FORWARD, looks) == answer
    assert legs_now(stopping.firmware) == ([OPEN] * 3 if answer else [LOW] * 3)


def test_a_slow_rotor_is_braked_on_where_nothing_is_asked(stopping):
    """There is no start for which it would have to be slow."""
    stopping.brake_until(HELD)

    assert stopping.seems_to_turn(NOTHING, SLOW_LOOKS) == GOES_ON
    assert stopping.brakes_for() == AGAIN


def test_a_loss_while_braking_or_listening_changes_nothing(stopping):
    """A rotor lost before the stop began is told when the stop is under way."""
    stopping.call.stopping_begin()
    stopping.beats(30)
    stopping.call.stopping_not_caught()
    assert stopping.call.stopping_caught() == 0
    assert stopping.brakes_for() == FIRST - 30
    stopping.beats(30)
    stopping.call.stopping_not_caught()

    assert stopping.call.stopping_caught() == 0
    assert stopping.beats(LOOKS - 31) == {GOES_ON}
    assert legs_now(stopping.firmware) == [OPEN] * 3
    stopping.beats(1)
    assert stopping.brakes_for() == LAST


@pytest.mark.parametrize("anew", ["stopping_begin", "stopping_check"])
def test_a_stop_begun_anew_has_all_its_braking_before_it(stopping, anew):
    """A rotor that was left to the water long ago is braked for as long again."""
    stopping.brake_for_the_longest()
    assert stopping.seems_to_turn() == STOPPED
    if anew == "stopping_begin":
        stopping.call.stopping_begin()
        assert stopping.brakes_for() == FIRST
    else:
        stopping.call.stopping_check(0)

    assert stopping.seems_at_rest() == GOES_ON
    assert stopping.brakes_for() == LAST
    assert stopping.seems_to_turn() == GOES_ON
    assert stopping.brakes_for() == AGAIN


def test_each_look_at_an_open_bridge_is_said(stopping):
    """Whatever came before had the bridge; the recording shows from when on it is open."""
    for count in (1, 2):
        stopping.call.stopping_check(1)
        assert marks(stopping.firmware).count(Mark.COAST) == count


@pytest.mark.parametrize("were_on", [0, 1])
@pytest.mark.parametrize("begins", ["stopping_begin", "stopping_check"])
def test_interrupts_are_left_as_they_were(firmware, begins, were_on):
    """Both open or short the bridge with interrupts off, for that moment only."""
    firmware.call.port_interrupts_restore(were_on)
    firmware.call.stopping_begin() if begins == "stopping_begin" else firmware.call.stopping_check(0)

    assert firmware.call.port_interrupts_off() == were_on
