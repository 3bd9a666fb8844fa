"""What the benchmarks share: the bow thruster, built, and the reference scenario."""

from pathlib import Path

import pytest

from dryspin.build import build_image
from dryspin.drive import Drive, load_drive
from dryspin.rig import Rig
from dryspin.scenario import Scenario, read_scenario

ROOT = Path(__file__).parents[2]
THRUSTER = ROOT / "firmware_under_test" / "bow_thruster"
REFERENCE = ROOT / "traces" / "by_hand" / "reference.toml"


@pytest.fixture(scope="session")
def drive() -> Drive:
    """The pack drive."""
    return load_drive(THRUSTER / "drive.toml")


@pytest.fixture(scope="session")
def rig(drive: Drive) -> Rig:
    """The bow thruster on its bench."""
    return Rig(build_image(drive, THRUSTER), drive)


@pytest.fixture(scope="session")
def reference() -> Scenario:
    """The scenario of every benchmark."""
    return read_scenario(REFERENCE)
