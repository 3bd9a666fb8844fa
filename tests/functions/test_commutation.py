"""What compare A stands for: beats at rest, patience with a rotor to be caught, steps that follow its crossings."""

import pytest

from dryspin.recording import Mark, Signal, Vector

from .moments import Moments
from .running import (
    ALL_OPEN,
    BEAT,
    CAUGHT,
    FORWARD,
    HIDDEN,
    LATENCY,
    LOST,
    LOW,
    MS,
    PAST,
    REVERSE,
    SEEN,
    STEP,
    TRIPPED,
    Caught,
    Running,
    way,
)

BOTH = pytest.mark.parametrize("direction", [FORWARD, REVERSE])
PAST_LIMIT = 24
"""settings.h: four electrical turns without one crossing seen."""
PATIENCE = 14000
"""catching.h: ticks between two crossings of a rotor to be caught, at most."""
STEP_SHORTEST = 80
"""settings.h: no rotor makes shorter steps."""


@pytest.mark.parametrize("begun", [500, 60000])
@pytest.mark.parametrize("every", [200, MS])
def test_at_rest_beats_come_to_the_tick_and_do_not_drift(firmware, every, begun):
    """However late a handler is; across the wrap, too. The bridge is left as it is."""
    running = Running(firmware)
    running.call.port_leg(1, LOW)
    running.until(begun)
    running.call.commutation_rest(every)
    assert running.events() == 0
    running.until(begun + 10 * every - 1)
    # a handler that cannot run at once delays its own beat only
    running.call.port_interrupts_off()
    running.until(begun + 10 * every + 30)
    running.interrupts_on()
    running.until(begun + 15 * every + 1)

    acted = [tick for tick in running.acted() if tick != 65536]
    assert len(acted) == 15
    assert all(
        tick == pytest.approx(begun + k * every, abs=1) for k, tick in enumerate(acted, start=1) if k != 10
    )
    assert running.events() == BEAT
    assert running.legs() == (0, LOW, 0)


def test_rest_ends_the_steps_and_watches_no_longer(firmware):
    """The pattern driven stays until the caller opens it; no crossing is listened for."""
    caught = Caught(firmware)
    caught.until(caught.crossed + caught.interval // 2)
    legs = caught.legs()
    caught.call.port_sense_interrupt(1)
    caught.call.commutation_rest(MS)
    caught.events()
    caught.until(caught.crossed + 9 * MS)

    assert caught.legs() == legs == caught.pattern(caught.step + 1)
    assert caught.level(Signal.SENSE_IRQ) == 0
    assert caught.events() == BEAT


CALLS = {
    "rest": lambda call: call.commutation_rest(MS),
    "ramp": lambda call: call.commutation_ramp(0, FORWARD),
    "catch": lambda call: call.commutation_catch(FORWARD),
    "brake": lambda call: call.commutation_brake(),
    "tone": lambda call: call.commutation_tone(),
    "interval": lambda call: call.commutation_interval(),
}


@pytest.mark.parametrize("were_on", [0, 1])
@pytest.mark.parametrize("name", CALLS)
def test_interrupts_are_left_as_they_were_found(firmware, name, were_on):
    """The caller may have turned them off for more than this."""
    firmware.call.port_interrupts_restore(were_on)
    CALLS[name](firmware.call)

    assert firmware.call.port_interrupts_off() == were_on


def test_start_turns_on_compare_a_compare_b_and_the_current_limit(firmware):
    """A stalled winding across the supply: 57 A, above the 36 A of the board's limit."""
    moments = Moments(firmware)
    firmware.call.commutation_start()
    firmware.call.commutation_rest(MS)
    firmware.call.port_leg(0, 2)
    firmware.call.port_leg(1, LOW)
    firmware.call.port_interrupts_restore(1)
    moments.until(65540)

    assert moments.entries(Vector.COMPARE_A)
    assert moments.entries(Vector.COMPARE_B)
    assert moments.entries(Vector.OVER_CURRENT)
    assert moments.legs() == ALL_OPEN


def test_the_boards_current_limit_ends_what_is_under_way(firmware):
    """Legs open in the handler already; the main line is told both, and beats go on."""
    caught = Caught(firmware)
    caught.until(caught.crossed + caught.interval // 2)
    caught.events()
    caught.call.port_interrupts_off()
    caught.call.on_over_current()
    tripped = caught.tick
    assert caught.legs() == ALL_OPEN
    assert caught.events() == LOST | TRIPPED
    before = len(caught.acted())
    caught.until(tripped + 4 * MS + 50)

    assert len(caught.acted()[before:]) == 4
    assert caught.events() == BEAT
    assert caught.legs() == ALL_OPEN


@BOTH
def test_a_turning_rotor_is_joined_half_a_step_after_the_last_crossing(firmware, direction):
    """With the pattern after the one that its last crossing belongs to, and the duty that its EMF holds up."""
    caught = Caught(firmware, direction=direction)
    assert caught.legs() == ALL_OPEN
    assert caught.events() == CAUGHT
    assert caught.marks() == [Mark.RUN]
    assert caught.call.duty_now() == caught.call.duty_matched(400)
    assert caught.level(Signal.DUTY) == caught.call.duty_matched(400)
    caught.until(caught.crossed + 210)

    assert caught.acted() == [caught.crossed + 200 - LATENCY]
    assert caught.legs() == caught.pattern(caught.step + way(direction))
    assert caught.events() == STEP


@BOTH
@pytest.mark.parametrize("begun", [1000, 65536 - 3900])
def test_caught_steps_follow_the_crossings(firmware, direction, begun):
    """Half an interval after each, less the latency, pattern by pattern; each crossing is marked."""
    caught = Caught(firmware, direction=direction, begun=begun)
    first = caught.crossed
    for _ in range(8):
        caught.cross_again()
        expected = caught.step + (caught.crossed - first) // 400 * way(direction)
        leg = caught.call.steps_open_leg(expected % 6)
        assert caught.sensed() == (leg, caught.call.steps_edge(expected % 6, direction))
    caught.until(caught.crossed + 210)
    acted = [tick for tick in caught.acted() if tick != 65536]

    assert acted == [first + 400 * k + 200 - LATENCY for k in range(9)]
    assert caught.patterns_after(acted) == [caught.pattern(caught.step + way(direction) * k) for k in range(1, 10)]
    assert caught.marks() == [Mark.RUN] + [Mark.CROSSING] * 8


@pytest.mark.parametrize("interval", [300, 401])
def test_a_caught_rotor_is_lost_one_and_a_half_steps_after_the_step_without_a_crossing(firmware, interval):
    """Its crossing is due in mid-step, and 60 degrees late then. Legs open at once, beats go on."""
    caught = Caught(firmware, interval=interval)
    (begun,) = _acted_within(caught, interval)
    caught.events()
    one_step = caught.call.commutation_interval()
    limit = begun + one_step + one_step // 2
    caught.until(limit - 1)
    assert caught.legs() == caught.pattern(caught.step + 1)
    caught.until(limit + 6)
    assert caught.legs() == ALL_OPEN
    assert caught.events() == LOST
    caught.until(limit + MS + 10)

    lost = caught.acted()[1]
    assert limit + 2 <= lost <= limit + 3
    assert lost + MS <= caught.acted()[2] <= lost + MS + 6
    assert caught.events() == BEAT


def _acted_within(running, ticks) -> list[float]:
    running.until(running.crossed + ticks)
    return running.acted()


def test_the_crossing_just_in_time_keeps_a_caught_rotor(firmware):
    """Four ticks before patience ends; its step comes, though late."""
    caught = Caught(firmware)
    begun = caught.crossed + 200 - LATENCY
    caught.cross(begun + 600 - 4)
    caught.until(begun + 1100)

    assert not caught.events() & LOST
    assert len(caught.acted()) == 2


@BOTH
def test_a_hidden_crossing_of_a_caught_rotor_is_stepped_an_eighth_early_and_told(firmware, direction):
    """Three eighths after it was found past instead of half, the interval a 32nd shorter; it is marked."""
    caught = Caught(firmware, interval=640, direction=direction)
    caught.until(caught.crossed + 320)
    caught.events()
    at = caught.cross_again(how=PAST)
    assert caught.call.commutation_interval() == 640 - 20
    caught.until(at + 300)

    assert caught.acted()[-1] == at + 240
    assert caught.legs() == caught.pattern(caught.step + 2 * way(direction))
    assert caught.events() == HIDDEN | STEP
    assert caught.marks() == [Mark.RUN, Mark.CROSSING]


def test_four_turns_of_hidden_crossings_are_a_lost_rotor(firmware):
    """A comparator that never changes, as with a broken lead, must not be stepped by for ever."""
    caught = Caught(firmware, interval=2000)
    for _ in range(PAST_LIMIT - 1):
        caught.until(caught.crossed + 1100)
        caught.cross(caught.crossed + 1100, PAST)
        caught.crossed += 1100
        assert not caught.events() & LOST
    caught.until(caught.crossed + 1100)
    caught.cross(caught.crossed + 1100, PAST)

    assert caught.legs() == ALL_OPEN
    assert caught.events() & LOST


def test_one_crossing_seen_among_the_hidden_ones_begins_the_count_anew(firmware):
    """Half of the limit before it, more than half after it."""
    caught = Caught(firmware, interval=2000)
    for how in [PAST] * 20 + [SEEN] + [PAST] * 20:
        caught.until(caught.crossed + 1100)
        caught.cross(caught.crossed + 1100, how)
        caught.crossed += 1100

    assert not caught.events() & LOST


@pytest.mark.parametrize("stamped_before", [400, 300, 195])
def test_a_step_that_is_due_already_is_made_at_once(firmware, stamped_before):
    """A compare value behind the count would match after a whole wrap, 32 ms later, only."""
    caught = Caught(firmware)
    caught.until(caught.crossed + 400)
    at = caught.crossed + 600
    # the gap that the stamp tells is 600 - stamped_before: too short to be believed, or the same gap
    caught.cross(at, stamped=at - stamped_before)
    caught.until(at + 12)

    assert at + 4 <= caught.acted()[-1] <= at + 6
    assert caught.legs() == caught.pattern(caught.step + 2)


@pytest.mark.parametrize("ahead", [-1, 0, 3, 4, 5, 40])
def test_a_step_is_never_asked_for_nearer_than_four_ticks(firmware, ahead):
    """It may be passed before it is written; what is further away is kept to the tick."""
    caught = Caught(firmware)
    # turning interrupts off, marking and reading the count take 8 cycles
    due = caught.crossed + 400 + 200 - LATENCY
    caught.cross(due - ahead - 1, stamped=caught.crossed + 400)
    caught.until(due + 60)

    assert caught.acted()[-1] == due + max(0, 4 - ahead)


def test_a_rotor_faster_than_any_is_noise_and_lost(firmware):
    """36 000 rpm would be above the no-load speed at 20 V; steps of exactly the shortest are still made."""
    good = Caught(firmware, interval=STEP_SHORTEST)
    good.until(good.crossed + 45)
    assert good.legs() == good.pattern(good.step + 1)
    firmware.reset()
    caught = Caught(firmware, interval=STEP_SHORTEST - 1)

    assert caught.legs() == ALL_OPEN
    assert caught.events() == CAUGHT | LOST
    caught.until(caught.crossed + 60)
    assert caught.acted() == []


def test_nobody_to_be_caught_is_told_when_patience_ends(firmware):
    """No rotor fast enough takes longer from crossing to crossing; each one begins the patience anew."""
    running = Running(firmware)
    running.until(1000)
    running.call.commutation_catch(FORWARD)
    running.until(1000 + PATIENCE - 2)
    assert running.events() == 0
    running.cross(1000 + PATIENCE - 1)
    running.until(1000 + 2 * PATIENCE - 2)
    assert running.events() == 0
    running.until(1000 + 2 * PATIENCE + 5)

    assert running.acted() == [1000 + 2 * PATIENCE - 1]
    assert running.events() == LOST
    assert running.legs() == ALL_OPEN


def test_patience_with_nobody_ends_after_its_time(firmware):
    """Without any crossing."""
    running = Running(firmware)
    running.until(1000)
    running.call.commutation_catch(FORWARD)
    running.until(1000 + PATIENCE + 5)

    assert running.acted() == [pytest.approx(1000 + PATIENCE, abs=6)]
    assert running.events() == LOST


def test_a_rotor_that_turns_the_other_way_is_not_caught(firmware):
    """Its first leg is beyond already: that is told at once, and nothing is driven."""
    running = Running(firmware)
    running.until(1000)
    running.call.commutation_catch(FORWARD)
    running.cross(1500, PAST)

    assert running.events() == LOST
    assert running.marks() == []
    running.until(1500 + MS + 10)
    assert running.acted() == [pytest.approx(1500 + MS, abs=5)]
    assert running.events() == BEAT
    assert running.legs() == ALL_OPEN


def test_hidden_crossings_before_a_catch_do_not_count_after_it(firmware):
    """Another rotor, another run."""
    caught = Caught(firmware, interval=2000)
    for _ in range(PAST_LIMIT - 1):
        caught.cross(caught.crossed + 1100, PAST)
        caught.crossed += 1100
    caught.call.commutation_rest(MS)
    caught.call.bridge_open()
    caught.call.commutation_catch(FORWARD)
    for _ in range(8):
        caught.cross_again()
    caught.events()
    caught.cross_again(1100, PAST)

    assert not caught.events() & LOST
