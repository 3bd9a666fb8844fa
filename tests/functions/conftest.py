"""The firmware whose functions are called: that of pytest's --firmware, else the bow thruster as shipped."""

import pytest

from dryspin.call import CallableFirmware, load_firmware
from dryspin.call.firmware import QUIET

from ..small_firmware import BOW_THRUSTER


@pytest.fixture(scope="module")
def loaded(request: pytest.FixtureRequest) -> CallableFirmware:
    """Built once a module; a changed copy of the firmware is put to the same tests with --firmware."""
    config = request.config
    given, drive = config.getoption("firmware"), config.getoption("drive")
    called_from = config.invocation_params.dir
    directory = called_from / str(given) if given else BOW_THRUSTER
    return load_firmware(directory, (called_from / str(drive)) if drive else None)


@pytest.fixture
def firmware(loaded: CallableFirmware) -> CallableFirmware:
    """As after power-on: rotor at rest, no throttle pulses, for a minute; reset(scenario) gives another."""
    loaded.reset(QUIET)
    return loaded
