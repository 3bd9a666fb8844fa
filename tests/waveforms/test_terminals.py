"""What a probe on a terminal would show, from a recording that has only currents, rotor and bus."""

import math
from dataclasses import replace

import numpy as np
import pytest

from dryspin.drive import Drive
from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantInput, PlantState, plant_params
from dryspin.recording import Recording, Signal
from dryspin.waveforms import terminal_voltages

from ..recording import samples


def test_terminals_are_those_of_the_textbook_equations(voyage: Recording) -> None:
    """The equation plant, which shares no code with this, put into recorded states, decides itself what
    conducts. The recording's single precision leaves some 1e-6 of a volt."""
    params = plant_params(voyage.drive, voyage.scenario)
    rows = np.arange(5000, len(voyage.states), 400)
    t_s = voyage.state_t_s[rows]
    seen = terminal_voltages(voyage, t_s)
    compared = 0
    for row, volts in zip(rows, seen, strict=True):
        state = voyage.states[row]
        u, v = (float(state[name]) if abs(state[name]) > 1e-6 else 0.0 for name in ("i_u_a", "i_v_a"))
        w = -(u + v) if abs(u + v) > 1e-6 else 0.0
        if abs(u + v + w) > 1e-9:
            continue
        cycle = math.floor(float(state["t_s"]) * voyage.f_cpu_hz + 1e-3)
        gates = tuple(int(g) for g in voyage.gates.values[voyage.gates.index_at(cycle)])
        bus = float(state["v_bus_v"])
        plant = EquationPlant(
            replace(params, esr_ohm=0.0),
            PlantState(0.0, u, v, w, bus, float(state["w_rad_s"]), float(state["theta_rad"])),
        )
        plant.input = PlantInput(v_supply_v=bus)
        plant.advance(0.0, (gates[0], gates[1], gates[2]))
        assert plant.terminal_voltages() == pytest.approx(tuple(volts), abs=1e-3)
        compared += 1

    assert compared > 100


def test_the_open_phase_shows_half_the_bus_plus_its_emf() -> None:
    """U high, V low, W open, ideal trapezoid: v_w = V/2 + e_w, since the EMFs of the driven phases cancel
    (references: ST AN2030 p. 3 has 3/2 e for a sine; KVL gives e for the trapezoid)."""
    recording = samples.recording(
        [(0, Signal.GATE_U, 1), (0, Signal.GATE_V, 2), (0, Signal.GATE_W, 0)],
        samples.turning(3000.0, 0.01, from_deg=45.0),
    )
    k = recording.drive.motor.k_phase_v_s
    emf_w = k * (3000.0 * math.pi / 30.0) * 0.5  # at 45 degrees W has fallen to half its flat top

    assert terminal_voltages(recording, np.array([0.0]))[0] == pytest.approx(
        [11.1, 0.0, 11.1 / 2.0 + emf_w], abs=1e-6
    )


def test_no_voltage_is_beyond_the_diodes(voyage: Recording) -> None:
    """-Vf <= v <= V + Vf, and a diode's slope on top: an open terminal is clamped (circuit)."""
    volts = terminal_voltages(voyage, voyage.state_t_s)
    drop = voyage.drive.bridge.v_f_v.nominal + 0.005 * float(voyage.state_i_peak_a.max())
    bus = voyage.states["v_bus_v"].astype(np.float64)

    assert np.all(volts >= -drop - 1e-6)
    assert np.all(volts <= (bus + drop)[:, None] + 1e-6)


def test_nobody_knows_the_terminals_without_states(thruster: Drive) -> None:
    """A capture of pins has no currents: not zero, but nothing."""
    silent = samples.recording([(0, Signal.GATE_U, 1)], np.zeros(0, samples.STATE))

    assert np.all(np.isnan(terminal_voltages(silent, np.array([0.0, 0.001]))))
