"""Does the rotor turn? Looks at the comparator with all legs open, counted to the look."""

from dataclasses import replace

import pytest

from dryspin.call.firmware import QUIET
from dryspin.recording import Signal

from .legs import ABOVE, BELOW, OFFSET_ABOVE, show

LISTENING, TURNING, STILL = 0, 1, 2
LOOKS, CHANGES, SLOW_LOOKS = 160, 2, 72
"""settings.h: 16 ms of looks 0.1 ms apart, in which a rotor of 500 rpm passes half an electrical turn."""

U, V, W = 0, 1, 2


def look_until_sure(firmware):
    """Looks 0.1 ms apart; the answer, and how many it took."""
    firmware.call.standstill_begin()
    for k in range(1, LOOKS + 2):
        firmware.wait(ms=0.085)
        answer = firmware.call.standstill_look()
        if answer != LISTENING:
            return answer, k
    return None


def looks(firmware, levels):
    """The answers to looks that see these levels."""
    answers = []
    for level in levels:
        show(firmware, level)
        answers.append(firmware.call.standstill_look())
    return answers


@pytest.mark.parametrize("offset_v", [-0.04, 0.0, 0.04])
@pytest.mark.parametrize("rest_deg", [0.0, 100.0])
def test_a_rotor_at_rest_is_still_after_all_looks_and_not_before(firmware, offset_v, rest_deg):
    """At rest the comparator shows its offset, always the same way."""
    firmware.reset(replace(QUIET, rest_deg=rest_deg, parts={"offset_v": offset_v}))

    assert look_until_sure(firmware) == (STILL, LOOKS)


@pytest.mark.parametrize("seed", range(4))
def test_noise_on_a_resting_rotor_is_hardly_ever_of_one_mind(firmware, seed):
    """Without an offset each vote is a toss: 16 alike come once in 2 ** 15 looks."""
    firmware.reset(replace(QUIET, seed=seed, comparator_noise_mv=((0.0, 30.0),)))

    assert look_until_sure(firmware) == (STILL, LOOKS)


@pytest.mark.parametrize("rpm", [-9000.0, -2000.0, 1000.0, 2000.0, 5000.0])
@pytest.mark.parametrize("offset_v", [-0.04, 0.04])
def test_a_rotor_that_turns_is_seen_to_turn_either_way(firmware, rpm, offset_v):
    """Each leg changes its mind twice in an electrical turn: six changes in all, two are enough."""
    firmware.reset(replace(QUIET, speed_rpm=((0.0, rpm),), parts={"offset_v": offset_v}))
    answer, took = look_until_sure(firmware)
    electrical_turn_ms = 60e3 / abs(rpm) / 7

    assert answer == TURNING
    # before a leg can change its mind each must have been looked at, and an offset shifts crossings
    assert took * 0.1 <= electrical_turn_ms + 0.6
    assert firmware.call.standstill_is_slow() == 0


def test_two_changes_of_mind_are_turning_and_one_is_not(firmware):
    """A single one is the last swing of a rotor that comes to rest."""
    firmware.reset(OFFSET_ABOVE)
    firmware.call.standstill_begin()

    assert looks(firmware, [ABOVE] * 3 + [BELOW]) == [LISTENING] * 4
    # the leg that has changed changes back
    assert looks(firmware, [ABOVE] * 2) == [LISTENING] * 2
    assert looks(firmware, [ABOVE]) == [TURNING]


@pytest.mark.parametrize("leg", [U, V, W])
def test_each_leg_has_a_mind_of_its_own(firmware, leg):
    """Two legs that always differ are no change of mind; the third, that changes twice, is."""
    firmware.reset(OFFSET_ABOVE)
    firmware.call.standstill_begin()
    first = [ABOVE, BELOW, ABOVE]
    second = [level ^ (k == leg) for k, level in enumerate(first)]

    assert looks(firmware, [*first, *first, *first]) == [LISTENING] * 9
    assert looks(firmware, second) == [LISTENING] * 3
    assert looks(firmware, first)[leg] == TURNING


def test_the_first_look_at_a_leg_is_no_change(firmware):
    """Whatever was seen before the listening began is forgotten."""
    firmware.reset(OFFSET_ABOVE)
    for levels in ([ABOVE] * 3, [BELOW] * 3, [ABOVE] * 3):
        firmware.call.standstill_begin()
        assert looks(firmware, levels) == [LISTENING] * 3


def test_a_listening_begun_anew_has_all_its_looks_before_it(firmware):
    """Changes and looks are counted from the beginning, and U is looked at first again."""
    firmware.reset(OFFSET_ABOVE)
    firmware.call.standstill_begin()
    assert looks(firmware, [ABOVE] * 3 + [BELOW] + [ABOVE] * 3)[-1] == TURNING
    firmware.call.standstill_begin()

    assert looks(firmware, [ABOVE] * 4 + [BELOW]) == [LISTENING] * 5
    show(firmware, ABOVE)
    assert look_until_sure(firmware) == (STILL, LOOKS)
    assert look_until_sure(firmware) == (STILL, LOOKS)


def test_legs_are_looked_at_in_turn_beginning_with_u(firmware):
    """U, V, W and again; the leg of the next look is selected by the one before, as the answer lags."""
    firmware.call.port_sense_select(W)
    firmware.call.standstill_begin()
    for _ in range(7):
        firmware.call.standstill_look()
    firmware.call.standstill_begin()
    _, legs, _ = firmware.recording().of(Signal.SENSE_LEG)

    assert list(legs)[-9:] == [U, V, W, U, V, W, U, V, U]


@pytest.mark.parametrize(("looked", "slow"), [(SLOW_LOOKS - 1, 0), (SLOW_LOOKS, 1), (LOOKS - 1, 1)])
def test_slow_is_a_rotor_that_takes_72_looks_for_two_changes(firmware, looked, slow):
    """Two changes of the six in an electrical turn, in 7.2 ms: 400 rpm with seven pole pairs."""
    firmware.reset(OFFSET_ABOVE)
    firmware.call.standstill_begin()
    looks(firmware, [ABOVE] * (looked - 4) + [BELOW] * 3)
    show(firmware, ABOVE)

    assert firmware.call.standstill_look() == TURNING
    assert firmware.call.standstill_is_slow() == slow
    assert pytest.approx(400, rel=0.01) == 60 / (SLOW_LOOKS * 0.1e-3 * 6 / CHANGES) / 7


def test_votes_lie_further_apart_than_the_comparator_takes(firmware):
    """750 ns at most (data sheet DS40002011A p. 385): votes closer together would be one and the same."""
    firmware.call.standstill_begin()
    begun_s = firmware.now_s
    firmware.call.standstill_look()

    assert 16 * 0.75e-6 < firmware.now_s - begun_s < 20e-6


@pytest.mark.parametrize("were_on", [0, 1])
def test_a_look_leaves_interrupts_as_they_were(firmware, were_on):
    """It turns them off for moments only."""
    firmware.call.standstill_begin()
    firmware.call.port_interrupts_restore(were_on)
    firmware.call.standstill_look()

    assert firmware.call.port_interrupts_off() == were_on
