"""What compare A stands for: beats at rest, patience with a rotor to be caught, what ends them."""

import pytest

from dryspin.recording import Mark, Signal, Vector

from .moments import LATENCY, Moments, turning
from .running import (
    ALL_OPEN,
    BEAT,
    CAUGHT,
    FORWARD,
    LOST,
    LOW,
    MS,
    PAST,
    REVERSE,
    STEP,
    TRIPPED,
    Caught,
    Running,
)

PATIENCE = 14000
"""catching.h: ticks between two crossings of a rotor to be caught, at most."""


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
    assert caught.watches()
    caught.call.commutation_rest(MS)
    caught.events()
    assert not caught.watches()
    caught.until(caught.crossed + 9 * MS)

    assert caught.legs() == legs == caught.pattern(caught.step + 1)
    assert caught.level(Signal.SENSE_IRQ) == 0
    assert caught.events() == BEAT


def test_a_match_of_before_is_no_beat_of_a_new_rest(firmware):
    """It came while interrupts were off, for what was under way then."""
    running = Running(firmware)
    running.until(1000)
    running.call.commutation_rest(200)
    running.call.port_interrupts_off()
    running.until(1300)
    running.call.commutation_rest(MS)
    running.interrupts_on()
    running.until(1300 + MS - 10)

    assert running.acted() == []
    assert running.events() == 0


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


@pytest.mark.parametrize("direction", [FORWARD, REVERSE])
@pytest.mark.parametrize("deg", [0.0, 100.0, 290.0])
def test_a_rotor_that_turns_is_caught_by_its_own_crossings(firmware, direction, deg):
    """Wherever it is when the watch begins; then the bridge steps half-way between true crossings."""
    step_ticks = 1000
    crosses_at = 1000 + deg / 60.0 * step_ticks
    rotor = turning(0, True, crosses_at, step_ticks, forward=direction == FORWARD)
    running = Running(firmware, rotor)
    running.call.commutation_start()
    running.until(1000)
    running.call.commutation_catch(direction)
    running.until(1000 + 22 * step_ticks)
    acted = [at for at in running.acted() if at < 65536]

    assert running.marks()[0] == Mark.RUN
    assert running.events() == CAUGHT | STEP
    assert len(acted) >= 6
    # true crossings are whole steps away from the first; a step is asked for in mid-way, less the latency
    for at in acted:
        assert (at - crosses_at) % step_ticks == pytest.approx(step_ticks / 2 - LATENCY, abs=6)


@pytest.mark.parametrize("direction", [FORWARD, REVERSE])
def test_a_rotor_that_turns_against_is_not_caught_by_its_crossings(firmware, direction):
    """They come in the other order; driving it as asked would brake against its EMF."""
    running = Running(firmware, turning(0, True, 1500, 1000, forward=direction == REVERSE))
    running.call.commutation_start()
    running.until(1000)
    running.call.commutation_catch(direction)
    running.until(1000 + PATIENCE + MS)

    assert Mark.RUN not in running.marks()
    assert running.events() & LOST
    assert running.legs() == ALL_OPEN


def test_catching_begins_with_nothing_left_of_a_run_before(firmware):
    """A brake that was asked for and has not come is forgotten, the comparator's interrupt is off."""
    caught = Caught(firmware)
    caught.until(caught.crossed + 300)
    caught.call.commutation_brake()
    caught.call.port_interrupts_off()
    caught.call.port_sense_interrupt(1)
    assert caught.level(Signal.SENSE_IRQ) == 1
    caught.call.bridge_open()
    caught.call.commutation_catch(FORWARD)
    assert caught.level(Signal.SENSE_IRQ) == 0
    caught.interrupts_on()
    for _ in range(10):
        caught.cross_again()

    assert Mark.BRAKE not in caught.marks()
    assert caught.marks().count(Mark.RUN) == 2
