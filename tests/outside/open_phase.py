"""What the open phase and the comparator show, on-time and off-time, free and clamped."""

from __future__ import annotations

from collections.abc import Iterator

from ..plant.bench_motor import BUS_V, MOTOR, at, motor, rpm
from .bench import go, shape_of_each
from .check import Maker, Plant, Row, apart, check

AN2030 = "ST AN2030 p. 3: vc = V/2 + 3/2 ec (after J. Shao et al.); trapezoid: KVL"
FACTORS = (("trapezoid", 1.0, 2.0 / 3.0), ("sine", 1.5, 1.0))
"""(shape, factor of e at the open terminal, factor at the comparator)."""


def open_emf_v(plant: Plant) -> float:
    """EMF of W now, by the definition of its shape."""
    return plant.params.k_v_s * plant.state.w_rad_s * shape_of_each(plant.params, plant.state.theta_rad)[2]


def comparator_v(plant: Plant) -> float:
    """W against the mean of the terminals."""
    v = plant.terminal_voltages()
    return v[2] - sum(v) / 3.0


@check(AN2030)
def open_terminal_in_the_on_time(make: Maker) -> Iterator[Row]:
    """V/2 + e on the trapezoid, V/2 + 3/2 e on a sine, U at the bus and V at ground."""
    w = rpm(6000.0)
    for shape, factor, _ in FACTORS:
        for degrees in (48.0, 55.0, 65.0, 72.0):
            plant = make(motor(shape=shape), at(w, degrees))
            go(plant, 1e-9, (1, 2, 0))
            expected = BUS_V / 2.0 + factor * open_emf_v(plant)
            seen = plant.terminal_voltages()[2]
            yield apart("open terminal, on-time", expected, seen, 1e-6, "V", f"{shape} at {degrees:.0f} deg")


@check('"For PWM off time - Vphase = 3/2 e", vasilisks.wordpress.com; trapezoid, diode drop: KVL')
def open_terminal_in_the_off_time(make: Maker) -> Iterator[Row]:
    """e - Vf/2 on the trapezoid, 3/2 e - Vf/2 on a sine: V/2 is gone with the high FET."""
    w = rpm(3000.0)
    for shape, factor, _ in FACTORS:
        for degrees in (42.0, 48.0, 55.0):
            plant = make(motor(shape=shape), at(w, degrees, (5.0, -5.0, 0.0)))
            go(plant, 1e-9, (0, 2, 0))
            expected = factor * open_emf_v(plant) - MOTOR.v_f_v / 2.0
            seen = plant.terminal_voltages()[2]
            yield apart("open terminal, off-time", expected, seen, 1e-6, "V", f"{shape} at {degrees:.0f} deg")


@check("KVL, confirmed by a numerical integration apart from this project")
def comparator_input(make: Maker) -> Iterator[Row]:
    """2/3 e on the trapezoid, e on a sine, in the on-time as in the off-time."""
    w = rpm(3000.0)
    for shape, _, factor in FACTORS:
        for time, gates in (("on-time", (1, 2, 0)), ("off-time", (0, 2, 0))):
            for degrees in (42.0, 55.0):
                plant = make(motor(shape=shape), at(w, degrees, (5.0, -5.0, 0.0)))
                go(plant, 1e-9, gates)
                expected = factor * open_emf_v(plant)
                case = f"{shape}, {time}, {degrees:.0f} deg"
                yield apart("comparator input", expected, comparator_v(plant), 1e-6, "V", case)


@check("negative half ends at -Vf, vasilisks.wordpress.com; upper clamp by symmetry of the bridge")
def clamped_open_terminal(make: Maker) -> Iterator[Row]:
    """Off-time, negative EMF: -Vf. Overspeed, on-time, positive EMF: V + Vf. Both with a current."""
    slopeless = {"r_on_ohm": 1e-9}
    for shape in ("trapezoid", "sine"):
        plant = make(motor(shape=shape, **slopeless), at(rpm(6000.0), 75.0, (5.0, -5.0, 0.0)))
        go(plant, 1e-6, (0, 2, 0))
        yield apart(
            "open terminal clamped at ground", -MOTOR.v_f_v, plant.terminal_voltages()[2], 1e-6, "V", shape
        )
        yield apart(
            "its current has the low diode's direction", 1.0, float(plant.state.i_w_a > 0.0), 0.0, "", shape
        )
        plant = make(motor(shape=shape, **slopeless), at(rpm(25_000.0), 34.0, (5.0, -5.0, 0.0)))
        go(plant, 1e-6, (1, 2, 0))
        top_v = BUS_V + MOTOR.v_f_v
        yield apart("open terminal clamped at the bus", top_v, plant.terminal_voltages()[2], 1e-6, "V", shape)
        yield apart(
            "its current has the high diode's direction", 1.0, float(plant.state.i_w_a < 0.0), 0.0, "", shape
        )


@check("KVL and two diodes: all gates off, a machine feeds the bus above V + 2 Vf line to line")
def rectification_threshold(make: Maker) -> Iterator[Row]:
    """2 k w against V + 2 Vf, 0.01 % below and above: 14 000 rpm on this motor."""
    w_min = (BUS_V + 2.0 * MOTOR.v_f_v) / (2.0 * MOTOR.k_v_s)
    yield apart("threshold speed of this motor", 14_000.0, w_min / rpm(1.0), 1e-6, "rpm")
    for part, conducts in ((0.9999, 0.0), (1.0001, 1.0)):
        plant = make(MOTOR, at(w_min * part))
        flowed = 0.0
        for n in range(100):
            go(plant, (n + 1) * 5e-6, (0, 0, 0))
            flowed = max(flowed, float(plant.state.i_u_a != 0.0 or plant.state.i_v_a != 0.0))
        yield apart("coasting machine conducts", conducts, flowed, 0.0, "", f"{part} of the threshold")
