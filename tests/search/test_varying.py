"""What matters in a scenario: each piece changed by itself, and no more said than was run."""

import pytest

from dryspin.errors import RigError
from dryspin.findings import BROKEN, HELD, Outcome, Trial
from dryspin.report.varying import varied_json, varied_lines
from dryspin.scenario import Fault, Scenario
from dryspin.search.varying import CANNOT_RUN, EARLIER, LATER, LEFT_OUT, OTHER, PLAIN, TRIALS, vary

CLAIM = "reversal.phase_current"

STORY = Scenario(
    seed=3,
    end_s=2.5,
    rest_deg=30.0,
    frame_ms=12.5,
    throttle_us=((0.0, 1500.0), (0.6, 1900.0), (1.6, 1100.0)),
    load_nm=((0.0, 0.01),),
    comparator_noise_mv=((0.0, 4.0),),
    parts={"kv": 1.05, "offset_v": 0.01},
    faults=(Fault("reset", 1.7),),
)


def try_out(scenario: Scenario) -> Trial:
    """Breaks where the stick is reversed with the strong magnets; a reset a little earlier crashes it."""
    if scenario.faults and scenario.faults[0].at_s < 1.7:
        raise RigError("crashes")
    reverses = any(width_us < 1500.0 for _, width_us in scenario.throttle_us)
    breaks = reverses and "kv" in scenario.parts
    outcome = Outcome(CLAIM, BROKEN if breaks else HELD, -0.5 if breaks else 0.25)
    return Trial((outcome,), 1.0)


@pytest.fixture(scope="module")
def varied():
    """All runs of the story."""
    return vary(try_out, STORY, CLAIM)


def status(varied, piece, change, name="", at_s=None):
    """Of the one run that changed this."""
    (found,) = [v for v in varied if (v.piece, v.change, v.name, v.at_s) == (piece, change, name, at_s)]
    return found.status


def test_every_piece_is_changed_by_itself(varied):
    """Steps, faults, traces, parts, noise, frame, rotor: nothing that a scenario holds is passed over."""
    assert status(varied, "throttle_us", LEFT_OUT, at_s=1.6) == HELD
    assert status(varied, "throttle_us", LEFT_OUT, at_s=0.6) == BROKEN
    assert status(varied, "parts", PLAIN, "kv") == HELD
    assert status(varied, "parts", PLAIN, "offset_v") == BROKEN
    assert status(varied, "faults", LEFT_OUT, "reset", 1.7) == BROKEN
    assert status(varied, "load_nm", LEFT_OUT) == BROKEN
    assert status(varied, "comparator_noise_mv", LEFT_OUT) == BROKEN
    assert status(varied, "seed", OTHER) == BROKEN
    assert status(varied, "frame_ms", PLAIN) == BROKEN
    assert {v.value for v in varied if v.piece == "rest_deg"} == {90.0, 210.0}


def test_a_run_that_fails_is_told_as_such(varied):
    """Neither that the claim holds nor that it breaks was seen."""
    assert status(varied, "faults", EARLIER, "reset", 1.7) == CANNOT_RUN
    assert status(varied, "faults", LATER, "reset", 1.7) == BROKEN


def test_what_would_be_no_scenario_is_passed_over():
    """A step that is moved onto its neighbour has no order."""
    close = Scenario(
        seed=0,
        end_s=1.0,
        rest_deg=0.0,
        frame_ms=20.0,
        throttle_us=((0.0, 1500.0), (0.6, 1900.0), (0.62, 0.0)),
    )
    moved = [v for v in vary(try_out, close, CLAIM) if v.change in (EARLIER, LATER)]

    assert [(v.at_s, v.change) for v in moved] == [(0.6, EARLIER), (0.62, LATER)]


def test_the_runs_are_bounded_and_leaving_out_comes_first():
    """A long story is asked first what it needs at all."""
    steps = tuple((round(0.05 * k, 3), 1500.0 + k) for k in range(TRIALS + 10))
    long = Scenario(seed=0, end_s=9.0, rest_deg=0.0, frame_ms=20.0, throttle_us=steps)
    varied = vary(try_out, long, CLAIM)

    assert len(varied) == TRIALS
    assert {v.change for v in varied} == {LEFT_OUT}


def test_the_words_say_what_was_run(varied):
    """As it stands in a report."""
    assert varied_lines(varied) == [
        "one piece at a time changed, 17 runs",
        "  the claim holds",
        "    without the throttle's step at 1.600 s; margin +0.25",
        "    with kv as nominal; margin +0.25",
        "  it breaks as well",
        "    without the throttle's step at 0.600 s; margin -0.50",
        "    without reset at 1.700 s; margin -0.50",
        "    without added torque; margin -0.50",
        "    without comparator noise; margin -0.50",
        "    with offset_v as nominal; margin -0.50",
        "    with other noise; margin -0.50",
        "    with a pulse every 20 ms; margin -0.50",
        "    with the rotor at 90 deg; margin -0.50",
        "    with the rotor at 210 deg; margin -0.50",
        "    the throttle's step at 0.600 s 12.5 ms earlier; margin -0.50",
        "    the throttle's step at 0.600 s 12.5 ms later; margin -0.50",
        "    the throttle's step at 1.600 s 12.5 ms earlier; margin -0.50",
        "    the throttle's step at 1.600 s 12.5 ms later; margin -0.50",
        "    reset at 1.700 s 1 ms later; margin -0.50",
        "  it is not put to the test",
        "    reset at 1.700 s 1 ms earlier",
    ]
    assert [row["status"] for row in varied_json(varied)] == [v.status for v in varied]
    assert varied_lines(()) == []
