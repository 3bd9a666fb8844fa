"""Terminals of many moments at once are those of compiled plant and equations, which share no code."""

import math
from dataclasses import replace

import numpy as np
import pytest

from dryspin.drive import load_drive
from dryspin.plant.emf import shape_of
from dryspin.plant.parameters import PlantInput, PlantParams, PlantState, plant_params
from dryspin.plant.terminals import emf_v, terminals_v
from dryspin.rig.twin import TwinPlant
from dryspin.scenario import Scenario

from ..search.subject import BOW_THRUSTER

PARAMS = plant_params(
    load_drive(BOW_THRUSTER / "drive.toml"),
    Scenario(seed=0, end_s=1.0, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 1500.0),)),
)

UNEQUAL = replace(PARAMS, r_factors=(1.2, 0.9, 1.0), l_factors=(1.1, 1.0, 0.95), m_h=(2e-6, 0.0, -1e-6))

# All off, a pair driven, its off-time, all low, one low, the other pair: with diodes in between.
PATTERNS = ((0, 0, 0), (1, 2, 0), (0, 2, 0), (2, 2, 2), (0, 0, 2), (2, 1, 0), (0, 0, 0), (0, 2, 1))


@pytest.mark.parametrize(
    ("name", "params", "rpm"),
    [
        ("usual", PARAMS, 6000.0),
        ("backwards", PARAMS, -6000.0),
        ("faster than the bus", PARAMS, 16000.0),
        ("unequal", UNEQUAL, 6000.0),
        ("sine", replace(PARAMS, shape="sine", third_harmonic=0.1), 6000.0),
        ("lead broken", replace(PARAMS, broken=(False, True, False)), 6000.0),
    ],
)  # fmt: skip
def test_terminals_are_those_of_the_compiled_plant(name: str, params: PlantParams, rpm: float) -> None:
    """Over FETs, diodes and floating stars, after every 7 us of changing gates."""
    state = PlantState(0.0, 0.0, 0.0, 0.0, 11.1, rpm * math.pi / 30.0, 0.3)
    plant = TwinPlant(params, state)
    plant.input = PlantInput(v_supply_v=11.1)
    rows, seen = [], []
    kinds = set()
    for k in range(240):
        gates = PATTERNS[k // 9 % len(PATTERNS)]
        before = plant.state
        while plant.state.t_s < (k + 1) * 7e-6 - 1e-12:
            before = plant.state
            plant.advance((k + 1) * 7e-6, gates)
        now = plant.state
        currents = np.array([now.i_u_a, now.i_v_a, now.i_w_a])
        began = np.array([before.i_u_a, before.i_v_a, before.i_w_a])
        # where a diode's current ended inside the piece, the recording would have had a state
        ended = (currents == 0.0) & (began != 0.0) & (np.array(gates) == 0)
        if np.any(ended):
            continue
        rows.append((gates, currents, (now.theta_rad, now.w_rad_s, now.v_bus_v)))
        seen.append(plant.terminal_voltages())
        kinds |= {(gate, int(np.sign(i))) for gate, i in zip(gates, currents, strict=True)}
    gates_of, currents_of, rest = (np.array([row[k] for row in rows]) for k in range(3))
    emf = emf_v(params, rest[:, 0], rest[:, 1])
    told = terminals_v(params, gates_of, currents_of, currents_of, emf, rest[:, 2])

    assert kinds >= {(0, 0), (0, 1), (0, -1), (1, 1), (2, -1)}, name
    assert np.max(np.abs(told - np.array(seen))) < 1e-6


@pytest.mark.parametrize("shape", ["trapezoid", "sine", "table"])
def test_emf_is_that_of_the_equations(shape: str) -> None:
    """The model of record states each shape once, angle by angle."""
    table = tuple(math.sin(2 * math.pi * k / 36) for k in range(36)) if shape == "table" else ()
    params = replace(PARAMS, shape=shape, shape_table=table, third_harmonic=0.05, k_factors=(1.0, 0.9, 1.1))
    angles = np.linspace(-20.0, 20.0, 401)
    one, _ = shape_of(params)
    wanted = [[k * 100.0 * f for k, f in zip(params.k_phases_v_s, one(a), strict=True)] for a in angles]

    assert np.allclose(emf_v(params, angles, np.full(len(angles), 100.0)), wanted, atol=1e-9)
