"""What slows the rotor: propeller, friction; what braking may give back."""

from __future__ import annotations

import math
from collections.abc import Iterator

from dryspin.plant.parameters import PlantInput

from ..plant.bench_motor import BUS_V, MOTOR, at, motor, rpm
from .bench import go, steady_speed
from .check import Maker, Row, apart, check, share

KQ_10_INCH = 2.3495e-7
"""Nm s^2 of a 10 x 4.7 inch propeller in air, Cp 0.045 (from memory), 1.225 kg/m^3."""


def retarding_nm(make: Maker, kq: float, w: float, load_factor: float = 1.0, water: float = 0.0) -> float:
    """Torque that slows a coasting rotor, from the speed it loses in a microsecond."""
    plant = make(motor(fixed_speed=False, kq_nm_s2=kq), at(w))
    plant.input = PlantInput(BUS_V, load_factor=load_factor, water_rad_s=water)
    go(plant, 1e-6, (0, 0, 0))
    return MOTOR.j_kg_m2 * (w - plant.state.w_rad_s) / 1e-6


@check("propeller coefficients, Q = Cp rho n^2 D^5/(2 pi), an online propulsion-theory page; Cp from memory")
def propeller_of_ten_inches(make: Maker) -> Iterator[Row]:
    """0.1649 Nm and 138.1 W at 8000 rpm."""
    w = rpm(8000.0)
    nm = retarding_nm(make, KQ_10_INCH, w)
    by_coefficients = 0.045 * 1.225 * (8000.0 / 60.0) ** 2 * 0.254**5 / (2.0 * math.pi)
    yield share("torque of a propeller", by_coefficients, nm, 0.1, "formula")
    yield share("torque of a propeller", 0.1649, nm, 0.1, "worked value")
    yield share("power of a propeller", 138.1, nm * w, 0.1)


@check(
    'modellers\' rule P = 5.3e-15 rpm^3 d^4 pitch: S. Vorkoetter, "Motor Math", Sailplane & E. Modeler 4/2002'
)
def modellers_rule(make: Maker) -> Iterator[Row]:
    """127.5 W for 10 x 4.7 inches at 8000 rpm; two rules of thumb agree to 20 %."""
    w = rpm(8000.0)
    rule_w = 5.3e-15 * 8000.0**3 * 10.0**4 * 4.7
    yield share("power of a propeller by the rule", rule_w, retarding_nm(make, KQ_10_INCH, w) * w, 20.0)


@check("similarity: torque with the square of the speed, power with its cube, against the motion")
def propeller_law(make: Maker) -> Iterator[Row]:
    """Twice the speed, backwards, and with a factor."""
    slow, fast, back, half = (
        retarding_nm(make, 1e-7, w, factor)
        for w, factor in ((400.0, 1.0), (800.0, 1.0), (-800.0, 1.0), (800.0, 0.5))
    )
    # the speed lost within the microsecond is the error
    yield share("torque at twice the speed", 4.0 * slow, fast, 1e-3)
    yield share("torque backwards", -fast, back, 1e-6)
    yield share("torque at half the load factor", 0.5 * fast, half, 1e-3)


@check("the same law against water that flows past: kq (w - w_water)|w - w_water|")
def propeller_in_moving_water(make: Maker) -> Iterator[Row]:
    """Slowed by what it is faster than the water, driven by what it is slower; settles sqrt(Tc/kq) behind."""
    nm = retarding_nm(make, 1e-7, 500.0, 2.0, 200.0)
    yield share("torque against water", 2e-7 * 300.0**2, nm, 1e-3, "faster than the water")
    nm = retarding_nm(make, 1e-7, 500.0, 1.0, 900.0)
    yield share("torque against water", -1e-7 * 400.0**2, nm, 1e-3, "slower than the water")
    water, kq, coulomb = 200.0, 1e-5, 25e-3
    for start in (400.0, 30.0):
        plant = make(motor(fixed_speed=False, kq_nm_s2=kq, coulomb_nm=coulomb, j_kg_m2=2e-6), at(start))
        plant.input = PlantInput(BUS_V, water_rad_s=water)
        go(plant, 0.04, (0, 0, 0))  # twenty time constants J/(2 kq (w_water - w))
        settled = water - math.sqrt(coulomb / kq)
        yield share(
            "speed of a propeller held turning by water",
            settled,
            plant.state.w_rad_s,
            0.1,
            f"from {start:.0f} rad/s",
        )


@check("root of kq w^2 + (kt^2/Rt) w + Tc = kt V/Rt, textbook")
def speed_of_a_loaded_drive(make: Maker) -> Iterator[Row]:
    """The brushed equivalent has no overlap, which costs about 6 f L of resistance: inductance / 50."""
    params = motor(fixed_speed=False, kq_nm_s2=1e-7, coulomb_nm=3e-3, l_h=MOTOR.l_h / 50.0)
    kt, r = 2.0 * params.k_v_s, 2.0 * (params.r_ohm + params.r_on_ohm)
    a, b, c = 1e-7, kt * kt / r, 3e-3 - kt * BUS_V / r
    root = (-b + math.sqrt(b * b - 4.0 * a * c)) / (2.0 * a)
    yield share("speed of a loaded drive, L/50", root, steady_speed(make, params, PlantInput(BUS_V)), 2.0)


@check("circuit average: D V/kt synchronous (no load); duty of the terminal")
def speed_over_duty(make: Maker) -> Iterator[Row]:
    """Complementary chopping of a driven machine on its flats: no mean current at w = D V/kt.

    Current once settled, mean over one period, as a share of D V / R_ll.
    """
    duty, period_s, kt = 0.6, 1.0 / 31_372.5, 2.0 * 1.0 / 1e-3
    w = duty * 12.0 / kt
    plant = make(motor(k_v_s=1.0 / 1e-3, r_on_ohm=0.0, pole_pairs=1), at(w, 60.0, bus_v=12.0))
    mean_a, last_a, n_periods = 0.0, 0.0, 120
    for period in range(n_periods):
        for n in range(20):
            go(plant, (period + (n + 1) / 20.0) * period_s, (1 if n < 12 else 2, 2, 0))
            if period == n_periods - 1:
                mean_a += 0.5 * (last_a + plant.state.i_u_a) / 20.0
            last_a = plant.state.i_u_a
    yield apart("mean current at D V/kt", 0.0, mean_a / (duty * 12.0 / 0.2), 1e-3, "of stall")


@check("Coulomb and viscous friction: w = (w0 + Tc/B) exp(-B t/J) - Tc/B, textbook")
def coasting_to_rest(make: Maker) -> Iterator[Row]:
    """Speed on the way; rest at J/B ln(1 + B w0/Tc), and no motion after it."""
    j, b, coulomb, w_0 = 2e-6, 1e-5, 2e-3, 100.0
    plant = make(motor(fixed_speed=False, j_kg_m2=j, b_nm_s=b, coulomb_nm=coulomb), at(w_0))
    stop_s = j / b * math.log(1.0 + b * w_0 / coulomb)
    go(plant, 0.03, (0, 0, 0))
    expected = (w_0 + coulomb / b) * math.exp(-b * 0.03 / j) - coulomb / b
    yield share("speed of a coasting rotor", expected, plant.state.w_rad_s, 1e-4)
    go(plant, stop_s - 1e-6, (0, 0, 0))
    yield apart("turns until it stops", 1.0, float(0.0 < plant.state.w_rad_s < 2e-3), 0.0, "")
    go(plant, stop_s + 1e-6, (0, 0, 0))
    rest_rad = plant.state.theta_rad
    go(plant, stop_s + 0.1, (0, 0, 0))
    yield apart("speed of a rotor that has stopped", 0.0, plant.state.w_rad_s, 0.0, "rad/s")
    yield apart("way of a rotor that has stopped", 0.0, plant.state.theta_rad - rest_rad, 0.0, "rad")


@check("conservation of energy; over-voltage in braking: onlinedocs.microchip.com GUID-75463A18 sec. 13.25.1")
def braking_into_a_supply_that_cannot_sink(make: Maker) -> Iterator[Row]:
    """1/2 C (V2^2 - V1^2) is at most 1/2 J (w0^2 - w1^2); short-brake chopping, a boost converter, gets most
    of it there: between 0.3 and 1."""
    params = motor(stiff=False, sinks=False, fixed_speed=False, r_supply_ohm=0.03, c_bus_f=1e-3)
    plant = make(params, at(rpm(8000.0)))
    before = plant.state
    for n in range(100):
        go(plant, n * 50e-6 + 35e-6, (2, 2, 2))
        go(plant, (n + 1) * 50e-6, (0, 0, 0))
    go(plant, plant.state.t_s + 1e-3, (0, 0, 0))
    after = plant.state
    rotor_j = 0.5 * params.j_kg_m2 * (before.w_rad_s**2 - after.w_rad_s**2)
    bus_j = 0.5 * params.c_bus_f * (after.v_bus_v**2 - before.v_bus_v**2)
    yield apart("share of the rotor's energy that lifts the bus", 0.65, bus_j / rotor_j, 0.35, "of 1")
    yield apart("bus is lifted by more than 2 V", 1.0, float(after.v_bus_v > BUS_V + 2.0), 0.0, "")
