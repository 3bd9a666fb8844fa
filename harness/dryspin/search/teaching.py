"""What a hand does to teach a range, and to show which one is in force."""

import math
from collections.abc import Sequence

from dryspin.drive import Calibration, Drive
from dryspin.search.course import START_UP_S, Course, armed_s
from dryspin.search.creeping import crept
from dryspin.search.draws import Draws
from dryspin.search.positions import SPANS, Positions, declared_positions, positions_of, spans_of, width_at
from dryspin.search.rehearsal import Rehearsal, Spans

SETTLE_S = 0.1
"""Beyond the declared frames, for a short tone and a frame cut in half."""

STORING_S = 0.25
"""From the last pulse to a complete store, where no rehearsal has shown it."""

DRIVE_S, CHANGE_S, TURN_S = 0.9, 0.6, 1.5
"""A demand is to be seen for: start and 0.4 s at a steady duty; a change of it, a reversal, likewise."""

READY_S = 0.3
"""The tone that may follow the rite."""

TAUGHT_SHARE = 0.6
"""Of the stick's way, at which a range is seen at work before and after."""

DEFAULT = Calibration(1700.0, 100, ("high", "neutral", "low"), 25, 15.0, 10.0, 200.0, 700.0)
"""For a drive that declares none: its firmware is to do nothing of the kind."""


def learn(
    course: Course,
    rite: Calibration,
    frame_ms: float,
    from_s: float,
    at: Positions,
    frames: int | None = None,
    creeps: int | None = None,
    lingers: int | None = None,
) -> float:
    """Stick movements of one calibration from power-on at `from_s`; returns the last pulse it needs.

    `frames`: hold each position for so many only. `creeps`: on its way to that one of them the stick creeps.
    `lingers`: at that one it stays as long as two more holds take.
    """
    frame_s = frame_ms / 1000.0
    hold_s = (rite.hold_frames if frames is None else frames) * frame_s
    hold_s += SETTLE_S if frames is None or frames >= rite.hold_frames else 0.0
    widths = {"high": at.high, "neutral": at.neutral, "low": at.low}
    course.step(from_s, at.high)
    at_s = from_s + START_UP_S + (rite.enter_frames + 2) * frame_s + SETTLE_S
    for k, position in enumerate(rite.order):
        # Steps lie between two pulses: pulse k rises half a frame after k frames.
        at_s = round(at_s / frame_s) * frame_s
        if k and k == creeps:
            at_s = crept(course, rite, frame_s, at_s, widths[rite.order[k - 1]], widths[position])
        course.step(at_s, widths[position])
        begun_s = at_s
        at_s += hold_s if k != lingers else 3.0 * hold_s
    last_us = widths[rite.order[-1]]
    return round(begun_s + (rite.hold_frames - 0.5) * frame_s + last_us * 1e-6, 7)


def storing_s(store_s: Spans) -> float:
    """From the last pulse to when the stick may move on."""
    return max(store_s[-1][1] + SETTLE_S, STORING_S) if store_s else STORING_S + SETTLE_S


def taught_before(
    draws: Draws, drive: Drive, rite: Calibration, course: Course, frame_ms: float, rehearsal: Rehearsal
) -> tuple[float, Positions]:
    """Mostly a calibration, driven by and switched off; returns the next power-on and the range in force."""
    taught = draws.index("taught before", 1 + SPANS)
    if not taught:
        return 0.0, declared_positions(drive)
    old = positions_of(rite, spans_of(drive, rite)[taught - 1], drive.throttle.neutral_us)
    from_s = learn(course, rite, frame_ms, 0.0, old) + storing_s(rehearsal.store_s)
    held_us = width_at(drive, old.neutral, old.high, TAUGHT_SHARE)
    at_s = hold_at(course, drive, rehearsal, frame_ms, from_s, old.neutral, (held_us,))
    return course.fault("power cut", at_s, 30.0), old


def hold_at(
    course: Course,
    drive: Drive,
    rehearsal: Rehearsal,
    frame_ms: float,
    from_s: float,
    neutral_us: float,
    held_us: Sequence[float],
) -> float:
    """Arm from `from_s` on at `neutral_us`, then hold the stick at each of `held_us`; returns the end."""
    course.step(from_s, neutral_us)
    at_s = from_s + armed_s(drive, rehearsal, frame_ms) + READY_S
    for k, width_us in enumerate(held_us):
        course.step(at_s, width_us)
        way = [math.copysign(1.0, us - neutral_us) for us in held_us[max(k - 1, 0) : k + 1]]
        at_s += TURN_S if way[0] != way[-1] else CHANGE_S if k else DRIVE_S
    return at_s


def drives_by(
    draws: Draws,
    drive: Drive,
    rehearsal: Rehearsal,
    course: Course,
    frame_ms: float,
    from_s: float,
    at: Positions,
) -> Course:
    """From `from_s` on the range in force drives, at one position, with which the story ends."""
    held_us = width_at(drive, at.neutral, at.toward(drive, draws.index("way", 2)), TAUGHT_SHARE)
    end_s = hold_at(course, drive, rehearsal, frame_ms, from_s, at.neutral, (held_us,))
    course.end_s = round(end_s + 0.05, 4)
    return course
