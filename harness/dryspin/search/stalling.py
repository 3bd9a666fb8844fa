"""Synchronism: a rotor that is torn out of step, and let go again."""

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
        # Half stick has about half the torque; the rotor's momentum comes on top.
        torque_nm = draws.pick("torque", (0.7, 0.65, 0.8)) * stall_torque_nm(drive) * (0.5 + 0.5 * size)
        torque_nm = round(torque_nm, 3) * (-1.0 if way else 1.0)
        until_s = stall_s + ONSET_S + draws.pick("held", (0.1, 0.08, 0.12))
        trace = ((0.0, 0.0), (stall_s, 0.0), (stall_s + ONSET_S, torque_nm), (until_s, torque_nm))
        course.load_nm = tuple((round(t_s, 4), nm) for t_s, nm in (*trace, (until_s + ONSET_S, 0.0)))
    move = draws.index("move", 14)
    if move == RARE:
        course.step(stall_s + 0.1 + draws.index("moved", 10) * 0.1, stick.neutral_us)
    elif move == RARE + 1:
        course.step(stall_s + 0.1 + draws.index("moved", 10) * 0.1, stick.demand(1 - way, size))
    course.end_s = stall_s + AFTER_S
    return course


def stall_torque_nm(drive: Drive) -> float:
    """Torque of a locked rotor at full duty, Nm: kt V / R, two phases and two FETs in series (textbook)."""
    r_ohm = 2.0 * (drive.motor.r_phase_ohm.nominal + drive.bridge.r_on_ohm.nominal)
    r_ohm += drive.supply.r_ohm.nominal
    return drive.motor.kt_nm_per_a * drive.supply.v_v.nominal / r_ohm
