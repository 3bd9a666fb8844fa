"""The drive: the physical thing under test, and the claims it is held to."""

from dryspin.drive.change import Change
from dryspin.drive.claims import Claims, Limit, Suppression, claims_file, load_claims
from dryspin.drive.load import load_drive
from dryspin.drive.model import (
    Bridge,
    Calibration,
    Controller,
    Drive,
    Firmware,
    Heat,
    Load,
    Motor,
    Sense,
    Supply,
    Throttle,
    Tone,
)
from dryspin.drive.overlay import overlaid_file, overlaid_files
from dryspin.drive.pins import Pins
from dryspin.drive.span import Range

__all__ = [
    "Bridge",
    "Calibration",
    "Change",
    "Claims",
    "Controller",
    "Drive",
    "Firmware",
    "Limit",
    "Heat",
    "Load",
    "Motor",
    "Pins",
    "Range",
    "Sense",
    "Supply",
    "Suppression",
    "Throttle",
    "Tone",
    "claims_file",
    "load_claims",
    "load_drive",
    "overlaid_file",
    "overlaid_files",
]
