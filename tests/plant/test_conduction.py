"""The laws of switches and diodes, and that they always leave exactly one way to conduct."""

import random
from itertools import product

import pytest

from dryspin.plant.conduction import (
    HIGH_DIODE,
    HIGH_FET,
    LAW_TOLERANCE_V,
    LOW_DIODE,
    LOW_FET,
    OPEN,
    candidates,
    violation_v,
)
from dryspin.plant.emf import trapezoid
from dryspin.plant.equations import EquationPlant, Gates
from dryspin.plant.machine import Machine
from dryspin.plant.parameters import PlantInput

from .bench_motor import at, go, motor


@pytest.mark.parametrize(
    ("gate", "i_a", "expected"),
    [
        (1, -3.0, (HIGH_FET,)),
        (2, 3.0, (LOW_FET,)),
        (0, 3.0, (LOW_DIODE,)),
        (0, -3.0, (HIGH_DIODE,)),
        (0, 0.0, (OPEN, LOW_DIODE, HIGH_DIODE)),
    ],
)
def test_current_finds_its_element(gate: int, i_a: float, expected: tuple[object, ...]) -> None:
    """Current into the motor can only come up from ground through the low diode, and the other way round."""
    assert candidates(gate, i_a) == expected


@pytest.mark.parametrize(
    ("element", "i_a", "l_di_dt_v", "v_v", "expected"),
    [
        (OPEN, 0.0, 0.0, 12.69, 0.0),
        (OPEN, 0.0, 0.0, 12.9, 0.2),
        (OPEN, 0.0, 0.0, -1.0, 0.3),
        (LOW_DIODE, 0.0, 0.5, -0.7, 0.0),
        (LOW_DIODE, 0.0, -0.5, -0.7, 0.5),
        (HIGH_DIODE, 0.0, 0.5, 12.7, 0.5),
        (HIGH_DIODE, -2.0, 0.5, 12.7, 0.0),
        (LOW_FET, -2.0, 0.5, 0.01, 0.0),
    ],
)
def test_broken_law_is_measured_in_volts(
    element: object, i_a: float, l_di_dt_v: float, v_v: float, expected: float
) -> None:
    """Bus 12 V, diodes 0.7 V: clamps at -0.7 and 12.7 V; a diode at zero current must be about to conduct."""
    assert violation_v(element, i_a, l_di_dt_v, v_v, 12.0, 0.7) == pytest.approx(expected, abs=1e-12)  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(25))
def test_exactly_one_combination_obeys_all_laws(seed: int) -> None:
    """Random drives under random legal gates: at every stop one combination is consistent, the one taken.

    With equal series resistances the open and the conducting answer agree in sign, so there is no
    second solution; a diode at zero current that does not begin to conduct is not one.
    """
    r = random.Random(seed)
    params = motor(
        stiff=r.random() < 0.3,
        sinks=r.random() < 0.5,
        fixed_speed=False,
        r_supply_ohm=r.uniform(0.01, 0.05),
        l_h=r.uniform(15e-6, 60e-6),
        coulomb_nm=r.choice([0.0, 2e-3]),
    )
    v_supply_v = r.uniform(8.0, 25.0)
    start = at(r.choice([0.0, r.uniform(-2000.0, 2000.0)]), r.uniform(0.0, 360.0), bus_v=v_supply_v)
    plant = EquationPlant(params, start)
    plant.input = PlantInput(v_supply_v)
    judge = Machine(params, trapezoid)
    judge.impose(plant.input)

    for _ in range(40):
        gates: Gates = (r.randrange(3), r.randrange(3), r.randrange(3))
        plant.sense_leg = r.randrange(3)
        go(plant, plant.state.t_s + r.uniform(1e-6, 200e-6), gates)
        s = plant.state
        y = (s.i_u_a, s.i_v_a, s.i_w_a, s.v_bus_v, s.w_rad_s, s.theta_rad)
        consistent = []
        for legs in product(*(candidates(gates[n], y[n]) for n in range(3))):
            equations = judge.equations(legs, 0.0, 1.0)  # type: ignore[arg-type]
            slopes, volts = equations.rates(*y), equations.terminals(*y)
            laws_v = [
                violation_v(leg, y[n], params.l_h * slopes[n], volts[n], s.v_bus_v, params.v_f_v)
                for n, leg in enumerate(legs)
            ]
            idle = any(
                leg.direction and y[n] == 0.0 and leg.direction * slopes[n] <= 0.0
                for n, leg in enumerate(legs)
            )
            if sum(laws_v) <= LAW_TOLERANCE_V and not idle:
                consistent.append(legs)
        assert consistent == [plant.conduction]
        assert s.i_u_a + s.i_v_a + s.i_w_a == pytest.approx(0.0, abs=1e-9)
