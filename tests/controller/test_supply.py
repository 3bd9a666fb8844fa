"""Regulator, brown-out, outages.

Outside checks: brown-out level 4.1 / 4.3 / 4.5 V with 50 mV hysteresis (8025I tables 26-3, 26-4);
power-on threshold falling, typically 1.3 V (8025I table 26-3); reset sources are told apart
(7810C p. 44). How long the bus capacitor carries the controller is C dV / I.
"""

from dataclasses import replace

import numpy as np
import pytest

from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantInput, PlantState, plant_params
from dryspin.recording import Reset, Signal
from dryspin.rig.twin import TwinPlant
from dryspin.scenario import Fault

from ..small_firmware import START_UP_CYCLES, Bench, Told, scenario

TELL_CAUSE = """
    #include "say.h"
    static volatile uint8_t kept[2] __attribute__((section(".noinit")));
    int main(void)
    {
        port_mark(20 + port_reset_cause());
        port_mark(kept[0]);
        kept[0] = 7;
        SLEEP_FOREVER
    }
"""


def test_the_capacitor_carries_the_controller_until_brown_out(bench: Bench) -> None:
    """470 uF from 11.1 V to 4.3 V + 1 V of the regulator at 20 mA: 136 ms."""
    recording = bench.run(TELL_CAUSE, end_s=0.4, faults=(Fault("supply gap", 0.1, 180.0),))
    cycles, causes, _ = recording.of(Signal.RESET)

    assert causes.tolist() == [Reset.POWER_ON, Reset.BROWN_OUT]
    assert cycles[1] / 16e6 == pytest.approx(0.1 + 470e-6 * (11.0995 - 5.3) / 0.02, abs=1e-4)


def test_after_a_brown_out_the_part_starts_when_the_supply_is_back(bench: Bench) -> None:
    """With its own cause, and memory that is not initialised as it was."""
    recording = bench.run(TELL_CAUSE, end_s=0.5, faults=(Fault("supply gap", 0.1, 150.0),))
    starts = [(cycle, mark) for cycle, mark in Told(recording).marks if mark > 20]

    assert [mark for _, mark in starts if mark < 40] == [20 + Reset.POWER_ON, 20 + Reset.BROWN_OUT]
    assert (starts[-1][0] - START_UP_CYCLES) / 16e6 == pytest.approx(0.25, abs=1e-3)
    assert Told(recording).marks[-1][1] == 7


def test_a_short_gap_goes_unnoticed(bench: Bench) -> None:
    """The capacitor is there for that."""
    recording = bench.run(TELL_CAUSE, end_s=0.4, faults=(Fault("supply gap", 0.1, 100.0),))

    assert recording.of(Signal.RESET)[1].tolist() == [Reset.POWER_ON]
    assert float(recording.states["v_bus_v"][-1]) == pytest.approx(11.0995, abs=1e-3)


def test_a_power_cut_is_a_power_on_afterwards(bench: Bench) -> None:
    """Everything is forgotten but the store."""
    recording = bench.run(TELL_CAUSE, end_s=0.3, faults=(Fault("power cut", 0.1, 20.0),))
    marks = [mark for _, mark in Told(recording).marks]

    assert [mark for mark in marks if mark not in (0, 0xA5)] == [21, 21]


def test_a_long_power_cut_is_no_brown_out(bench: Bench) -> None:
    """The bus drains below the brown-out level meanwhile, but the part is dead already."""
    recording = bench.run(TELL_CAUSE, end_s=0.6, faults=(Fault("power cut", 0.1, 300.0),))

    assert recording.of(Signal.RESET)[1].tolist() == [Reset.POWER_ON, Reset.POWER_ON]


def test_a_supply_that_returns_from_nothing_is_a_power_on(bench: Bench) -> None:
    """8025I table 26-3: below some 1.3 V all is forgotten; a brown-out ends as a power-on."""
    recording = bench.run(TELL_CAUSE, end_s=0.7, faults=(Fault("supply gap", 0.1, 400.0),))

    assert recording.of(Signal.RESET)[1].tolist() == [Reset.POWER_ON, Reset.BROWN_OUT, Reset.POWER_ON]
    assert [mark for _, mark in Told(recording).marks if mark in (21, 24)] == [21, 21]


def test_a_sag_below_the_regulator_resets_under_load(bench: Bench) -> None:
    """A supply trace that dips to 5 V for 20 ms is a brown-out, too."""
    recording = bench.run(
        TELL_CAUSE, end_s=0.4, supply_v=((0.0, 11.1), (0.1, 11.1), (0.11, 5.0), (0.13, 5.0), (0.14, 11.1))
    )

    assert recording.of(Signal.RESET)[1].tolist() == [Reset.POWER_ON, Reset.BROWN_OUT]


def test_clock_error_stands_between_cycles_and_seconds(bench: Bench) -> None:
    """8161D p. 317: cycles are what the part counts, seconds what passes; start-up is a time, not a count."""
    drive = replace(bench.drive, controller=replace(bench.drive.controller, clock="resonator"))
    recording = Bench(bench.folder, drive).run(TELL_CAUSE, parts={"clock": 1.005})
    cycle = next(cycle for cycle, mark in Told(recording).marks if mark == 21)

    assert recording.f_cpu_hz == pytest.approx(16.08e6, rel=1e-12)
    assert recording.seconds(cycle) == pytest.approx(0.065, rel=1e-3)


def test_both_plants_drain_the_bus_alike(bench: Bench) -> None:
    """Unplugged: C dV/dt = -i, by either plant."""
    params = replace(plant_params(bench.drive, scenario()), i_aux_a=0.02)
    start = PlantState(0.0, 0.0, 0.0, 0.0, 11.1, 0.0, 0.3)
    ends = []
    for plant in (EquationPlant(params, start), TwinPlant(params, start)):
        plant.input = PlantInput(v_supply_v=11.1, connected=False)
        while plant.advance(0.05, (0, 0, 0))[1] is not None:
            pass
        ends.append(plant.state.v_bus_v)

    # The current also drops over the capacitor's series resistance.
    expected_v = 11.1 - 0.02 * 0.05 / 470e-6 - 0.02 * params.esr_ohm
    assert params.esr_ohm > 0.0
    assert np.allclose(ends, expected_v, atol=1e-9)


def test_brown_out_lies_at_4_3_v_and_ends_50_mv_above(bench: Bench) -> None:
    """8025I tables 26-3, 26-4: the bus is led down to 5.2 V and up again; the regulator needs 1 V of it.

    4 V/s: looked at every 20 us, the moment is good to 0.1 mV.
    """
    trace = ((0.0, 5.6), (0.1, 5.6), (0.2, 5.2), (0.3, 5.6))
    recording = bench.run(TELL_CAUSE, end_s=0.4, supply_v=trace)
    cycles, causes, _ = recording.of(Signal.RESET)
    again_s = next(cycle for cycle, mark in Told(recording).marks if mark == 24) / 16e6
    bus_v = {
        t_s: float(np.interp(t_s, recording.states["t_s"], recording.states["v_bus_v"]))
        for t_s in (cycles[1] / 16e6, again_s - 0.065)
    }

    assert causes.tolist() == [Reset.POWER_ON, Reset.BROWN_OUT]
    assert list(bus_v.values()) == [pytest.approx(5.3, abs=1e-3), pytest.approx(5.35, abs=1e-3)]


def test_a_bus_that_stays_above_brown_out_resets_nothing(bench: Bench) -> None:
    """8025I table 26-4: 20 mV above the level, for as long as it lasts."""
    trace = ((0.0, 5.6), (0.1, 5.6), (0.2, 5.3205), (0.3, 5.6))

    assert bench.run(TELL_CAUSE, end_s=0.4, supply_v=trace).of(Signal.RESET)[1].tolist() == [Reset.POWER_ON]
