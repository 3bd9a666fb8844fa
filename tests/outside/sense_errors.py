"""Errors of comparator and resistors as electrical degrees; lateness of a commutation that looks back."""

from __future__ import annotations

import math
from collections.abc import Iterator

from dryspin.plant.parameters import PlantInput

from ..plant.bench_motor import BUS_V, MOTOR, at, motor, rpm
from .bench import go
from .check import Maker, Row, apart, check, share

OFFSETS = "Vos/(ratio 2/3 2E/60 deg), computed for 1/4.7 and 1000 rpm/V; offsets: DS40002011A p. 385"


def crossed_late_deg(
    make: Maker, w: float, gates: tuple[int, int, int], bus_v: float, **changes: float
) -> float:
    """How far past 60 degrees W falls through the neutral, from 31 degrees on (NaN: not by 89)."""
    plant = make(motor(**changes), at(w, 31.0, bus_v=bus_v))
    plant.sense_leg = 2
    edges = go(plant, math.radians(58.0) / (MOTOR.pole_pairs * w), gates)
    falling = [t_s for t_s, level in edges if level == 0]
    if len(falling) != 1:
        return math.nan
    return math.degrees(MOTOR.pole_pairs * w * falling[0]) - 29.0


@check(OFFSETS)
def comparator_offset(make: Maker) -> Iterator[Row]:
    """10 and 40 mV at the pin. 40 mV at 500 rpm would be 33.8 degrees, beyond the ramp: no crossing there."""
    for millivolts, speed_rpm, degrees in (
        *((10.0, 500, 8.5), (10.0, 1000, 4.2), (10.0, 3000, 1.4)),
        *((40.0, 1000, 16.9), (40.0, 3000, 5.6)),
    ):
        w = rpm(speed_rpm)
        late = crossed_late_deg(make, w, (0, 0, 0), BUS_V, divider=1.0 / 4.7, offset_v=millivolts * 1e-3)
        case = f"{millivolts:.0f} mV, {speed_rpm} rpm"
        yield share("crossing late by the offset, published digits", degrees, late, 2.0, case)
        formula = millivolts * 1e-3 * 4.7 / (2.0 / 3.0 * 2.0 * MOTOR.k_v_s * w / 60.0)
        yield share("crossing late by the offset, formula", formula, late, 1e-3, case)
    late = crossed_late_deg(make, rpm(500), (0, 0, 0), BUS_V, divider=1.0 / 4.7, offset_v=40e-3)
    yield apart("crossing missing beyond the ramp", 1.0, float(math.isnan(late)), 0.0, "", "40 mV, 500 rpm")


@check("arithmetic on the divider: 1 % of V/2 at 12 V = 60 mV; no published measurement")
def resistor_mismatch(make: Maker) -> Iterator[Row]:
    """A line read 1 % too high, as an offset of 60 mV: 5.4 degrees at 1000 rpm, 1.8 at 3000.

    And where it crosses, the true terminal is indeed 1 % below the neutral (one resistor off, the
    neutral's own exact).
    """
    for speed_rpm, degrees in ((1000.0, 5.4), (3000.0, 1.8)):
        w = rpm(speed_rpm)
        late = crossed_late_deg(make, w, (1, 2, 0), 12.0, offset_v=0.01 * 6.0)
        yield share("crossing late by 1 % of mismatch", degrees, late, 2.0, f"{speed_rpm:.0f} rpm")
        plain = make(MOTOR, at(w, 31.0, bus_v=12.0))
        go(plain, math.radians(late + 29.0) / (MOTOR.pole_pairs * w), (1, 2, 0))
        v_u, v_v, v_w = plain.terminal_voltages()
        neutral_v = (v_u + v_v + v_w) / 3.0
        yield apart("line against neutral there", neutral_v, 1.01 * v_w, 2e-3, "V", f"{speed_rpm:.0f} rpm")


@check("VN = (PhA+PhB+PhC)/3, onlinedocs.microchip.com GUID-78E22D6C")
def virtual_neutral(make: Maker) -> Iterator[Row]:
    """Where the comparator falls, the phase is at the mean of the terminals, and at the true neutral."""
    plant = make(MOTOR, at(rpm(6000.0), 35.0))
    plant.sense_leg = 2
    while plant.advance(150e-6, (1, 2, 0))[1] is not None and plant.level == 1:
        pass
    v_u, v_v, v_w = plant.terminal_voltages()
    yield apart("open phase at its crossing", (v_u + v_v + v_w) / 3.0, v_w, 1e-6, "V", "virtual neutral")
    yield apart("open phase at its crossing", (v_u + v_v) / 2.0, v_w, 1e-6, "V", "true neutral")


@check(
    "kinematics of theta = w t + a t^2/2: exactly (3/8) a T^2; agrees with a simulation apart to 10 digits"
)
def lateness_under_acceleration(make: Maker) -> Iterator[Row]:
    """30 degrees waited for as half the last interval between crossings, at constant acceleration.

    Coasting without friction; a constant torque makes the acceleration.
    """
    for w, a in ((60.0, 1000.0), (100.0, 4000.0), (200.0, -3000.0)):
        params = motor(fixed_speed=False)
        plant = make(params, at(w, 45.0))
        plant.input = PlantInput(BUS_V, load_nm=-a * params.j_kg_m2)
        times = []
        for leg in (2, 1):  # W falls through the neutral at 60 degrees, V rises through it at 120
            plant.sense_leg = leg
            go(plant, plant.state.t_s, (0, 0, 0))  # past the jump of the multiplexer
            times.append(plant.advance(1.0, (0, 0, 0))[0])
        interval_s = times[1] - times[0]
        go(plant, times[1] + interval_s / 2.0, (0, 0, 0))
        late_rad = plant.state.theta_rad - math.radians(150.0)
        expected = 3.0 / 8.0 * params.pole_pairs * a * interval_s**2
        # 5 ns of error in finding a crossing are 7e-6 rad at the last of these speeds
        yield apart(
            "commutation late under acceleration", expected, late_rad, 1e-5, "rad", f"{a:.0f} rad/s^2"
        )


@check("first-order low-pass, textbook: atan(w RC)")
def filter_delay(make: Maker) -> Iterator[Row]:
    """A sine machine coasting behind diodes that never conduct, once the filters have settled."""
    tau_s = 20e-6
    for speed_rpm in (1000.0, 6000.0, 12000.0):
        rad_s = MOTOR.pole_pairs * rpm(speed_rpm)
        turn_s = 2.0 * math.pi / rad_s
        plant = make(motor(shape="sine", sense_tau_s=tau_s, v_f_v=50.0), at(rpm(speed_rpm), 0.0))
        edges = go(plant, 2.0 * turn_s + 10.0 * tau_s, (0, 0, 0))
        rising = [t_s for t_s, level in edges if level == 1 and t_s > 10.0 * tau_s]
        late_deg = math.degrees(rad_s * ((rising[-1] + 1e-9) % turn_s - 1e-9))
        yield share(
            "phase of the sense filter",
            math.degrees(math.atan(rad_s * tau_s)),
            late_deg,
            0.01,
            f"{speed_rpm:.0f} rpm",
        )
