"""How the windings are shorted: at once where no rotor turns, with its crossing where one was caught."""

import pytest

from dryspin.recording import Mark

from .running import (
    ALL_LOW,
    ALL_OPEN,
    BEAT,
    FORWARD,
    LOST,
    LOW,
    MS,
    PAST,
    REVERSE,
    SEEN,
    Caught,
    Ramp,
    Running,
    way,
)

BOTH = pytest.mark.parametrize("direction", [FORWARD, REVERSE])


def test_a_brake_at_rest_shorts_the_windings_at_once_and_beats_every_millisecond(firmware):
    """Nothing is turning that could answer with a current."""
    running = Running(firmware)
    running.until(1000)
    running.call.commutation_brake()
    assert running.legs() == ALL_LOW
    assert running.marks() == [Mark.BRAKE]
    running.until(1000 + 3 * MS + 10)

    assert running.acted() == [pytest.approx(1000 + k * MS, abs=2) for k in (1, 2, 3)]
    assert running.events() == BEAT
    assert running.legs() == ALL_LOW


def test_a_brake_in_the_ramp_ends_its_steps(firmware):
    """Steps by the clock know no crossing to wait for."""
    ramp = Ramp(firmware)
    ramp.until(ramp.starts[3] + 100)
    ramp.events()
    ramp.call.commutation_brake()
    ramp.until(ramp.starts[3] + 100 + 10 * MS)

    assert ramp.legs() == ALL_LOW
    assert ramp.events() == BEAT


@BOTH
@pytest.mark.parametrize("how", [SEEN, PAST])
def test_a_caught_rotor_is_braked_from_its_next_crossing_in_two_parts(firmware, direction, how):
    """There the EMF between two legs is at its top, and their short adds no direct current; the third
    winding's top comes a quarter of a turn later, one and a half steps. One that was seen is marked."""
    caught = Caught(firmware, direction=direction)
    caught.until(caught.crossed + 300)
    caught.call.commutation_brake()
    driven = caught.pattern(caught.step + way(direction))
    assert caught.legs() == driven
    at = caught.cross_again(how=how)
    pair = tuple(LOW if leg else 0 for leg in driven)
    assert caught.legs() == pair
    caught.until(at + 599)
    assert caught.legs() == pair
    caught.events()
    caught.until(at + 605)
    assert caught.legs() == ALL_LOW
    caught.until(at + 600 + 2 * MS + 10)

    acted = caught.acted()
    assert acted[1] == at + 600
    assert acted[2:] == [pytest.approx(at + 600 + k * MS, abs=4) for k in (1, 2)]
    assert caught.events() == BEAT
    assert caught.marks() == [Mark.RUN] + [Mark.CROSSING] * (how == SEEN) + [Mark.BRAKE]


def test_a_brake_that_waits_ends_with_the_rotor_lost(firmware):
    """Without a crossing the legs open; the next rotor caught is stepped, not braked."""
    caught = Caught(firmware)
    caught.until(caught.crossed + 300)
    caught.call.commutation_brake()
    caught.until(caught.crossed + 2000)
    assert caught.events() & LOST
    assert caught.legs() == ALL_OPEN
    caught.crossed += 2000
    caught.call.commutation_catch(FORWARD)
    for _ in range(10):
        caught.cross_again()

    assert Mark.BRAKE not in caught.marks()
    assert LOW in caught.legs()
    assert caught.legs() != ALL_LOW
