"""One short voyage of the thruster, recorded once: armed, a tone, a start, into RUN."""

from pathlib import Path

import pytest

from dryspin.build import build_image
from dryspin.drive import Drive
from dryspin.recording import Recording
from dryspin.rig import Rig
from dryspin.scenario import Fault, Scenario

ROOT = Path(__file__).parents[2]
THRUSTER_DIR = ROOT / "firmware_under_test" / "bow_thruster"


@pytest.fixture(scope="session")
def voyage(thruster: Drive) -> Recording:
    """1.7 s: the tone at 0.57 s, RUN from 1.4 s on, a reset at 1.65 s."""
    steps = ((0.0, 1500.0), (0.95, 1800.0))
    story = Scenario(7, 1.7, 210.0, 20.0, steps, faults=(Fault("reset", 1.65),))
    return Rig(build_image(thruster, THRUSTER_DIR), thruster).run(story)
