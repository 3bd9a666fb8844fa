"""Braking and listening in turn, beat by beat; a rotor that may be caught, held or left to the water."""

from dataclasses import replace

import pytest

from dryspin.call.firmware import QUIET
from dryspin.recording import Mark, Signal

from .legs import ABOVE, BELOW, OFFSET_ABOVE, legs_now, marks, show

OPEN, LOW = 0, 1
NOTHING, FORWARD, REVERSE = 0, 1, 2
GOES_ON, STOPPED = 0, 1
FIRST, AGAIN, LAST, HELD, LONGEST = 100, 40, 60, 500, 1000
"""settings.h, ms of braking: shorted windings stop the rotor with 28 ms to 42 ms; held or turned by the water is what
turns after that many."""

LOOKS, SLOW_LOOKS = 160, 72
EVENT_BEAT, EVENT_CAUGHT, EVENT_LOST = 2, 8, 16


@pytest.fixture
def stopping(firmware):
    """A rotor that seems to rest or to turn, as told; legs open, interrupts off."""
    firmware.reset(OFFSET_ABOVE)
    return Stopping(firmware)


class Stopping:
    """Beats by hand."""

    def __init__(self, firmware):
        self.firmware, self.call = firmware, firmware.call

    def beats(self, count, wanted=NOTHING):
        """The answers to that many beats, as a set."""
        return {self.call.stopping_beat(wanted) for _ in range(count)}

    def brakes_for(self, wanted=NOTHING):
        """Beats until the legs open again."""
        assert legs_now(self.firmware) == [LOW] * 3
        for beats in range(1, 300):
            assert self.call.stopping_beat(wanted) == GOES_ON
            if marks(self.firmware)[-1] == Mark.COAST:
                assert legs_now(self.firmware) == [OPEN] * 3
                return beats
        return None

    def seems_at_rest(self, wanted=NOTHING):
        """The answer to the last of all looks."""
        assert self.beats(LOOKS - 1, wanted) == {GOES_ON}
        assert legs_now(self.firmware) == [OPEN] * 3
        return self.call.stopping_beat(wanted)

    def seems_to_turn(self, wanted=NOTHING, looks=5):
        """The answer to the look that shows the second change of mind."""
        show(self.firmware, ABOVE)
        assert self.beats(looks - 2, wanted) == {GOES_ON}
        show(self.firmware, BELOW)
        assert self.beats(1, wanted) == {GOES_ON}
        answer = self.call.stopping_beat(wanted)
        show(self.firmware, ABOVE)
        return answer

    def brake_until(self, braked_ms, wanted=NOTHING):
        """Turning whenever it is listened to, until so much was braked, listening again."""
        self.call.stopping_begin()
        braked = self.brakes_for(wanted)
        while braked < braked_ms:
            assert self.seems_to_turn(wanted) == GOES_ON
            braked += self.brakes_for(wanted)
        assert braked == braked_ms

    def brake_for_the_longest(self):
        """Now at rest, now turning, until exactly so much was braked."""
        self.call.stopping_begin()
        braked = self.brakes_for()
        while braked < LONGEST:
            assert self.seems_at_rest() == GOES_ON
            braked += self.brakes_for()
            assert self.seems_to_turn() == GOES_ON
            braked += self.brakes_for()
        assert braked == LONGEST


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


@pytest.mark.parametrize("braked_ms, looks, answer", [
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


@pytest.mark.parametrize("wanted", [FORWARD, REVERSE])
def test_a_rotor_looked_at_and_seen_to_turn_is_caught(stopping, wanted):
    """Legs stay open, and no beat disturbs the catching; the crossings looked for are those of that direction."""
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
    """A reversal brakes first, whatever was looked at before; at no speed does the bridge drive against it."""
    stopping.call.stopping_check(1)
    stopping.call.stopping_begin()
    assert stopping.brakes_for(FORWARD) == FIRST
    assert stopping.seems_to_turn(FORWARD) == GOES_ON

    assert stopping.call.stopping_caught() == 0
    assert stopping.brakes_for(FORWARD) == AGAIN
    assert stopping.seems_at_rest(FORWARD) == GOES_ON


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


def test_what_the_water_turns_is_listened_to_and_caught_in_turn(stopping):
    """After the longest brake, with a direction asked for: never braked again, whether it can be caught or not."""
    stopping.brake_until(1020, FORWARD)
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


@pytest.mark.parametrize("rpm, wanted", [(4000.0, FORWARD), (-4000.0, REVERSE)])
def test_a_turning_rotor_is_caught_within_some_electrical_turns(firmware, rpm, wanted):
    """4000 rpm are 2.1 ms an electrical turn: one to see that it turns, two to prove its crossings."""
    event, took_s = driven(firmware, rpm, wanted, lambda: firmware.call.stopping_check(0))

    assert event == EVENT_CAUGHT
    assert firmware.call.stopping_caught() == wanted
    assert took_s < 4 * 60 / 4000 / 7


@pytest.mark.parametrize("rpm, wanted", [(-4000.0, FORWARD), (4000.0, REVERSE)])
def test_a_rotor_that_turns_the_other_way_is_not_caught(firmware, rpm, wanted):
    """It is lost in silence, legs open, and braked next."""
    event, _ = driven(firmware, rpm, wanted, lambda: firmware.call.stopping_check(0))
    assert event == EVENT_LOST
    assert legs_now(firmware) == [OPEN] * 3
    firmware.call.stopping_not_caught()

    assert legs_now(firmware) == [LOW] * 3
