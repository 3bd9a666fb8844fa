"""Synchronism: a rotor that is torn out of step, and let go again.

What jams a propeller, weed or a rope, brakes it but never drives it backwards: a torque like the
propeller's own, but so many times of it that all the motor has leaves the rotor next to no speed.
"""

import math

from dryspin.drive import Drive
from dryspin.search.course import RARE, Course, Stick, rite
from dryspin.search.draws import Draws
from dryspin.search.rehearsal import Rehearsal
from dryspin.search.streams import stream

SIZES = (0.5, 1.0, 0.75, 0.9)
"""Shares of the full stick: fast enough that a stop is a loss. With half of it a locked rotor draws half of
its current, so that no limit of the board ends what the firmware should end."""

RUN_S = 0.6
"""From the demand to the stall: start, and most of the run-up."""

ONSET_S = 0.02
"""A rope does not tighten in no time."""

AFTER_S = 2.6
"""A loss is let go, cools down, is braked, and is started anew within two seconds of the jam's end."""

JOINING = RARE + 2
"""The kind of mishap after which the water turns the rotor."""

CRAWLS_RPM = (100.0, 60.0, 150.0)
"""Speed at which the jam takes all the torque of a locked motor: no closed loop goes on so slowly."""


def synchronism(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """A run, then something in the propeller that stops it for a tenth of a second; rarely a supply gap.

    The stick stays where it is, so that the firmware must catch the rotor again; rarely it moves. Or the
    water turns the rotor on once it is free again, which leaves the firmware to join in; or the signal is
    lost meanwhile, after which nothing may turn.
    """
    stick = Stick(drive)
    course = rite(drive, draws, frame_ms, rehearsal)
    way = draws.index("way", 2)
    size = draws.pick("size", SIZES)
    course.step(course.end_s, stick.demand(way, size))
    course.begun(draws, course.end_s + RUN_S)
    stall_s = course.end_s + RUN_S + draws.index("later", 5) * 0.1 + draws.index("later ms", 50) / 1000.0
    gap = draws.index("gap", 12)
    course.aside = gap in (RARE, JOINING)
    if gap == JOINING and drive.load.kq_nm_s2.low > 0.0:
        course.load_nm = stream(drive, stall_s, way)
    if gap == RARE:
        course.fault("supply gap", stall_s, draws.pick("gap for", (30.0, 10.0, 60.0, 100.0)))
    else:
        until_s = stall_s + ONSET_S + draws.pick("held", (0.1, 0.08, 0.12))
        thick = jam_factor(drive, draws.pick("crawls", CRAWLS_RPM))
        trace = ((0.0, 1.0), (stall_s, 1.0), (stall_s + ONSET_S, thick), (until_s, thick))
        course.jam = tuple((round(t_s, 4), times) for t_s, times in (*trace, (until_s + ONSET_S, 1.0)))
    move = draws.index("move", 14)
    if move == RARE:
        course.step(stall_s + 0.1 + draws.index("moved", 10) * 0.1, stick.neutral_us)
    elif move == RARE + 1:
        course.step(stall_s + 0.1 + draws.index("moved", 10) * 0.1, stick.demand(1 - way, size))
    elif move == RARE + 2:
        # For longer than any gust of interference, and back before the pause between two tries is over.
        course.step(stall_s + 0.05, draws.pick("lost as", stick.bad_us))
        course.step(stall_s + 0.05 + draws.pick("lost", (0.35, 0.3, 0.4)), stick.demand(way, size))
    course.end_s = stall_s + AFTER_S
    return course


def jam_factor(drive: Drive, rpm: float) -> float:
    """Factor on the nominal propeller that takes the torque of a locked rotor at `rpm`.

    kt V / R (textbook), at the highest supply and the least resistance: no part of the drive has more.
    """
    r_ohm = 2.0 * (drive.motor.r_phase_ohm.low + drive.bridge.r_on_ohm.low) + drive.supply.r_ohm.low
    locked_nm = drive.motor.kt_nm_per_a * drive.supply.v_v.high / r_ohm
    w_rad_s = rpm * math.pi / 30.0
    kq_nm_s2 = drive.load.kq_nm_s2.nominal
    # A drive without a propeller has nothing to jam.
    return float(f"{locked_nm / (kq_nm_s2 * w_rad_s**2):.2g}") if kq_nm_s2 > 0.0 else 1.0
