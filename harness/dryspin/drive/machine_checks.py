"""What the numbers of the machine must keep between them: back-EMF, windings, friction, time constants."""

import math
from collections.abc import Iterator

from dryspin.drive.model import Drive, Motor
from dryspin.drive.problem import Check, Problem
from dryspin.units import k_phase_from_kv, rad_s_from_rpm

WINDING_S, BUS_S, ROTOR_S, SENSE_S = 1e-6, 1e-7, 1e-4, 1e-7
"""Shortest time constants of a drive that exists: a 20 uH, 1 ohm ironless winding has 20 us; 10 uF behind
10 milliohm has 0.1 us; a rotor does not follow within three carrier periods; a divider of some 10
kiloohm and the 10 pF of a pin have 0.1 us. No source. Shorter ones come from slips of powers of ten, and
a run of them does not end."""

PEAK_WITHIN, MEAN_WITHIN, ZERO_WITHIN_DEG = 0.1, 0.02, 10.0
"""How well a measured back-EMF must be scaled, free of offset, and begun at its zero. House rule, no
source: more than what an oscilloscope's cursor and gain are off by, less than what shifts a commutation
by a third of its 30 degrees."""


def back_emf_has_its_table(drive: Drive) -> Iterator[Problem]:
    """A table belongs to the shape that is read from it, and to no other."""
    motor = drive.motor
    if motor.back_emf == "table" and not motor.back_emf_table:
        yield Problem(
            "motor",
            "back_emf",
            ' = "table": back_emf_table is missing. Give the back-EMF of phase U at equal steps over one '
            "electrical turn, with a peak of 1.",
        )
    elif motor.back_emf != "table" and motor.back_emf_table:
        yield Problem(
            "motor",
            "back_emf_table",
            f': back_emf = "{motor.back_emf}" does not use it. Write "table" there, or remove the table.',
        )


def back_emf_table_is_one_turn(drive: Drive) -> Iterator[Problem]:
    """Peak 1, since kv states the scale; mean 0, since the flux comes back after a turn; zero at the begin.

    The fundamental, sum of f_k exp(-2 pi j k / n), is that of a sine where the turn begins at a rising
    zero. Where it is not, the angle of the whole machine would be off.
    """
    table = drive.motor.back_emf_table
    if not table:
        return
    n = len(table)
    peak, mean = max(map(abs, table)), math.fsum(table) / n
    sine = math.fsum(f * math.sin(2.0 * math.pi * k / n) for k, f in enumerate(table))
    cosine = math.fsum(f * math.cos(2.0 * math.pi * k / n) for k, f in enumerate(table))
    late_deg = math.degrees(math.atan2(cosine, sine)) % 360.0
    if abs(peak - 1.0) > PEAK_WITHIN:
        text = f" has a peak of {peak:g}: the peak is what kv_rpm_per_v states. Scale it to 1."
    elif abs(mean) > MEAN_WITHIN:
        text = (
            f" has a mean of {mean:.3g}: over a turn the flux of a winding comes back to what it was, so its "
            "back-EMF has none. Take the offset away, and give exactly one electrical turn."
        )
    elif ZERO_WITHIN_DEG < late_deg < 360.0 - ZERO_WITHIN_DEG:
        text = (
            f" begins {late_deg:.0f} degrees after its fundamental rises through zero. Begin the turn "
            "there; for a phase that was probed the other way round change all signs."
        )
    else:
        return
    yield Problem("motor", "back_emf_table", text)


def least_inductance_h(motor: Motor) -> float:
    """Least inductance that any pattern of currents adding up to zero meets (H), at l_phase_h's lowest.

    The smaller eigenvalue of the inductance matrix in the plane of such currents, spanned by
    (1, -1, 0) / sqrt 2 and (1, 1, -2) / sqrt 6; at or below zero the windings would give energy out of
    nothing.
    """
    l_u, l_v, l_w = (factor * motor.l_phase_h.low for factor in motor.l_factors)
    m_uv, m_vw, m_wu = motor.mutual_h
    a = (l_u + l_v) / 2.0 - m_uv
    b = (l_u + l_v + 4.0 * l_w + 2.0 * m_uv - 4.0 * (m_vw + m_wu)) / 6.0
    c = (l_u - l_v + 2.0 * (m_vw - m_wu)) / math.sqrt(12.0)
    return (a + b) / 2.0 - math.hypot((a - b) / 2.0, c)


def windings_store_energy(drive: Drive) -> Iterator[Problem]:
    """For any currents with sum zero the windings' energy i L i / 2 is positive."""
    motor = drive.motor
    m_uv, m_vw, m_wu = motor.mutual_h
    if not least_inductance_h(motor) > 0.0:
        yield Problem(
            "motor",
            "mutual_h",
            f" = [{m_uv:g}, {m_vw:g}, {m_wu:g}] H beside l_phase_h = {motor.l_phase_h.low:g} H: some "
            "currents would store negative energy. Give deviations from the common mutual inductance, a few "
            "per cent of l_phase_h.",
        )


def rotor_rests_as_firmly_as_it_brakes(drive: Drive) -> Iterator[Problem]:
    """Breaking away takes no less than the friction that follows."""
    load = drive.load
    if load.static_nm is not None and load.static_nm.low < load.coulomb_nm.low:
        yield Problem(
            "load",
            "static_nm",
            f" = {load.static_nm.low:g} Nm at its lowest is below coulomb_nm = {load.coulomb_nm.low:g} Nm: a "
            "rotor at rest would break away by less than what then brakes it. Raise it, or remove it.",
        )


def time_constants_are_those_of_a_drive(drive: Drive) -> Iterator[Problem]:
    """L/R of the winding, R C of the bus, J of the rotor over its torque per speed, each at its shortest."""
    motor, load, supply, bridge = drive.motor, drive.load, drive.supply, drive.bridge
    slope_ohm = 0.0 if bridge.diode_slope_ohm is None else bridge.diode_slope_ohm.high
    switch_ohm = max(bridge.r_on_ohm.high, slope_ohm)
    r_ohm = motor.r_phase_ohm.high * max(motor.r_factors) + switch_ohm
    k_v_s = k_phase_from_kv(motor.kv_rpm_per_v.low) * max(motor.k_factors)
    w_rad_s = rad_s_from_rpm(motor.kv_rpm_per_v.high / min(motor.k_factors) * supply.v_v.high)
    damping_nm_s = (
        2.0 * k_v_s**2 / (motor.r_phase_ohm.low * min(motor.r_factors) + bridge.r_on_ohm.low)
        + load.viscous_nm_s.high
        + 2.0 * load.kq_nm_s2.high * w_rad_s
    )
    winding_s = least_inductance_h(motor) / r_ohm
    bus_s = supply.r_ohm.low * supply.c_f.low
    rotor_s = motor.j_kg_m2.low / damping_nm_s
    for table, key, name, least_s, seen_s in (
        ("motor", "l_phase_h", "winding, l_phase_h / (r_phase_ohm + r_on_ohm)", WINDING_S, winding_s),
        ("supply", "c_f", "bus, r_ohm c_f", BUS_S, bus_s),
        ("motor", "j_kg_m2", "rotor, j_kg_m2 over back-EMF, friction and propeller", ROTOR_S, rotor_s),
    ):
        if seen_s < least_s:
            yield Problem(
                table,
                key,
                f": the time constant of the {name}, is {seen_s:.3g} s at its shortest; no drive has less "
                f"than {least_s:g} s. Look for a slip in the powers of ten.",
            )


def sense_filter_is_one(drive: Drive) -> Iterator[Problem]:
    """A low-pass that is fitted is slower than what no board is without."""
    tau_s = drive.sense.tau_s
    if tau_s.high > 0.0 and tau_s.low < SENSE_S:
        yield Problem(
            "sense",
            "tau_s",
            f" = {tau_s.low:g} s at its lowest is below {SENSE_S:g} s, what divider and pin have without a "
            "capacitor. Write 0 for no low-pass, or look for a slip in the powers of ten.",
        )


MACHINE_CHECKS: tuple[Check, ...] = (
    back_emf_has_its_table,
    back_emf_table_is_one_turn,
    windings_store_energy,
    rotor_rests_as_firmly_as_it_brakes,
    time_constants_are_those_of_a_drive,
    sense_filter_is_one,
)
