"""The monitors over runs of the shipped bow thruster: transients, runts and cuts nobody writes by hand."""

from pathlib import Path

import numpy as np
import pytest

from dryspin.build import build_image
from dryspin.drive import load_claims, load_drive
from dryspin.monitors import known_claims, known_limits
from dryspin.rig import Rig
from dryspin.scenario import Fault, Scenario

from .courtroom import broken, until, verdicts

THRUSTER = Path(__file__).parents[2] / "firmware_under_test" / "bow_thruster"

RUNS = {
    "reversal": Scenario(0, 2.8, 250.0, 20.0, ((0.0, 1500.0), (0.6, 1900.0), (1.7, 1100.0))),
    # A bad pulse in the rite, a run, a signal lost while running, a second run, a reset in it.
    "losses": Scenario(
        seed=0,
        end_s=3.6,
        rest_deg=30.0,
        frame_ms=20.0,
        throttle_us=(
            (0.0, 1500.0),
            (0.1, 2300.0),
            (0.12, 1500.0),
            (0.7, 1100.0),
            (1.5, 700.0),
            (1.9, 1500.0),
            (2.6, 1100.0),
        ),
        faults=(Fault("reset", 3.3),),
    ),
    # The rotor is lost by a blow, caught again; then the supply goes, twice, with the stick left up.
    "blows": Scenario(
        seed=0,
        end_s=5.0,
        rest_deg=130.0,
        frame_ms=20.0,
        throttle_us=((0.0, 1500.0), (0.7, 1900.0)),
        load_nm=((0.0, 0.0), (1.8, 0.0), (1.81, 0.6), (1.9, 0.6), (1.91, 0.0)),
        faults=(Fault("supply gap", 3.9, 200.0), Fault("power cut", 4.6, 30.0)),
    ),
}


@pytest.fixture(scope="module")
def rig() -> Rig:
    """The thruster on its pack."""
    drive = load_drive(THRUSTER / "drive.toml")
    return Rig(build_image(drive, THRUSTER), drive)


@pytest.mark.parametrize("name", RUNS)
def test_the_shipped_thruster_is_not_accused_wherever_its_recording_ends(rig, name):
    """Ends fall into steps, tries, brakes and pulses; what could not be finished is not judged."""
    run = rig.run(RUNS[name])
    ends_s = [run.end_s, *np.random.default_rng(5).uniform(0.01, run.end_s, 20)]

    assert {end_s: found for end_s in ends_s if (found := broken(verdicts(until(run, end_s))))} == {}


def test_every_claim_is_put_to_the_test_by_these_runs(rig):
    """A claim that real runs never reach would be decoration.

    Learning the stick's range takes seconds, a tone that nobody cuts short a stick that rests, a map of the
    throttle a stick held at many positions, code that goes round in circles is a fault of its own, a rotor is
    joined while it turns after a loss only: these have runs of their own (tests/firmware/test_calibration.py,
    test_tones.py; tests/monitors/map_cases.py, controller_cases.py; the good firmware in tests/known_bad).
    """
    found = [verdict for scenario in RUNS.values() for verdict in verdicts(rig.run(scenario)).values()]

    declared = set(load_claims(THRUSTER / "claims.toml", known_claims(), known_limits()).declared)
    declared = {c for c in declared if not c.startswith(("calibration.", "throttle_map."))}
    declared -= {"tones.pattern", "controller.loop_opens", "synchronism.joining"}
    assert declared - {verdict.name for verdict in found if verdict.margin is not None} == set()
