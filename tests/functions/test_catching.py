"""Joins a rotor that turns already: its crossings are followed until they have proved order and rate."""

from dataclasses import replace

import pytest

from dryspin.call.firmware import QUIET
from dryspin.recording import Signal, Vector

from .moments import LATENCY

FORWARD, REVERSE = 1, 2
SEEN, PAST = 1, 2
ON, FAILED, DONE = 0, 1, 2
STREAK = 8
"""settings.h: one crossing to begin with, one that gives the first interval, and a whole electrical turn."""
SLOWEST_TICKS = 2200
"""1.1 ms a step, 1300 rpm: the EMF there is more than twice the worst offset."""

PATIENCE_TICKS, TICKS_PER_MS = 14_000, 2000


def take(firmware, gaps, direction=FORWARD, first=10_000):
    """The answers to crossings these gaps apart, up to the first that ends the catching."""
    firmware.call.catching_begin(direction)
    at, answers = first, []
    for gap in (0, *gaps):
        at = (at + gap) % 65536
        answers.append(firmware.call.catching_crossing(at, SEEN))
        if answers[-1] != ON:
            break
    return answers


CAUGHT = [ON] * (STREAK - 1) + [DONE]


@pytest.mark.parametrize("first", [0, 10_000, 60_000])
@pytest.mark.parametrize("gap", [140, 400, 1000, SLOWEST_TICKS])
def test_eight_even_crossings_catch_wherever_the_timer_stands(firmware, gap, first):
    """From 20 000 rpm down to the slowest rotor that may be caught; ticks wrap."""
    assert take(firmware, [gap] * 8, first=first) == CAUGHT
    # half a step, 30 degrees, less what seeing and acting take
    assert firmware.call.catching_wait_ticks() == pytest.approx(gap / 2 - LATENCY, abs=1)
    assert firmware.call.timing_interval() == gap


@pytest.mark.parametrize("gaps", [
    [300, 340, 300, 340, 300, 340, 300],
    [400, 410, 420, 430, 440, 450, 460],
], ids=["offset", "slows down"])  # fmt: skip
def test_crossings_of_a_real_rotor_catch_too(firmware, gaps):
    """An offset makes them early and late in turn; a rotor that nobody drives slows down."""
    assert take(firmware, gaps) == CAUGHT


@pytest.mark.parametrize("at", range(1, 7))
@pytest.mark.parametrize("gap", [100, 1000])
def test_a_gap_of_less_than_half_or_more_than_twice_the_others_fails(firmware, at, gap):
    """No rotor's step changes so: two of these are crossings of noise, or one was missed."""
    gaps = [400] * 8
    gaps[at] = gap

    assert take(firmware, gaps) == [ON] * (at + 1) + [FAILED]


def test_a_rotor_too_slow_fails_as_soon_as_it_shows(firmware):
    """With the second crossing: an offset outweighs its EMF."""
    assert take(firmware, [SLOWEST_TICKS + 1]) == [ON, FAILED]
    assert take(firmware, [SLOWEST_TICKS]) == [ON, ON]


def test_a_rotor_that_has_become_too_slow_fails_at_the_end(firmware):
    """The interval that the steps would begin with is what counts."""
    slower = [2180] * 5

    assert take(firmware, [*slower, 2200, 2200]) == CAUGHT
    assert take(firmware, [*slower, 2220, 2222]) == [ON] * (STREAK - 1) + [FAILED]


@pytest.mark.parametrize("at", range(STREAK))
def test_a_crossing_that_was_past_when_looked_for_fails(firmware, at):
    """The leg is beyond its crossing already: the rotor turns the other way, or nobody can tell."""
    assert take(firmware, [400] * (at - 1) if at else []) == [ON] * max(at, 1)
    if at == 0:
        firmware.call.catching_begin(FORWARD)

    assert firmware.call.catching_crossing(10_000 + 400 * at, PAST) == FAILED


@pytest.mark.parametrize("direction", [FORWARD, REVERSE])
def test_the_pattern_handed_on_is_that_of_the_last_crossing(firmware, direction):
    """Each crossing belongs to one pattern after the other, in the direction of turning."""
    firmware.call.catching_begin(direction)
    watched = []
    for k in range(STREAK):
        recording = firmware.recording()
        watched.append(
            (
                int(recording.of(Signal.SENSE_LEG)[1][-1]),
                int(recording.of(Signal.SENSE_EDGE)[1][-1]),
            )
        )
        firmware.call.catching_crossing(1000 + 400 * k, SEEN)
    step, expected = 0, []
    for _ in range(STREAK):
        expected.append((firmware.call.steps_open_leg(step), firmware.call.steps_edge(step, direction)))
        last, step = step, firmware.call.steps_next(step, direction)

    assert watched == expected
    assert firmware.call.catching_step() == last


def test_a_catching_begun_anew_has_all_its_crossings_before_it(firmware):
    """Nothing of the rotor seen before counts: not its streak, its interval nor its pattern."""
    assert take(firmware, [400] * 4) == [ON] * 5

    assert take(firmware, [1200] * 8) == CAUGHT
    assert firmware.call.catching_step() == (STREAK - 1) % 6
    assert firmware.call.timing_interval() == 1200


EVENT_CAUGHT, EVENT_LOST = 8, 16


def catch_driven(firmware, rpm, direction, rest_deg=0.0, interval_before=400, **changes):
    """What becomes of a catching of a rotor driven at that speed, and how long it takes in ms."""
    firmware.reset(replace(QUIET, speed_rpm=((0.0, rpm),), rest_deg=rest_deg, end_s=1.0, **changes))
    firmware.call.commutation_start()
    firmware.call.timing_begin(interval_before)
    begun_s = firmware.now_s
    firmware.call.commutation_catch(direction)
    firmware.call.port_interrupts_restore(1)
    event = firmware.call.events_wait()
    return event, (firmware.now_s - begun_s) * 1e3


def step_ms(rpm):
    """A sixth of an electrical turn of seven pole pairs."""
    return 60e3 / abs(rpm) / 7 / 6


@pytest.mark.parametrize("rest_deg", range(0, 360, 30))
@pytest.mark.parametrize("rpm", [1400.0, -1400.0, 4000.0, -12_000.0])
def test_a_rotor_is_caught_wherever_it_stands_when_first_looked_at(firmware, rpm, rest_deg):
    """The first crossing may be almost a turn away; seven more are due after it."""
    event, took_ms = catch_driven(firmware, rpm, FORWARD if rpm > 0 else REVERSE, float(rest_deg))

    assert event == EVENT_CAUGHT
    # the first look comes after 0.16 ms
    assert 7 * step_ms(rpm) < took_ms < 13.1 * step_ms(rpm) + 0.2


@pytest.mark.parametrize("rest_deg", range(0, 360, 30))
@pytest.mark.parametrize("rpm", [1400.0, -1400.0, 4000.0, -12_000.0])
def test_a_rotor_turning_the_other_way_is_refused_at_the_second_crossing(firmware, rpm, rest_deg):
    """The next leg has just crossed and would do so again in 300 degrees only: the first look tells."""
    event, took_ms = catch_driven(firmware, rpm, REVERSE if rpm > 0 else FORWARD, float(rest_deg))

    assert event == EVENT_LOST
    assert took_ms < 6.3 * step_ms(rpm) + 0.3


@pytest.mark.parametrize(("before", "rpm"), [(2200, 12_000.0), (100, 1400.0)])
def test_the_speed_of_the_rotor_before_does_not_matter(firmware, before, rpm):
    """Until two crossings are seen nothing is known: looks begin as after the shortest step there is."""
    assert catch_driven(firmware, rpm, FORWARD, interval_before=before)[0] == EVENT_CAUGHT


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("rpm", [2500.0, -2500.0])
def test_noise_does_not_hide_a_turning_rotor(firmware, rpm, seed):
    """10 mV at the pin, with 1.6 V of EMF behind a divider by four: eleven votes a look."""
    noise = ((0.0, 10.0),)
    direction = FORWARD if rpm > 0 else REVERSE

    assert catch_driven(firmware, rpm, direction, seed=seed, comparator_noise_mv=noise)[0] == EVENT_CAUGHT


def test_a_rotor_at_rest_is_given_up_after_the_patience(firmware):
    """No rotor fast enough takes longer than 7 ms between two crossings."""
    event, took_ms = catch_driven(firmware, 0.0, FORWARD)

    assert event == EVENT_LOST
    assert took_ms == pytest.approx(PATIENCE_TICKS / TICKS_PER_MS, abs=0.05)


def test_looks_for_the_first_crossing_follow_each_other_closely(firmware):
    """15 us and the votes apart; a step is 71 us at 20 000 rpm."""
    firmware.reset(replace(QUIET, parts={"offset_v": 0.04}))
    firmware.call.commutation_start()
    # U, rising: beyond its crossing as long as it is looked at
    firmware.call.commutation_catch(REVERSE)
    firmware.call.port_interrupts_restore(1)
    firmware.wait(ms=2)
    cycles, vectors, _ = firmware.recording().of(Signal.HANDLER)
    looks = cycles[vectors == Vector.COMPARE_B]

    assert len(looks) > 50
    assert (looks[1:] - looks[:-1]).max() < 25e-6 * 16e6
    assert (looks[1:] - looks[:-1]).min() > 15e-6 * 16e6
