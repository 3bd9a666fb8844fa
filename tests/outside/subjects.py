"""Imports every module of checks, in the order in which the table shows them."""

from . import motor_sheets, time_constants, six_step, open_phase, overlap  # noqa: I001
from . import sense_errors, rig_delay, tones, loads, bridge, circuits

SUBJECTS = (
    *(motor_sheets, time_constants, six_step, open_phase, overlap),
    *(sense_errors, rig_delay, tones, loads, bridge, circuits),
)
