"""Throttle map: positions held for long enough to be obeyed, and slow sweeps between them, both ways."""

from dryspin.drive import Drive
from dryspin.search.course import Course, Stick, rite
from dryspin.search.draws import Draws
from dryspin.search.rehearsal import Rehearsal

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

SWEEP_STEPS = 14
SWEEP_US = (2.0, 1.0, 3.0)
"""A sweep moves by this from frame to frame: less than a count of duty, about one, about two."""

SHARES = ((0.4, 0.7), (0.3, 0.6), (0.5, 0.8), (0.35, 0.9))
"""Two positions held each way; the sweep goes on from the first."""


def throttle_map(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """A rite, then each way: a position, a slow sweep, another position; full out once; rest in between."""
    stick = Stick(drive)
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
            course.step(at_s, stick.demand(way, 1.0))
            at_s += FULL_S
        course.step(at_s, stick.neutral_us + (-trim_us if turn else trim_us))
        at_s += STOP_S
    course.end_s = at_s + REST_S
    return course
