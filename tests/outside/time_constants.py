"""Time constants and temperatures from manuals and tutorials."""

from __future__ import annotations

import math
from collections.abc import Iterator

from ..plant.bench_motor import at, motor, rpm
from .bench import go, torque_nm
from .check import Maker, Row, apart, check, share


@check("servo manual, easymanua.ls/parker/ex-series p. 65: 14 mH / 1.63 ohm = 8.6 ms")
def electrical_time_constant(make: Maker) -> Iterator[Row]:
    """From the share of V / R reached after 8.6 ms; recomputed 8.589 ms."""
    plant = make(motor(r_ohm=1.63 / 2.0, l_h=14e-3 / 2.0, r_on_ohm=0.0), at(bus_v=24.0))
    go(plant, 8.6e-3, (1, 2, 0))
    reached = plant.state.i_u_a / (24.0 / 1.63)
    tau_s = -8.6e-3 / math.log(1.0 - reached)
    yield share("electrical time constant", 8.6e-3, tau_s, 0.5, "as published")
    yield share("electrical time constant", 14e-3 / 1.63, tau_s, 0.01, "as recomputed")


@check("same manual, sec. 3.2.8.2: 0.5 R J/Ke(rms)^2 = 1.3 ms")
def mechanical_time_constant_of_a_sine_machine(make: Maker) -> Iterator[Row]:
    """J 98e-5 kg m2, 81.7 Vrms per 1000 rpm, braked on one rail: T = -3/2 k^2 w/R; recomputed 1.312 ms.

    The formula leaves the inductance out, so the plant has a thousandth of it.
    """
    ke_rms = 81.7 / rpm(1000.0)
    params = motor(
        **{"k_v_s": ke_rms * math.sqrt(2.0 / 3.0), "r_ohm": 1.63 / 2.0, "l_h": 7e-6, "r_on_ohm": 0.0},
        **{"j_kg_m2": 98e-5, "fixed_speed": False, "shape": "sine", "pole_pairs": 5},
    )
    plant = make(params, at(rpm(300.0), bus_v=310.0))
    t_s = 1.3e-3
    go(plant, t_s, (2, 2, 2))
    tau_s = -t_s / math.log(plant.state.w_rad_s / rpm(300.0))
    yield apart("mechanical time constant, sine", 1.3, 1e3 * tau_s, 0.05, "ms", "as published")
    yield share("mechanical time constant, sine", 1.312e-3, tau_s, 1.0, "as recomputed")


@check('university control tutorial "DC motor speed" (userz.net, qeeebo.com; J from memory)')
def two_state_motor(make: Maker) -> Iterator[Row]:
    """K 0.01, R 1, L 0.5, b 0.1, J 0.01, 1 V: 0.1 rad/s, poles -2 and -10.

    Recomputed 0.09990 rad/s, -2.0025 and -9.9975. Two phases on their flats, which a rotor as slow as
    this does not leave, are the tutorial's motor. It is run a hundred times as fast: J and L divided by
    100 multiply both poles by 100 and leave the speed.
    """
    faster = 100.0
    j, b, k, r, ind = 0.01 / faster, 0.1, 0.01, 1.0, 0.5 / faster
    params = motor(
        **{"k_v_s": k / 2.0, "r_ohm": r / 2.0, "l_h": ind / 2.0, "r_on_ohm": 0.0, "pole_pairs": 1},
        **{"j_kg_m2": j, "b_nm_s": b, "fixed_speed": False},
    )
    plant = make(params, at(degrees=31.0, bus_v=1.0))
    slow, fast, final = -2.0025, -9.9975, 0.09990
    for t_s in (0.2, 0.5, 1.0, 2.0):
        go(plant, t_s / faster, (1, 2, 0))
        step = 1.0 - (fast * math.exp(slow * t_s) - slow * math.exp(fast * t_s)) / (fast - slow)
        yield share("speed of the two-state motor", final * step, plant.state.w_rad_s, 0.1, f"{t_s} s")
    go(plant, 5.0 / faster, (1, 2, 0))
    yield share("final speed of the two-state motor", 0.1, plant.state.w_rad_s, 0.2)


@check('copper, 234.5 rule: correction-factor table; "1/254.5 = 0.00393", electrical-engineering-portal.com')
def hot_winding(make: Maker) -> Iterator[Row]:
    """Stall current at 25 degrees over that at T."""

    def stall_a(factor: float) -> float:
        plant = make(motor(r_ohm=0.1 * factor, r_on_ohm=0.0), at())
        go(plant, 20e-3, (1, 2, 0))
        return float(plant.state.i_u_a)

    cold = stall_a(1.0)
    published = ((40.0, 1.058), (85.0, 1.231), (125.0, 1.385), (150.0, 1.482), (200.0, 1.674))
    for celsius, factor in published:
        seen = cold / stall_a((234.5 + celsius) / (234.5 + 25.0))
        yield share("resistance of a hot winding", factor, seen, 0.1, f"{celsius:.0f} deg C")


@check("10 ohm at 20 deg C are 15.109 ohm at 150 (TI SPRUHJ1)")
def hot_ten_ohms(make: Maker) -> Iterator[Row]:
    """R20 (1 + 0.00393 (T - 20)): what 15.109 V drive through it."""
    plant = make(motor(r_ohm=5.0 * (1.0 + 0.00393 * 130.0), r_on_ohm=0.0), at(bus_v=15.109))
    go(plant, 1e-3, (1, 2, 0))
    yield share("current through a hot winding", 1.0, plant.state.i_u_a, 0.1)


@check("rftools.io: 0.15 ohm at 25 deg C are 0.199 ohm at 110 (234.5 rule), 30 A: 180 W instead of 135 W")
def heat_of_a_hot_winding(make: Maker) -> Iterator[Row]:
    """I^2 R(T) of two phases in series, from what keeps 30 A flowing: V I at a locked rotor."""
    for celsius, watts in ((25.0, 135.0), (110.0, 180.0)):
        r_ohm = 0.15 * (234.5 + celsius) / (234.5 + 25.0)
        plant = make(motor(r_ohm=r_ohm / 2.0, r_on_ohm=0.0), at(bus_v=30.0 * r_ohm))
        go(plant, 20e-3, (1, 2, 0))
        yield share("heat of a winding", watts, 30.0 * r_ohm * plant.state.i_u_a, 1.0, f"{celsius:.0f} deg C")


@check("MIT 2.007 motor tutorial (lancet.mit.edu/motor/motors4.html): most power at half speed, half torque")
def greatest_power(make: Maker) -> Iterator[Row]:
    """P = w0 Ms/4 of three published torque lines, at half of the no-load speed: 5.105, 7.088, 3.854 W.

    A line fixes kt and R for any chosen voltage; the rotor is driven at half speed, phases on their flats.
    """
    for n0_rpm, stall_nm, watts in ((600.0, 0.325, 5.105), (3750.0, 0.0722, 7.088), (92.0, 1.6, 3.854)):
        volts = 12.0
        kt = volts / rpm(n0_rpm)
        r_ll = kt * volts / stall_nm
        w = rpm(n0_rpm / 2.0)
        params = motor(k_v_s=kt / 2.0, r_ohm=r_ll / 2.0, l_h=1e-5 * r_ll, r_on_ohm=0.0, pole_pairs=1)
        plant = make(params, at(w, 31.0, bus_v=volts))
        go(plant, 400e-6, (1, 2, 0))
        yield share(
            "greatest shaft power", watts, torque_nm(plant) * w, 0.5, f"{n0_rpm:.0f} rpm, {stall_nm} Nm"
        )


@check("exercise with answers recomputed (homeworklib q. 1976071): 12 V, 3800 rpm, 30 mNm, run at 2500 rpm")
def working_point_of_an_exercise(make: Maker) -> Iterator[Row]:
    """10.263 mNm, 0.3403 A, 4.084 W in, 2.687 W at the shaft, 1.397 W = I^2 R."""
    kt = 12.0 / rpm(3800.0)
    r_ll, w = kt * 12.0 / 30e-3, rpm(2500.0)
    params = motor(k_v_s=kt / 2.0, r_ohm=r_ll / 2.0, l_h=1e-5 * r_ll, r_on_ohm=0.0, pole_pairs=1)
    plant = make(params, at(w, 31.0, bus_v=12.0))
    go(plant, 400e-6, (1, 2, 0))
    i_a = plant.state.i_u_a
    for what, expected, seen in (
        ("torque", 10.263e-3, torque_nm(plant)),
        ("current", 0.3403, i_a),
        ("electrical power", 4.084, 12.0 * i_a),
        ("shaft power", 2.687, torque_nm(plant) * w),
        ("heat", 1.397, r_ll * i_a**2),
    ):
        yield share("working point of an exercise", expected, seen, 0.1, what)
