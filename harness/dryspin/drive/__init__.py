"""The drive: the physical thing under test, and the claims it is held to."""

from dryspin.drive.claims import Claims, Limit, Suppression
from dryspin.drive.model import (
    Bridge,
    Controller,
    Drive,
    Firmware,
    Load,
    Motor,
    Sense,
    Supply,
    Throttle,
)
from dryspin.drive.span import Range

__all__ = [
    "Bridge",
    "Claims",
    "Controller",
    "Drive",
    "Firmware",
    "Limit",
    "Load",
    "Motor",
    "Range",
    "Sense",
    "Supply",
    "Suppression",
    "Throttle",
]
