"""The bow thruster on its two drives."""

from pathlib import Path

import pytest

from dryspin.build import build_image
from dryspin.drive import load_drive
from dryspin.recording import Recording
from dryspin.rig import Rig

from .rite import LEARNT_S, calibration, story

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


@pytest.fixture(scope="session")
def learnt(pack: Rig) -> Recording:
    """A narrow range, learnt."""
    return pack.run(story(LEARNT_S + 0.6, calibration()))
