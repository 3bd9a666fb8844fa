"""The bow thruster on its two drives."""

from pathlib import Path

import pytest

from dryspin.build import build_image
from dryspin.drive import load_drive
from dryspin.rig import Rig

THRUSTER = Path(__file__).parents[2] / "firmware_under_test" / "bow_thruster"


def bench(drive_file: str) -> Rig:
    """The bow thruster on the bench with one of its drives."""
    drive = load_drive(THRUSTER / drive_file)
    return Rig(build_image(drive, THRUSTER), drive)


@pytest.fixture(scope="session")
def pack() -> Rig:
    """On the three-cell pack."""
    return bench("drive.toml")


@pytest.fixture(scope="session")
def lab_supply() -> Rig:
    """On the laboratory supply, 8 to 20 V."""
    return bench("drive_lab_supply.toml")
