"""Bridge and bus: ripple, dead time, freewheeling, plugging, capacitor and its series resistance.

Worked values: 12 V, 10 A, 16 kHz, 330 uF, 50 mohm of ESR, duty 0.5. A winding of 1 H without resistance
stands for the constant current of a textbook.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

from dryspin.plant.parameters import PlantInput

from ..plant.bench_motor import BUS_V, MOTOR, at, motor
from .bench import go, shape_of_each
from .check import Maker, Plant, Row, apart, check, share

ESR_OHM, C_F, F_HZ, I_A, V_V = 0.050, 330e-6, 16e3, 10.0, 12.0
FEED_OHM = 1000.0
"""Of a source that goes on giving the mean current whatever the bus does: the textbook's feed inductance."""
RIPPLE = "J. Sachs, ripple series part III 2013, for the principle; formula is circuit arithmetic"


def choke(make: Maker, feed_a: float, **changes: Any) -> Plant:
    """10 A that do not change, and a source that feeds `feed_a`."""
    values: dict[str, Any] = {
        **{"r_ohm": 0.0, "r_on_ohm": 0.0, "v_f_v": 0.0, "l_h": 1.0, "esr_ohm": ESR_OHM},
        **{"stiff": False, "r_supply_ohm": FEED_OHM, "c_bus_f": C_F},
    }
    plant = make(motor(**(values | changes)), at(i=(I_A, -I_A, 0.0), bus_v=V_V))
    plant.input = PlantInput(V_V + feed_a * FEED_OHM)
    return plant


@check(RIPPLE)
def step_of_the_bus_over_the_esr(make: Maker) -> Iterator[Row]:
    """I ESR = 10 A x 50 mohm = 0.5 V when the high FET closes."""
    plant = choke(make, feed_a=0.0)
    go(plant, 1e-6, (0, 2, 0))
    before_v = plant.state.v_bus_v
    go(plant, 1e-6, (1, 2, 0))
    yield share("step of the bus over the ESR", 0.5, before_v - plant.state.v_bus_v, 1.0)


@check("current divider of ESR and source")
def esr_beside_the_source(make: Maker) -> Iterator[Row]:
    """With a source of 25 mohm the bus drops by I (ESR || Rb)."""
    plant = choke(make, feed_a=0.0, r_supply_ohm=0.025)
    plant.input = PlantInput(V_V)
    go(plant, 1e-9, (1, 2, 0))
    expected = I_A * ESR_OHM * 0.025 / (ESR_OHM + 0.025)
    yield share("step of a fed bus over the ESR", expected, V_V - plant.state.v_bus_v, 1e-2)


@check(RIPPLE)
def droop_of_the_link_capacitor(make: Maker) -> Iterator[Row]:
    """I D (1 - D)/(f C) = 0.473 V at D = 0.5, without ESR."""
    plant = choke(make, feed_a=I_A / 2.0, esr_ohm=0.0)
    volts = []
    for n in range(20):
        go(plant, (n + 1) * 0.5 / F_HZ, (1 if n % 2 == 0 else 0, 2, 0))
        volts.append(plant.state.v_bus_v)
    droop_v = sum(abs(two - one) for one, two in pairwise(volts)) / 19.0
    yield share("droop of the link capacitor", 0.473, droop_v, 1.0)


@check('J. Sachs, H-bridge ripple series 2013 ("simple triangle wave"); V D (1 - D)/(L_ll f)')
def ripple_of_the_winding(make: Maker) -> Iterator[Row]:
    """0.335 A with 0.56 mH, 3.75 A with 50 uH, at D = 0.5; complementary, rotor locked, V = 12 V, 16 kHz."""
    for l_ll, ripple_a in ((0.56e-3, 0.335), (50e-6, 3.75)):
        # a resistance of 40 time constants to the period bends nothing, and settles within the run
        r_ll = l_ll * F_HZ / 40.0
        mean_a = 0.5 * V_V / r_ll
        params = motor(l_h=l_ll / 2.0, r_ohm=r_ll / 2.0, r_on_ohm=0.0)
        plant = make(params, at(i=(mean_a, -mean_a, 0.0), bus_v=V_V))
        go(plant, 0.25 / F_HZ, (1, 2, 0))  # half of an on-time: from the mean to the top
        top_a = plant.state.i_u_a
        go(plant, 0.75 / F_HZ, (2, 2, 0))
        yield share(
            "ripple of the winding current", ripple_a, top_a - plant.state.i_u_a, 1.0, f"{l_ll * 1e6:.0f} uH"
        )


@check("inverter literature (from memory): td f V against the current")
def voltage_lost_to_dead_time(make: Maker) -> Iterator[Row]:
    """0.5 us of dead time at 16 kHz and 12 V: 96 mV, as an ideal diode takes over.

    From the current lost over ten periods in an inductance, against a run without dead time.
    """

    def gained_a(dead_s: float) -> float:
        params = motor(r_ohm=0.0, r_on_ohm=0.0, v_f_v=0.0, l_h=10e-3)
        plant = make(params, at(i=(I_A, -I_A, 0.0), bus_v=V_V))
        for n in range(10):
            on_s, off_s = (n + 0.5) / F_HZ, (n + 1) / F_HZ
            for until_s, gate in ((n / F_HZ + dead_s, 0), (on_s, 1), (on_s + dead_s, 0), (off_s, 2)):
                go(plant, until_s, (gate, 2, 0))
        return float(plant.state.i_u_a) - I_A

    volts = (gained_a(0.0) - gained_a(0.5e-6)) * 20e-3 / (10.0 / F_HZ)
    yield share("voltage lost to dead time", 0.096, volts, 1.0)


@check("closed form: (i0 + Vf/2Rt) exp(-t/tau) - Vf/2Rt through diode and FET")
def freewheeling_current(make: Maker) -> Iterator[Row]:
    """Low diode and low FET, high diode and high FET; zero at tau ln(1 + 2 Rt i0/Vf), and stays."""
    rt, i_0 = MOTOR.r_ohm + MOTOR.r_on_ohm, 20.0
    tau, floor = MOTOR.l_h / rt, MOTOR.v_f_v / (2.0 * rt)
    for side, gates, sign in (("low", (0, 2, 0), 1.0), ("high", (0, 1, 0), -1.0)):
        plant = make(MOTOR, at(i=(sign * i_0, -sign * i_0, 0.0)))
        for t_us in (50.0, 200.0, 400.0):
            go(plant, t_us * 1e-6, gates)
            expected = sign * ((i_0 + floor) * math.exp(-t_us * 1e-6 / tau) - floor)
            yield share(
                "freewheeling current", expected, plant.state.i_u_a, 1e-3, f"{side} side, {t_us:.0f} us"
            )
        end_s = tau * math.log(1.0 + i_0 / floor)
        go(plant, end_s - 0.01e-6, gates)
        yield apart("flows 10 ns before its end", 1.0, float(plant.state.i_u_a != 0.0), 0.0, "", side)
        go(plant, end_s + 0.01e-6, gates)
        yield apart("freewheeling current after its end", 0.0, plant.state.i_u_a, 0.0, "A", side)


@check("closed form: against V + 2 Vf")
def current_returned_to_the_bus(make: Maker) -> Iterator[Row]:
    """All gates opened at 20 A: zero at tau ln(1 + 2 Rt i0/(V + 2 Vf))."""
    rt, i_0 = MOTOR.r_ohm + MOTOR.r_on_ohm, 20.0
    tau, floor = MOTOR.l_h / rt, (BUS_V + 2.0 * MOTOR.v_f_v) / (2.0 * rt)
    end_s = tau * math.log(1.0 + i_0 / floor)
    plant = make(MOTOR, at(i=(i_0, -i_0, 0.0)))
    go(plant, end_s / 2.0, (0, 0, 0))
    expected = (i_0 + floor) * math.exp(-end_s / 2.0 / tau) - floor
    yield share("current into the bus, half way", expected, plant.state.i_u_a, 1e-3)
    go(plant, end_s - 0.01e-6, (0, 0, 0))
    yield apart("flows 10 ns before its end", 1.0, float(plant.state.i_u_a != 0.0), 0.0, "")
    go(plant, end_s + 0.01e-6, (0, 0, 0))
    yield apart("current into the bus after its end", 0.0, plant.state.i_u_a, 0.0, "A")


@check("closed form: V/2Rt (1 - exp(-t/tau)), and half the bus at the open phase")
def current_of_a_locked_rotor(make: Maker) -> Iterator[Row]:
    """Two phases in series on the bus."""
    rt = MOTOR.r_ohm + MOTOR.r_on_ohm
    plant = make(MOTOR, at())
    for t_us in (10.0, 100.0, 300.0, 1000.0):
        go(plant, t_us * 1e-6, (1, 2, 0))
        expected = BUS_V / (2.0 * rt) * (1.0 - math.exp(-t_us * 1e-6 * rt / MOTOR.l_h))
        yield share("current of a locked rotor", expected, plant.state.i_u_a, 1e-3, f"{t_us:.0f} us")
    yield apart("open phase of a locked rotor", BUS_V / 2.0, plant.terminal_voltages()[2], 1e-6, "V")


@check("plugging, (V + E_ll)/R_ll: up to twice the stall current (from the same equation, qastack 56170)")
def plugging_current(make: Maker) -> Iterator[Row]:
    """Driven against its EMF, both phases on their flats; a slow rotor of large EMF constant stays there."""
    for emf_v in (3.0, 6.0):
        w = 1e-3
        params = motor(k_v_s=emf_v / w, r_on_ohm=0.0, pole_pairs=1)
        plant = make(params, at(w, 60.0, bus_v=V_V))
        go(plant, 10e-3, (2, 1, 0))
        expected = (V_V + 2.0 * emf_v) / (2.0 * params.r_ohm)
        yield share("plugging current", expected, -plant.state.i_u_a, 1e-2, f"E {emf_v} V")


@check("Kirchhoff: braked on one rail, i = -e/Rt for each phase once settled")
def braking_current(make: Maker) -> Iterator[Row]:
    """All low and all high; U and V on their flats, W at its crossing, a slow rotor."""
    w = 1e-3
    params = motor(k_v_s=3.0 / w, r_on_ohm=0.0, pole_pairs=1)
    for rail, gates in (("low", (2, 2, 2)), ("high", (1, 1, 1))):
        plant = make(params, at(w, 60.0))
        go(plant, 10e-3, gates)
        yield share("braking current", -3.0 / params.r_ohm, plant.state.i_u_a, 1e-2, f"all {rail}")
        f_w = shape_of_each(params, plant.state.theta_rad)[2]
        yield apart(
            "braking current of a phase at its crossing",
            -3.0 * f_w / params.r_ohm,
            plant.state.i_w_a,
            1e-2,
            "A",
            f"all {rail}",
        )


@check("mirror symmetry of bridge and machine: low-side chopping is high-side chopping upside down")
def one_sided_chopping_of_either_side(make: Maker) -> Iterator[Row]:
    """Half a turn on, with high and low exchanged, all currents change sign and v becomes V - v."""
    w = 300.0
    seen = []
    for degrees, on, off, flip in ((35.0, (1, 2, 0), (0, 2, 0), 1.0), (215.0, (2, 1, 0), (0, 1, 0), -1.0)):
        plant = make(MOTOR, at(w, degrees))
        samples = []
        for n in range(12):
            go(plant, n * 30e-6 + 20e-6, on)
            go(plant, (n + 1) * 30e-6, off)
            v = plant.terminal_voltages()
            volts = v if flip > 0.0 else tuple(BUS_V - x for x in v)
            samples.append((flip * plant.state.i_u_a, flip * plant.state.i_w_a, volts[0], volts[2]))
        seen.append(samples)
    for n, (one, two) in enumerate(zip(*seen, strict=True)):
        for what, unit, k in (
            ("current of U", "A", 0),
            ("current of W", "A", 1),
            ("terminal U", "V", 2),
            ("terminal W", "V", 3),
        ):
            yield apart(
                f"low-side against high-side chopping, {what}", one[k], two[k], 1e-5, unit, f"period {n}"
            )
