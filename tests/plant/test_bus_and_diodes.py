"""The bus capacitor with its series resistance, the source behind it, diodes with a slope of their own."""

import math
from itertools import pairwise
from typing import Any

import pytest

from dryspin.plant.energy import EnergyMeter
from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantInput

from .bench_motor import BUS_V, MOTOR, at, go, motor, rpm

ESR_OHM, C_F, F_HZ, I_A, V_V = 0.050, 330e-6, 16e3, 10.0, 12.0
STIFF_FEED_OHM = 1000.0
"""A source that goes on giving the mean current whatever the bus does: the textbook's feed inductance."""


def choke(feed_a: float, **changes: Any) -> EquationPlant:
    """A lossless winding of 1 H per phase that keeps 10 A, and a source that feeds `feed_a`."""
    values: dict[str, Any] = {
        **{"r_ohm": 0.0, "r_on_ohm": 0.0, "v_f_v": 0.0, "l_h": 1.0, "esr_ohm": ESR_OHM},
        **{"stiff": False, "r_supply_ohm": STIFF_FEED_OHM, "c_bus_f": C_F},
    }
    plant = EquationPlant(motor(**(values | changes)), at(i=(I_A, -I_A, 0.0), bus_v=V_V))
    plant.input = PlantInput(V_V + feed_a * STIFF_FEED_OHM)
    return plant


def test_bus_steps_by_the_drop_over_the_esr_when_the_high_fet_closes() -> None:
    """H-09: I ESR = 10 A x 50 mohm = 0.5 V, to 1 % (J. Sachs, ripple series part III, for the principle)."""
    plant = choke(feed_a=0.0)
    go(plant, 1e-6, (0, 2, 0))
    before_v = plant.bus_v()

    go(plant, 1e-6, (1, 2, 0))

    assert before_v - plant.bus_v() == pytest.approx(0.5, rel=1e-2)
    assert plant.state.v_bus_v == plant.bus_v()
    assert plant.state.v_c_v == pytest.approx(before_v, abs=1e-3)


def test_ripple_and_heat_of_the_link_capacitor_are_the_published_ones() -> None:
    """H-09 at D = 0.5: droop I D (1 - D)/(f C) = 0.473 V, 5 A rms and so 1.25 W in the ESR, to 1 %."""
    plant = choke(feed_a=I_A / 2.0)
    half_s = 0.5 / F_HZ
    meter = EnergyMeter(plant)

    v_c = []
    for n in range(20):
        go(plant, (n + 1) * half_s, (1 if n % 2 == 0 else 0, 2, 0))
        state = plant.state
        assert state.v_c_v is not None
        v_c.append(state.v_c_v)

    droop_v = sum(abs(two - one) for one, two in pairwise(v_c)) / 19.0
    assert droop_v == pytest.approx(0.473, rel=1e-2)
    assert meter.passed.esr / plant.state.t_s == pytest.approx(1.25, rel=1e-2)
    assert math.sqrt(meter.passed.esr / plant.state.t_s / ESR_OHM) == pytest.approx(5.0, rel=1e-2)


def test_state_of_a_bus_with_esr_survives_being_set() -> None:
    """v_c_v tells the capacitor from the bus; left out, the capacitor is taken to stand at the bus."""
    plant = choke(feed_a=0.0)
    go(plant, 10e-6, (1, 2, 0))
    state = plant.state

    plant.state = state
    assert plant.state == state
    assert state.v_c_v is not None
    assert state.v_c_v - state.v_bus_v == pytest.approx(0.5, rel=1e-2)


def test_diode_of_another_slope_changes_the_freewheeling_time() -> None:
    """Low diode and low FET: tau = 2 L/(2 R + Ron + slope), floor Vf/(2 R + Ron + slope)."""
    slope, i_0 = 0.030, 20.0
    series = 2.0 * MOTOR.r_ohm + MOTOR.r_on_ohm + slope
    tau_s, floor_a = 2.0 * MOTOR.l_h / series, MOTOR.v_f_v / series
    plant = EquationPlant(motor(diode_slope_ohm=slope), at(i=(i_0, -i_0, 0.0)))
    ends_s = []
    plant.on_conduction = lambda t_s, legs: ends_s.append(t_s) if legs[0].name == "open" else None

    for t_us in (50.0, 200.0, 400.0):
        go(plant, t_us * 1e-6, (0, 2, 0))
        expected = (i_0 + floor_a) * math.exp(-t_us * 1e-6 / tau_s) - floor_a
        assert plant.state.i_u_a == pytest.approx(expected, abs=1e-8)
    assert plant.terminal_voltages()[0] == pytest.approx(-MOTOR.v_f_v - slope * plant.state.i_u_a, abs=1e-12)
    go(plant, 700e-6, (0, 2, 0))

    assert ends_s == [pytest.approx(tau_s * math.log(1.0 + i_0 / floor_a), abs=2e-11)]


def test_braking_gives_the_bus_no_more_than_the_rotor_had() -> None:
    """1/2 C (V2^2 - V1^2) <= 1/2 J (w0^2 - w1^2) behind a supply that cannot sink.

    A vendor's data sheet (onlinedocs.microchip.com, GUID-75463A18, section 13.21) on over-voltage in
    braking; the bound is conservation of energy. Short-brake chopping lifts the bus like a boost
    converter, and most of the energy does arrive.
    """
    params = motor(stiff=False, sinks=False, fixed_speed=False, r_supply_ohm=0.03, esr_ohm=0.01, c_bus_f=1e-3)
    plant = EquationPlant(params, at(rpm(8000.0)))
    before = plant.state

    for n in range(100):
        go(plant, n * 50e-6 + 35e-6, (2, 2, 2))
        go(plant, (n + 1) * 50e-6, (0, 0, 0))
    go(plant, plant.state.t_s + 1e-3, (0, 0, 0))

    after = plant.state
    rotor_j = 0.5 * params.j_kg_m2 * (before.w_rad_s**2 - after.w_rad_s**2)
    bus_j = 0.5 * params.c_bus_f * (after.v_bus_v**2 - before.v_bus_v**2)
    assert after.v_bus_v > BUS_V + 2.0
    assert 0.3 * rotor_j < bus_j < rotor_j


def test_supply_that_cannot_sink_lets_go_where_its_current_ends_with_esr_too() -> None:
    """Freed current lifts the bus by ESR at once: the source stops before the capacitor reaches it."""
    params = motor(stiff=False, sinks=False, r_supply_ohm=0.03, esr_ohm=0.02)
    plant = EquationPlant(params, at(i=(30.0, -30.0, 0.0), bus_v=BUS_V - 0.2))
    plant.input = PlantInput(BUS_V)

    go(plant, 0.0, (0, 0, 0))
    state = plant.state

    assert not plant.feeding
    assert state.v_bus_v == pytest.approx(BUS_V - 0.2 + 0.02 * 30.0, rel=1e-9)
    meter = EnergyMeter(plant)
    go(plant, 1e-3, (0, 0, 0))
    assert meter.passed.source == 0.0
    assert plant.state.v_bus_v > BUS_V
