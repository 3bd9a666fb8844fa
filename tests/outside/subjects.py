"""Imports every module of checks, in the order in which the table shows them."""

from . import (
    motor_sheets,
    time_constants,
    six_step,
    open_phase,
    overlap,
    sense_errors,
    tones,
    loads,
    bridge,
)

SUBJECTS = (
    motor_sheets,
    time_constants,
    six_step,
    open_phase,
    overlap,
    sense_errors,
    tones,
    loads,
    bridge,
)
