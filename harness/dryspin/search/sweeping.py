"""Throttle map: positions held for long enough to be obeyed, and slow sweeps between them, both ways."""

from dryspin.drive import Calibration, Drive
from dryspin.search.course import RARE, Course, Stick, armed_s, rite
from dryspin.search.draws import Draws
from dryspin.search.positions import Positions, spans_of, width_at
from dryspin.search.rehearsal import Rehearsal
from dryspin.search.teaching import READY_S, learn, storing_s

START_S = 1.0
"""From the demand to a duty that no run-up limits any more."""

HOLD_S = 0.5
"""A changed demand is obeyed, and held for long enough to be read."""

STOP_S = 0.5
"""At neutral, before the other way: braked and seen to be idle."""

REST_S = 0.3
"""At neutral for longer at the end: a drive that starts again and again there has stopped before."""

TRIMS = (0.0, 0.5, -0.5, 0.95, -0.95)
"""Where in the dead band the stick comes to rest the first time, as a share of it, and as far on its other
side the second time: a trimmed stick is not in its middle."""

FULL_S = 0.7
"""Full out, once and one way: both ways are divided alike, which other claims ask."""

BEYOND_US = (0.0, 5.0, 20.0, 60.0)
"""So far beyond it: a transmitter's travel and trim need not end where the drive's range does."""

BEYOND_ALL_US = 20.0
"""But short of what is no pulse of a transmitter any more."""

HALVES = 8
"""One drive in so many has learnt a stick whose halves differ: neutral is not in the middle of its way."""

LEARNT_FRAME_MS = 10.0

SWEEP_STEPS = 14
SWEEP_US = (2.0, 1.0, 3.0)
"""A sweep moves by this from frame to frame: less than a count of duty, about one, about two."""

SHARES = ((0.4, 0.7), (0.3, 0.6), (0.5, 0.8), (0.35, 0.9))
"""Two positions held each way; the sweep goes on from the first."""


def throttle_map(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """A rite, then each way: a position, a slow sweep, another position; full out once; rest in between.

    Rarely the stick's range is learnt before, with unequal halves; then without the sweeps.
    """
    stick = Stick(drive)
    learns = drive.calibration is not None and bool(rehearsal.store_s)
    if draws.index("halves", HALVES) == RARE and drive.calibration is not None and learns:
        return _unequal(draws, drive, drive.calibration, rehearsal)
    course = rite(drive, draws, frame_ms, rehearsal)
    way = draws.index("way", 2)
    first, second = draws.pick("shares", SHARES)
    step_us = draws.pick("sweep", SWEEP_US)
    # To a whole us: a pulse within two ticks of the border counts either way.
    trim_us = float(int(draws.pick("trim", TRIMS) * drive.throttle.dead_band_us))
    at_s = course.end_s
    for turn in range(2):
        from_us, to_us = stick.demand(way ^ turn, first), stick.demand(way ^ turn, second)
        outward = 1.0 if to_us > from_us else -1.0
        course.step(at_s, from_us)
        at_s += START_S
        for k in range(1, SWEEP_STEPS + 1):
            course.step(at_s, from_us + outward * step_us * k)
            at_s += frame_ms / 1000.0
        at_s += HOLD_S - START_S / 4
        course.step(at_s, to_us)
        at_s += HOLD_S
        if turn == 0:
            course.step(at_s, _far_out(drive, stick.demand(way, 1.0), draws.pick("beyond", BEYOND_US)))
            at_s += FULL_S
        course.step(at_s, stick.neutral_us + (-trim_us if turn else trim_us))
        at_s += STOP_S
    course.end_s = at_s + REST_S
    return course


def _far_out(drive: Drive, full_us: float, beyond_us: float) -> float:
    """A width beyond full stick, where one is still a good pulse."""
    throttle = drive.throttle
    if full_us > throttle.neutral_us:
        return max(full_us, min(full_us + beyond_us, throttle.valid_high_us - BEYOND_ALL_US))
    return min(full_us, max(full_us - beyond_us, throttle.valid_low_us + BEYOND_ALL_US))


def _unequal(draws: Draws, drive: Drive, rite_of: Calibration, rehearsal: Rehearsal) -> Course:
    """A range is learnt whose halves differ; then two positions are held each way, and full out."""
    widest_us, *_, narrowest_us = spans_of(drive, rite_of)
    up_us, down_us = draws.pick("wider half", ((narrowest_us, widest_us), (widest_us, narrowest_us)))
    neutral_us = drive.throttle.neutral_us
    at = Positions(neutral_us + up_us, neutral_us, neutral_us - down_us)
    course = Course([(0.0, at.high)], 0.0, aside=True, frame_ms=LEARNT_FRAME_MS)
    from_s = learn(course, rite_of, LEARNT_FRAME_MS, 0.0, at) + storing_s(rehearsal.store_s)
    course.step(from_s, neutral_us)
    at_s = from_s + armed_s(drive, rehearsal, LEARNT_FRAME_MS) + READY_S
    way = draws.index("way", 2)
    shares = draws.pick("shares", SHARES)
    for turn in range(2):
        full_us = at.toward(drive, way ^ turn)
        for k, share in enumerate((*shares, 1.0)):
            course.step(at_s, width_at(drive, neutral_us, full_us, share))
            at_s += HOLD_S if k else START_S
        course.step(at_s, neutral_us)
        at_s += STOP_S
    course.end_s = round(at_s, 4)
    return course
