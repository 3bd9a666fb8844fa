"""A stick that creeps: so slowly that each pulse looks like the one before it, and yet never at rest."""

from dryspin.drive import Calibration
from dryspin.search.course import Course

STILL_SHARE = 0.8
"""Of what a stick at rest may scatter, that it moves at a time: a step that a glance takes for scatter."""

STAYS = 3
"""A part of a hold, one in so many, is how long it stays there: any hold sees more than it may scatter."""

STEPS = 5
"""Longer than a hold lasts: whoever does not notice has learnt a position by then."""


def crept(
    course: Course, rite: Calibration, frame_s: float, at_s: float, from_us: float, to_us: float
) -> float:
    """From `at_s` on the stick creeps halfway between two positions; returns when it may be moved on."""
    step_us = STILL_SHARE * rite.still_us * (1.0 if to_us > from_us else -1.0)
    for k in range(STEPS):
        course.step(at_s, round((from_us + to_us) / 2.0 + k * step_us, 1))
        at_s += max(rite.hold_frames // STAYS, 1) * frame_s
    return round(at_s / frame_s) * frame_s
