"""Synchronism: a rotor that is torn out of step, and let go again.

What jams a propeller, weed or a rope, brakes it but never drives it backwards: the propeller's own
torque, some thousand times of it, which leaves a full-speed rotor some 300 rpm.
"""

from dryspin.drive import Drive
from dryspin.search.course import RARE, Course, Stick, rite
from dryspin.search.draws import Draws
from dryspin.search.rehearsal import Rehearsal

SIZES = (1.0, 0.5, 0.75, 0.9)
"""Shares of the full stick: fast enough that a stop is a loss."""

RUN_S = 0.6
"""From the demand to the stall: start, and most of the run-up."""

ONSET_S = 0.02
"""A rope does not tighten in no time."""

AFTER_S = 1.9
"""A loss is let go, cools down for half a second, is braked, and is started anew: all of it is to be seen."""


def synchronism(draws: Draws, drive: Drive, frame_ms: float, _: Rehearsal) -> Course:
    """A run, then something in the propeller that stops it for a tenth of a second; rarely a supply gap.

    The stick stays where it is, so that the firmware must catch the rotor again; rarely it moves.
    """
    stick = Stick(drive)
    course = rite(drive, draws, frame_ms)
    way = draws.index("way", 2)
    size = draws.pick("size", SIZES)
    course.step(course.end_s, stick.demand(way, size))
    stall_s = course.end_s + RUN_S + draws.index("later", 5) * 0.1 + draws.index("later ms", 50) / 1000.0
    if draws.index("gap", 12) == RARE:
        course.fault("supply gap", stall_s, draws.pick("gap for", (30.0, 10.0, 60.0, 100.0)))
    else:
        until_s = stall_s + ONSET_S + draws.pick("held", (0.1, 0.08, 0.12))
        thick = draws.pick("thick", (3000.0, 10000.0, 5000.0, 2000.0))
        trace = ((0.0, 1.0), (stall_s, 1.0), (stall_s + ONSET_S, thick), (until_s, thick))
        course.jam = tuple((round(t_s, 4), times) for t_s, times in (*trace, (until_s + ONSET_S, 1.0)))
    move = draws.index("move", 14)
    if move == RARE:
        course.step(stall_s + 0.1 + draws.index("moved", 10) * 0.1, stick.neutral_us)
    elif move == RARE + 1:
        course.step(stall_s + 0.1 + draws.index("moved", 10) * 0.1, stick.demand(1 - way, size))
    course.end_s = stall_s + AFTER_S
    return course
