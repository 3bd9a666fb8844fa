"""What tests of several folders share."""

from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.drive import Drive, Firmware, load_drive

from .rig_books import rig_energy_balance as rig_energy_balance
from .small_firmware import BOW_THRUSTER, Bench

pytest_plugins = ["pytester"]  # tests/plugin runs pytest in pytest


@pytest.fixture(scope="session")
def thruster() -> Drive:
    """The drive of the shipped bow thruster."""
    return load_drive(BOW_THRUSTER)


@pytest.fixture
def bench(tmp_path: Path, thruster: Drive) -> Bench:
    """A bench with an empty firmware folder."""
    drive = replace(thruster, firmware=Firmware(("*.c",), (".",), {}, ""), layers=())
    return Bench(tmp_path / "firmware", drive)
