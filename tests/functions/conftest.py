"""The firmware whose functions are called: that of pytest's --firmware, else the bow thruster as shipped."""

import pytest

from dryspin.call import CallableFirmware, load_firmware
from dryspin.call.firmware import QUIET

from ..small_firmware import BOW_THRUSTER
from .learning import Learner
from .legs import OFFSET_ABOVE
from .stopper import Stopper


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


@pytest.fixture
def learning(firmware: CallableFirmware) -> Learner:
    """Calibrating: the stick was up from power-on, the rotor rests, and nothing is learnt yet."""
    firmware.reset(OFFSET_ABOVE)
    learner = Learner(firmware)
    learner.enter()
    return learner


@pytest.fixture
def stopping(firmware: CallableFirmware) -> Stopper:
    """A rotor that seems to rest or to turn, as told; legs open, interrupts off."""
    firmware.reset(OFFSET_ABOVE)
    return Stopper(firmware)
