"""Sequence, crossings and frequencies of six-step, against published tables.

The gates come from `dryspin.plant.ideal`, which is what the sequences below are checked on; the
crossings are the plant's.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import product

from dryspin.plant import ideal

from ..plant.bench_motor import MOTOR, at, motor, rpm
from .bench import go, shape_of_each
from .check import Maker, Row, apart, check, share

NOTE = "vendor application note, onlinedocs.microchip.com GUID-78E22D6C sec. 8.2"
TABLE = "vendor data-sheet run-mode table, onlinedocs.microchip.com GUID-75463A18 sec. 13.21.1.6"


def pair(gates: tuple[int, int, int]) -> str:
    """Such as "A+B-", for gates that drive two phases; ABC = UVW."""
    return f"{'ABC'[gates.index(1)]}+{'ABC'[gates.index(2)]}-"


@check('a hobby electronics article: "BL AH, AH CL, CL BH, BH AL, AL CH, CH BL"')
def sequence_of_pairs(make: Maker) -> Iterator[Row]:
    """Each published pair in its turn, and in its sector it turns the rotor forward.

    From any angle of the sector, both phases being on their flats all through it.
    """
    published = ["A+B-", "A+C-", "B+C-", "B+A-", "C+A-", "C+B-"]
    seen = [pair(ideal.six_step_gates(sector)) for sector in range(6)]
    agree = sum(one == two for one, two in zip(seen, published, strict=True))
    yield apart("pairs of the sequence, agreeing", 6.0, float(agree), 0.0, "pairs")
    for sector, off in product(range(6), (-25.0, 0.0, 25.0)):
        plant = make(motor(fixed_speed=False), at(0.0, 60.0 + 60.0 * sector + off))
        go(plant, 100e-6, ideal.six_step_gates(sector))
        # J dw/dt = 2 k i on both flats; i = V/2Rt (1 - exp(-t/tau)) integrated
        rt = MOTOR.r_ohm + MOTOR.r_on_ohm
        tau = MOTOR.l_h / rt
        charge = 12.6 / (2.0 * rt) * (100e-6 - tau * (1.0 - math.exp(-100e-6 / tau)))
        w = 2.0 * MOTOR.k_v_s * charge / MOTOR.j_kg_m2
        # the EMF of the first 15 rad/s takes off a tenth of a percent of the current
        yield share(
            "speed after 100 us of a pair from rest",
            w,
            plant.state.w_rad_s,
            0.5,
            f"sector {sector}, {off:+.0f} deg",
        )


@check(TABLE)
def open_leg_of_each_pair(make: Maker) -> Iterator[Row]:
    """(high, low) -> open: (A,C) B; (B,C) A; (B,A) C; (C,A) B; (C,B) A; (A,B) C; no current in it."""
    published = {"AC": 1, "BC": 0, "BA": 2, "CA": 1, "CB": 0, "AB": 2}
    agree = 0
    for direction in (1, -1):
        for sector in range(6):
            gates = ideal.six_step_gates(sector, direction)
            names = "ABC"[gates.index(1)] + "ABC"[gates.index(2)]
            agree += published[names] == ideal.open_leg(sector) and gates[published[names]] == 0
            plant = make(MOTOR, at(0.0, 60.0 + 60.0 * sector))
            go(plant, 100e-6, gates)
            state = plant.state
            open_a = (state.i_u_a, state.i_v_a, state.i_w_a)[published[names]]
            yield apart("current of the open phase", 0.0, open_a, 0.0, "A", f"{names} on")
    yield apart("open phases of the table, agreeing", 12.0, float(agree), 0.0, "states")


def crossings(make: Maker, degrees: float, direction: int) -> list[tuple[float, int, int]]:
    """Last comparator edge of six sectors from a border on, driven at 6000 rpm: (degrees, leg, level)."""
    w = direction * rpm(6000.0)
    rad_s = MOTOR.pole_pairs * w
    plant = make(MOTOR, at(w, degrees))
    sector = math.floor((degrees + direction - 30.0) / 60.0)
    edges = []
    for n in range(1, 7):
        leg = ideal.open_leg(sector)
        plant.sense_leg = leg
        seen = go(plant, n * math.pi / 3.0 / abs(rad_s), ideal.six_step_gates(sector, direction))
        t_s, level = seen[-1] if seen else (math.nan, -1)
        edges.append((degrees + math.degrees(rad_s * t_s), leg, level))
        sector += direction
    return edges


@check(NOTE + "; polarity from the table of EMF slopes that follows from the published pairs")
def crossings_in_mid_step(make: Maker) -> Iterator[Row]:
    """30 degrees before commutation; falling W, rising V, falling U, ... forward, the reverse backwards."""
    for direction, start, legs, levels, angles in (
        (1, 30.0, [2, 1, 0, 2, 1, 0], [0, 1, 0, 1, 0, 1], (60, 120, 180, 240, 300, 360)),
        (-1, 390.0, [0, 1, 2, 0, 1, 2], [1, 0, 1, 0, 1, 0], (360, 300, 240, 180, 120, 60)),
    ):
        edges = crossings(make, start, direction)
        way = "forward" if direction > 0 else "reverse"
        agree = sum(
            (leg, level) == wanted
            for (_, leg, level), wanted in zip(edges, zip(legs, levels, strict=True), strict=True)
        )
        yield apart("sensed phase and polarity, agreeing", 6.0, float(agree), 0.0, "steps", way)
        for (angle, _, _), wanted_deg in zip(edges, angles, strict=True):
            yield apart("angle of a crossing", wanted_deg, angle, 1e-3, "el. deg", f"{way}, {wanted_deg}")


@check('"60,000rpm (4pole, 2000Hz) ... 150rpm (8pole, 10Hz)", TI E2E blog "Start your BLDC journey" II')
def frequency_of_the_emf(make: Maker) -> Iterator[Row]:
    """p n/60, from the comparator's rising crossings of a coasting, driven rotor."""
    for n_rpm, poles, hertz in ((60_000.0, 4, 2000.0), (150.0, 8, 10.0)):
        # an EMF of a volt at any speed: its size does not matter here
        params = motor(pole_pairs=poles // 2, k_v_s=1.0 / rpm(n_rpm))
        plant = make(params, at(rpm(n_rpm), 45.0))
        rising = [t_s for t_s, level in go(plant, 3.2 / hertz, (0, 0, 0)) if level == 1]
        yield share("frequency of the EMF", hertz, 1.0 / (rising[1] - rising[0]), 1e-4, f"{n_rpm:.0f} rpm")


@check("arithmetic: T_step = 10/(p n)")
def time_of_a_step(make: Maker) -> Iterator[Row]:
    """Between neighbouring crossings, one of each phase: 119.05, 47.62, 285.4 us."""
    for pole_pairs, n_rpm, step_us in ((7, 12_000.0, 119.05), (7, 30_000.0, 47.62), (8, 4380.0, 285.4)):
        w = rpm(n_rpm)
        times_us = []
        for leg, start in ((2, 45.0), (1, 105.0)):
            plant = make(motor(pole_pairs=pole_pairs, k_v_s=2.0 / w), at(w, start))
            plant.sense_leg = leg
            go(plant, 0.0, (0, 0, 0))
            edges = go(plant, 40e-6 if n_rpm > 20e3 else 140e-6, (0, 0, 0))
            times_us.append(edges[0][0] * 1e6 + (start - 45.0) / 360.0 * 6.0 * step_us)
        yield apart(
            "time of a step",
            step_us,
            times_us[1] - times_us[0],
            0.05,
            "us",
            f"{n_rpm:.0f} rpm, p {pole_pairs}",
        )


@check("definition of a 120-degree trapezoid; T = k (f_high - f_low) i")
def torque_over_the_angle(make: Maker) -> Iterator[Row]:
    """Two phases on the bus, locked at angles all round: from the speed gained in a microsecond of 10 A."""
    for degrees in range(0, 360, 15):
        params = motor(fixed_speed=False, r_ohm=0.0, r_on_ohm=0.0, l_h=1.0)
        plant = make(params, at(0.0, degrees + 0.01, (10.0, -10.0, 0.0)))
        f_u, f_v, _ = shape_of_each(params, plant.state.theta_rad)
        go(plant, 1e-6, (1, 2, 0))
        nm = params.j_kg_m2 * plant.state.w_rad_s / 1e-6
        expected = params.k_v_s * (f_u - f_v) * 10.0
        limit_nm = 2e-5 * 2.0 * params.k_v_s * 10.0
        yield apart("torque of a locked rotor", expected, nm, limit_nm, "Nm", f"{degrees} deg")
