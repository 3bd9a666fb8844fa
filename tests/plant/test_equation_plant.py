"""What a caller of the equation plant may rely on: events, levels, copies, refusals."""

import math
import re
from dataclasses import replace
from itertools import pairwise

import pytest

from dryspin.plant.emf import sine, trapezoid
from dryspin.plant.equations import EquationPlant, Gates
from dryspin.plant.parameters import PlantInput
from dryspin.rig.twin import TwinPlant

from . import golden
from .bench_motor import BUS_V, MOTOR, at, go, motor, rpm

PUMPED = motor(stiff=False, sinks=False, r_supply_ohm=0.03, fixed_speed=False, coulomb_nm=2e-3)


@pytest.mark.parametrize("gates", [(0, 0, 0), (1, 2, 0), (2, 2, 2), (0, 2, 0)])
def test_comparator_of_a_rotor_at_rest_does_not_chatter(gates: Gates) -> None:
    """Its input is zero up to rounding as long as nothing turns: no event, whatever the gates."""
    params = motor(stiff=False, r_supply_ohm=0.03)
    plant = EquationPlant(params, at(0.0))
    plant.sense_leg = 2

    assert go(plant, 2e-3, gates) == []


def test_each_change_of_level_is_reported_once() -> None:
    """Coasting at 3000 rpm: one crossing per phase every 180 degrees, levels in turn, no double edges."""
    w = rpm(3000.0)
    plant = EquationPlant(MOTOR, at(w, 31.0))

    edges = go(plant, 20e-3, (0, 0, 0))

    half_turn_s = math.pi / (MOTOR.pole_pairs * w)
    assert len(edges) == math.floor(20e-3 / half_turn_s)
    assert all(one[1] != two[1] for one, two in pairwise(edges))
    assert [two[0] - one[0] for one, two in pairwise(edges)] == pytest.approx(
        [half_turn_s] * (len(edges) - 1), abs=1e-9
    )


def test_another_sensed_leg_is_reported_at_once_if_it_lies_on_the_other_side() -> None:
    """The multiplexer's jump is an edge like any other; time does not pass for it."""
    plant = EquationPlant(MOTOR, at(rpm(3000.0), 75.0))
    assert plant.level == 1

    plant.sense_leg = 1
    assert plant.advance(1e-6, (0, 0, 0)) == (0.0, "comparator")
    assert plant.level == 0
    assert plant.advance(1e-6, (0, 0, 0)) == (1e-6, None)


def test_event_is_met_on_the_way_and_the_state_is_that_of_the_event() -> None:
    """The time returned is the time of the state; the way goes on from there."""
    plant = EquationPlant(MOTOR, at(rpm(3000.0), 170.0))

    reached_s, event = plant.advance(1e-3, (0, 0, 0))

    assert event == "comparator"
    assert plant.state.t_s == reached_s
    assert math.degrees(plant.state.theta_rad) == pytest.approx(180.0, abs=1e-5)
    assert plant.advance(1e-3, (0, 0, 0)) == (1e-3, None)


def test_noise_acts_like_offset() -> None:
    """Volts at the pin, added to the part's offset: the two cancel."""
    w = rpm(1000.0)
    plain = EquationPlant(MOTOR, at(w, 31.0))
    noisy = EquationPlant(motor(divider=0.2, offset_v=0.03), at(w, 31.0))
    noisy.comparator_noise_v = -0.03

    times_s = [[t_s for t_s, _ in go(plant, 20e-3, (0, 0, 0))] for plant in (noisy, plain)]

    assert len(times_s[0]) == 4
    assert times_s[0] == pytest.approx(times_s[1], abs=1e-10)


def run_on(plant: EquationPlant, from_s: float) -> tuple[object, ...]:
    """Two milliseconds of changing gates; all that can be seen at the end."""
    edges = []
    for n in range(40):
        edges += go(plant, from_s + (n + 1) * 50e-6, ((1, 2, 0), (0, 2, 0), (0, 1, 2), (0, 0, 0))[n % 4])
    return (plant.state, plant.terminal_voltages(), plant.level, plant.conduction, edges)


def test_restored_plant_goes_on_bit_for_bit() -> None:
    """In itself and in another plant of the same parameters, with diodes and a supply that cannot sink."""
    plant = EquationPlant(PUMPED, at(rpm(9000.0)))
    plant.input = PlantInput(10.0)
    plant.sense_leg = 1
    run_on(plant, 0.0)
    # an input set but not yet taken over belongs to the state too
    plant.input = PlantInput(12.0, load_nm=0.01)
    saved = plant.copy_state()

    first = run_on(plant, saved.t_s)
    plant.restore(saved)
    other = EquationPlant(PUMPED, at())
    other.restore(saved)

    assert run_on(plant, saved.t_s) == first
    assert run_on(other, saved.t_s) == first


def test_way_to_a_moment_does_not_depend_on_stops_between() -> None:
    """Stopping every 1.7 us changes step lengths and nothing else: currents agree within 1e-6 A."""
    straight, halting = (EquationPlant(PUMPED, at(rpm(9000.0))) for _ in range(2))

    go(straight, 1e-3, (1, 2, 0))
    for n in range(1, 588):
        go(halting, n * 1.7e-6, (1, 2, 0))
    go(halting, 1e-3, (1, 2, 0))

    assert halting.state.i_u_a == pytest.approx(straight.state.i_u_a, abs=1e-6)
    assert halting.state.v_bus_v == pytest.approx(straight.state.v_bus_v, abs=1e-6)
    assert halting.state.w_rad_s == pytest.approx(straight.state.w_rad_s, abs=1e-6)


def test_supply_that_cannot_sink_is_pumped_up_by_a_braking_motor() -> None:
    """The same decay of current lifts the bus behind a diode and not behind a battery."""
    peaks = []
    for sinks in (True, False):
        params = motor(stiff=False, sinks=sinks, r_supply_ohm=0.03)
        plant = EquationPlant(params, at(i=(30.0, -30.0, 0.0)))
        go(plant, 0.3e-3, (0, 0, 0))
        peaks.append(plant.state.v_bus_v)

    assert peaks[0] == pytest.approx(BUS_V, abs=1e-3)
    # all of the charge stays in the capacitor
    assert peaks[1] > BUS_V + 1.0


def test_driven_rotor_keeps_the_speed_it_is_given() -> None:
    """fixed_speed: torque does not act; a new speed is set through the state."""
    plant = EquationPlant(MOTOR, at(100.0))
    go(plant, 1e-3, (1, 2, 0))
    assert plant.state.w_rad_s == 100.0
    assert plant.state.theta_rad == pytest.approx(math.radians(45.0) + 0.7, rel=1e-12)

    plant.state = replace(plant.state, w_rad_s=-50.0)
    go(plant, 3e-3, (1, 2, 0))
    assert plant.state.w_rad_s == -50.0
    assert plant.state.theta_rad == pytest.approx(math.radians(45.0), rel=1e-9)


def test_friction_holds_the_rotor_until_the_torque_exceeds_it() -> None:
    """Breakaway where 2 k i = Tc: i rises as V/2Rt (1 - exp(-t/tau)), so the moment is known."""
    coulomb = 0.05
    params = motor(fixed_speed=False, coulomb_nm=coulomb)
    rt = MOTOR.r_ohm + MOTOR.r_on_ohm
    away_s = -MOTOR.l_h / rt * math.log(1.0 - coulomb / (2.0 * MOTOR.k_v_s) * 2.0 * rt / BUS_V)
    plant = EquationPlant(params, at(degrees=60.0))

    go(plant, away_s - 1e-9, (1, 2, 0))
    assert plant.state.w_rad_s == 0.0
    go(plant, away_s + 1e-6, (1, 2, 0))
    assert plant.state.w_rad_s > 0.0


def test_drive_at_rest_waits_without_taking_steps() -> None:
    """A minute of standing still after a bus transient must not cost a minute's steps."""
    params = motor(stiff=False, r_supply_ohm=0.03, fixed_speed=False, coulomb_nm=2e-3)
    plant = EquationPlant(params, at(bus_v=10.0))
    plant.input = PlantInput(BUS_V)
    steps = 0
    evaluate = plant._margins

    def counted(y: tuple[float, float, float, float, float, float]) -> tuple[float, ...]:
        nonlocal steps
        steps += 1
        return evaluate(y)

    plant._margins = counted  # type: ignore[method-assign]
    go(plant, 60.0, (0, 0, 0))

    assert plant.state.v_bus_v == pytest.approx(BUS_V, abs=1e-9)
    assert steps < 1000


def test_time_does_not_run_backwards() -> None:
    """The message says what was asked, where the plant is, and the way back."""
    plant = EquationPlant(MOTOR, at())
    go(plant, 1e-3, (0, 0, 0))

    message = "advance to 0.0005 s asked at 0.001 s; restore an earlier state first"
    with pytest.raises(ValueError, match=re.escape(message)):
        plant.advance(0.5e-3, (0, 0, 0))


def test_currents_that_leave_the_star_are_refused() -> None:
    """There is no neutral wire: the three currents of a state add up to zero."""
    message = "phase currents add up to 1.0 A; a star without neutral needs 0 A"
    with pytest.raises(ValueError, match=re.escape(message)):
        EquationPlant(MOTOR, at(i=(1.0, 0.0, 0.0)))


def test_trapezoid_follows_its_definition_phase_by_phase() -> None:
    """120 degrees of flat top from 30 to 150, ramps of 60 degrees through 0, V and W 120 and 240 behind."""
    for tenth in range(-7200, 7200, 7):
        theta = math.radians(tenth / 10.0)
        expected = [golden.trapezoid(theta - n * 2.0 * math.pi / 3.0) for n in range(3)]
        assert trapezoid(theta) == pytest.approx(expected, abs=1e-9)
        assert sum(sine(theta)) == pytest.approx(0.0, abs=1e-12)


def test_rotor_without_friction_starts_at_once_on_both_plants() -> None:
    """No friction means no breakaway: the least torque moves it, and no moment is looked at twice."""
    params = motor(fixed_speed=False, coulomb_nm=0.0)
    ends = []
    for plant in (EquationPlant(params, at(degrees=30.0)), TwinPlant(params, at(degrees=30.0))):
        while plant.advance(1e-3, (1, 2, 0))[1] is not None:
            pass
        ends.append(plant.state.w_rad_s)

    assert ends[0] > 1.0
    assert ends[1] == pytest.approx(ends[0], rel=1e-4)


def test_current_that_has_all_but_decayed_ends_without_a_trace() -> None:
    """A shorted winding at rest leaves 1e-173 A, which an opened leg ends in no time at all."""
    params = motor(stiff=False, r_supply_ohm=0.02, fixed_speed=False, coulomb_nm=3e-3, i_aux_a=0.02)
    tiny = 1e-173
    plant = TwinPlant(params, at(degrees=70.0, i=(tiny, -tiny, 0.0)))
    plant.advance(1e-5, (0, 0, 0))

    assert plant.state.v_bus_v == pytest.approx(BUS_V, abs=1e-3)
    assert (plant.state.i_u_a, plant.state.i_v_a, plant.state.i_w_a) == (0.0, 0.0, 0.0)
