"""Each claim without a distance objects to a violation planted for it, and only it does unless said why."""

import pytest

from dryspin.monitors import FAMILIES, Status, claims_of
from dryspin.recording import LEGS, Leg, Mark, Signal
from dryspin.recording.sixstep import DRIVEN

from .controller_cases import PLANTS as CONTROLLER_PLANTS
from .courtroom import Plant, broken, verdicts
from .map_cases import PLANTS as MAP_PLANTS
from .rite_plants import PLANTS as RITE_PLANTS
from .synthetic import F_CPU_HZ, FORWARD_US, NEUTRAL_US, REVERSE_US, Story
from .voyage import RAMP_S, Voyage, voyage

ALIGN_S = Voyage().align_at_s
CYCLE_S = 1 / F_CPU_HZ


def _steps(story: Story) -> list[float]:
    """Moments at which a step was complete, in RUN."""
    return sorted(t for t, signal, value in story.edges if signal == Signal.SENSE_LEG)


def _both_fets_for_a_cycle() -> Story:
    story = voyage()
    at_s = ALIGN_S + 0.0205  # U is chopped, and high from a tenth of each millisecond on
    story.edge(at_s, Signal.GATE_U, 3)
    story.edge(at_s + CYCLE_S, Signal.GATE_U, 1)
    return story


def _second_leg_chopped_for_5_us() -> Story:
    story = voyage()
    story.edge(ALIGN_S + 0.02, Signal.LEG_W, Leg.CHOPPED)
    story.edge(ALIGN_S + 0.02 + 5e-6, Signal.LEG_W, Leg.OPEN)
    return story


def _gates_open_two_cycles_after_a_reset() -> Story:
    knobs = Voyage(neutral_at_s=1.19, stops_as=Mark.OFF)
    story = knobs.story()
    story.edge(knobs.off_s - 2 * CYCLE_S, Signal.RESET, 2)
    return story


def _step_left_out() -> Story:
    story = voyage()
    at_s, next_s = _steps(story)[200:202]
    # From just before the step's own edges to just before those of the next one.
    gone = (at_s - 1e-5, next_s - 1e-5)
    story.edges = [edge for edge in story.edges if not gone[0] < edge[0] < gone[1]]
    story.legs(next_s - 1e-5, Leg.OPEN, Leg.OPEN, Leg.OPEN)
    return story


def _step_driven_twice() -> Story:
    story = voyage()
    at_s, next_s = _steps(story)[200:202]
    driven = {}
    for t, signal, value in sorted(story.edges):
        if t < at_s and signal in (Signal.LEG_U, Signal.LEG_V, Signal.LEG_W):
            driven[signal] = value
    states = [driven[s] for s in (Signal.LEG_U, Signal.LEG_V, Signal.LEG_W)]
    again_s = at_s + 0.9 * (next_s - at_s)
    story.legs(again_s, Leg.OPEN, Leg.OPEN, Leg.OPEN)
    story.legs(again_s + 2e-5, *states)
    return story


def _step_back() -> Story:
    """The way back to the right step is a step at the wrong angle."""
    story = voyage()
    at_s, next_s = _steps(story)[200:202]
    codes = dict.fromkeys((Signal.LEG_U, Signal.LEG_V, Signal.LEG_W), 0)
    for t, signal, value in sorted(story.edges):
        if t < at_s and signal in codes:
            codes[signal] = value
    states = list(codes.values())
    now = DRIVEN.index((states.index(Leg.CHOPPED), states.index(Leg.LOW)))
    back_s = at_s + 0.7 * (next_s - at_s)
    story.drive_step(back_s, (now - 1) % 6)
    story.drive_step(back_s + 4e-5, now)
    return story


def _crossing_not_taken() -> Story:
    story = voyage()
    crossings = [e for e in story.edges if e[1] == Signal.MARK and e[2] == Mark.CROSSING]
    story.edges.remove(crossings[200])
    return story


def _try_after_giving_up() -> Story:
    story = Story(end_s=2.0)
    story.mark(0.001, Mark.OFF)
    story.edge(0.001, Signal.DUTY, 128)
    story.mark(0.515, Mark.ARMED)
    story.throttle.append((0.6, FORWARD_US))
    for at_s in (0.7, 1.3):
        story.mark(at_s, Mark.ALIGN)
        story.drive_step(at_s, 0)
        story.stop(at_s + 0.1, Mark.GIVEN_UP)
    return story


def _let_go_for_nothing() -> Story:
    """The legs open in a run, the stick stays, and soon it is caught again."""
    story = voyage(end_s=1.8)
    at_s, next_s = _steps(story)[200], _steps(story)[202]
    gone = (at_s - 1e-5, next_s - 1e-5)
    story.edges = [edge for edge in story.edges if not gone[0] < edge[0] < gone[1]]
    story.stop(gone[0], Mark.COAST)
    story.mark(gone[1] - 1e-6, Mark.RUN)
    return story


def _second_start_not_precharged() -> Story:
    """A first start that nothing comes of, precharged; then the ideal one, after a rest, and not."""
    knobs = Voyage(fails=1, start_takes_s=0.6, end_s=1.8)
    story = knobs.story()
    failed_s = knobs.align_at_s - knobs.fail_s - knobs.pause_s
    story.mark(failed_s - 3e-3, Mark.PRECHARGE)
    story.legs(failed_s - 3e-3, Leg.LOW, Leg.LOW, Leg.LOW)
    story.legs(failed_s - 2e-5, Leg.OPEN, Leg.OPEN, Leg.OPEN)
    return story


def _two_reverse_steps_at_neutral() -> Story:
    knobs = Voyage(neutral_at_s=1.1)
    story = knobs.story()
    at_s = knobs.off_s + 0.05
    story.mark(at_s, Mark.RAMP)
    story.drive_step(at_s, 1)
    story.drive_step(at_s + 0.01, 0)
    story.stop(at_s + 0.02, Mark.COAST)
    return story


def _driven_before_arming() -> Story:
    """What is not armed has not had its rite either."""
    story = voyage()
    story.mark(0.3, Mark.ALIGN)
    story.drive_step(0.3, 0)
    story.stop(0.32, Mark.OFF)
    return story


def _driven_before_it_is_asked() -> Story:
    """Armed by the full rite at neutral, and obeys what was asked before it."""
    story = voyage()
    story.mark(0.54, Mark.ALIGN)
    story.drive_step(0.54, 0)
    story.stop(0.56, Mark.ARMED)
    return story


def _armed_with_the_stick_up() -> Story:
    story = voyage()
    story.throttle[0] = (0.0, FORWARD_US)
    story.throttle.append((0.45, NEUTRAL_US))
    return story


def _armed_again_at_once_after_a_loss() -> Story:
    story = voyage(neutral_at_s=1.0, end_s=2.0)
    story.throttle += [(1.1, 0.0), (1.5, NEUTRAL_US)]
    story.mark(1.15, Mark.OFF)
    story.mark(1.6, Mark.ARMED)
    return story


def _armed_again_at_once_after_a_reset() -> Story:
    story = voyage(neutral_at_s=1.0, end_s=1.8)
    story.edge(1.3, Signal.RESET, 2)
    story.mark(1.31, Mark.OFF)
    story.mark(1.4, Mark.ARMED)
    return story


def _bad_pulse_ends_the_run() -> Story:
    knobs = Voyage(neutral_at_s=1.2, stops_as=Mark.BRAKE)
    story = knobs.story()
    story.throttle[-1] = (1.2, 2300.0)
    story.throttle.append((1.22, FORWARD_US))
    return story


def _bad_pulse_moves_the_duty() -> Story:
    story = voyage()
    story.throttle += [(1.2, 2300.0), (1.22, FORWARD_US)]
    story.edge(1.215, Signal.DUTY, 200)
    return story


def _aligned_at_speed(said_after_s: float = 0.0) -> Story:
    knobs = Voyage(reverse_at_s=1.1, end_s=2.1)
    story = knobs.story()
    at_s = knobs.off_s + 0.05
    story.stop(at_s, Mark.COAST)
    story.mark(at_s + 0.01 + said_after_s, Mark.ALIGN)
    story.drive_step(at_s + 0.01, 0)
    story.stop(at_s + 0.02, Mark.COAST)
    story.mark(at_s + 0.03, Mark.BRAKE)
    story.legs(at_s + 0.03, Leg.LOW, Leg.LOW, Leg.LOW)
    return story


def _never_turns() -> Story:
    return voyage(align_s=0.9, start_takes_s=1.0, end_s=1.9)


def _runs_for_a_moment() -> Story:
    """Closed loop is said to be reached, and left after a tenth of a turn."""
    story = voyage(end_s=1.9)
    left_s = ALIGN_S + 0.1 + RAMP_S + 5e-3
    story.edges = [edge for edge in story.edges if edge[0] < left_s]
    story.stop(left_s, Mark.COAST)
    return story


def _aligned_again_from_the_ramp() -> Story:
    """A ramp that fails is followed by the next try at once, with not so much as a mark between."""
    knobs = Voyage(start_takes_s=0.6, end_s=1.8)
    story = knobs.story()
    failed_s = knobs.align_at_s - 0.06
    story.mark(failed_s, Mark.ALIGN)
    story.drive_step(failed_s, 4)
    story.mark(failed_s + 0.04, Mark.RAMP)
    story.drive_step(failed_s + 0.04, 5)
    return story


PLANTS = [
    Plant("gates.both_fets", _both_fets_for_a_cycle),
    Plant("gates.two_high", _second_leg_chopped_for_5_us),
    Plant("gates.reset_opens", _gates_open_two_cycles_after_a_reset),
    Plant("commutation.order", _step_left_out),
    Plant("commutation.order", _step_driven_twice),
    Plant("commutation.order", _step_back, also=("commutation.angle",)),
    Plant("commutation.missed_crossings", _crossing_not_taken),
    Plant("startup.in_time", _never_turns),
    Plant("startup.in_time", _runs_for_a_moment),
    Plant("startup.tries", _try_after_giving_up, given={"start_s": 9.0}),
    # What it is driven with in between is no full duty.
    Plant("synchronism.keeps", _let_go_for_nothing, given={"full_share": 0.01}),
    Plant("startup.charged", _second_start_not_precharged),
    Plant("startup.tries", _aligned_again_from_the_ramp),
    Plant("reversal.neutral", _two_reverse_steps_at_neutral, also=("commutation.direction",)),
    Plant("reversal.opposing_drive", _aligned_at_speed),
    Plant("arming.idle", _driven_before_arming, also=("arming.rite",)),
    Plant("arming.idle", _driven_before_it_is_asked),
    Plant("arming.rite", _armed_with_the_stick_up, also=("arming.lasting",)),
    Plant("arming.rite", _armed_again_at_once_after_a_loss, also=("arming.lasting",)),
    Plant("arming.rite", _armed_again_at_once_after_a_reset, also=("arming.lasting",)),
    Plant("arming.bad_pulses", _bad_pulse_ends_the_run),
    Plant("arming.bad_pulses", _bad_pulse_moves_the_duty),
    *RITE_PLANTS,
    *MAP_PLANTS,
    *CONTROLLER_PLANTS,
]


@pytest.mark.parametrize("plant", PLANTS, ids=str)
def test_a_planted_violation_is_found_and_by_no_other_claim(plant):
    """A claim that cannot fail proves nothing; one that fails for its neighbour's reason misleads."""
    found = verdicts(plant.make().recording(), **plant.given)

    assert found[plant.claim].status == Status.BROKEN
    assert found[plant.claim].margin < 0
    assert broken(found) - set(plant.also) == {plant.claim}


PROMISES = [
    (Mark.OFF, (Leg.LOW, Leg.OPEN, Leg.OPEN)),
    (Mark.ARMED, (Leg.LOW, Leg.LOW, Leg.LOW)),
    (Mark.COAST, (Leg.LOW, Leg.OPEN, Leg.OPEN)),
    (Mark.GIVEN_UP, (Leg.HIGH, Leg.OPEN, Leg.OPEN)),
    (Mark.BRAKE, (Leg.LOW, Leg.LOW, Leg.HIGH)),
    (Mark.BRAKE, (Leg.CHOPPED, Leg.LOW, Leg.OPEN)),
    (Mark.PRECHARGE, (Leg.LOW, Leg.HIGH, Leg.OPEN)),
    (Mark.TONE, (Leg.HIGH, Leg.HIGH, Leg.LOW)),
    (Mark.RUN, (Leg.LOW, Leg.LOW, Leg.LOW)),
    (Mark.RAMP, (Leg.CHOPPED, Leg.LOW, Leg.LOW)),
    (Mark.ALIGN, (Leg.OPEN, Leg.LOW, Leg.OPEN)),
]


@pytest.mark.parametrize(("mark", "legs"), PROMISES)
def test_legs_that_break_the_promise_of_a_mark_are_found(mark, legs):
    """What is marked is a promise: saying brake while driving must not excuse the drive."""
    story = Story()
    story.edge(0.001, Signal.DUTY, 128)
    story.mark(0.3, mark)
    story.legs(0.4, *legs)
    story.legs(0.4 + 20e-6, Leg.OPEN, Leg.OPEN, Leg.OPEN)

    verdict = verdicts(story.recording())["gates.pattern"]

    assert verdict.status == Status.BROKEN
    assert verdict.seen == pytest.approx(20.0, abs=0.2)
    assert verdict.moment_s == pytest.approx(0.4)


KEPT = [
    (Mark.BRAKE, (Leg.LOW, Leg.LOW, Leg.LOW)),
    (Mark.BRAKE, (Leg.HIGH, Leg.HIGH, Leg.HIGH)),
    (Mark.PRECHARGE, (Leg.LOW, Leg.OPEN, Leg.LOW)),
    (Mark.TONE, (Leg.HIGH, Leg.LOW, Leg.OPEN)),
    (Mark.RUN, (Leg.OPEN, Leg.HIGH, Leg.LOW)),
    (Mark.RUN, (Leg.OPEN, Leg.OPEN, Leg.OPEN)),
]


@pytest.mark.parametrize(("mark", "legs"), KEPT)
def test_legs_that_keep_the_promise_of_a_mark_are_let_alone(mark, legs):
    """Brake, precharge and tone are declared exceptions from the six patterns."""
    story = Story()
    story.mark(0.3, mark)
    story.legs(0.4, *legs)
    story.legs(0.5, Leg.OPEN, Leg.OPEN, Leg.OPEN)

    found = verdicts(story.recording())

    assert found["gates.pattern"].margin == (1.0 if any(legs) else None)
    assert found["gates.two_high"].status != Status.BROKEN


def test_every_claim_without_a_limit_has_a_violation_planted():
    """Claims with limits are shown sharp elsewhere; the others must be here."""
    without = {
        f"{family}.{claim.name}" for family in FAMILIES for claim in claims_of(family) if not claim.limits
    }
    assert without <= {plant.claim for plant in PLANTS}


def test_a_reverse_stick_that_is_followed_forwards_is_found():
    """Steps the wrong way break the direction, the demanded one is never reached, and the ramp turns back."""
    story = voyage()
    story.throttle = [(t, REVERSE_US if us == FORWARD_US else us) for t, us in story.throttle]

    expected = {"commutation.direction", "startup.in_time", "startup.swing_back"}
    assert broken(verdicts(story.recording())) == expected


def test_a_broken_verdict_names_moment_line_and_reason():
    """The reader of a finding starts from this sentence and this line."""
    run = _second_leg_chopped_for_5_us().recording()
    verdict = verdicts(run)["gates.two_high"]

    assert verdict.text == "legs U and W are high at once"
    assert verdict.moment_s == pytest.approx(ALIGN_S + 0.02)
    assert run.edges["signal"][verdict.row] == Signal.LEG_W
    assert run.line_of(verdict.row) == f"edge {verdict.row}"


@pytest.mark.parametrize("said_after_s", [0.0, 5e-6])
def test_what_drives_against_the_rotor_is_a_leg_and_not_the_mark(said_after_s):
    """Said before the legs change or a few microseconds after: it is the legs that let current flow."""
    run = _aligned_at_speed(said_after_s).recording()
    verdict = verdicts(run)["reversal.opposing_drive"]

    assert verdict.status == Status.BROKEN
    assert run.edges["signal"][verdict.row] in LEGS
