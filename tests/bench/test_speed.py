"""How fast the rig is; figures only, no limit is asserted here (a slow machine is not a defect).

Run with `pytest tests/bench --benchmark-enable`; the default suite runs each case once. Every case
states in `extra_info` what a second of its time bought.
"""

import math
import shutil
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dryspin.build import build_image
from dryspin.drive import Drive, load_claims
from dryspin.monitors import judge, known_claims, known_limits
from dryspin.plant.parameters import PlantInput, PlantState, plant_params
from dryspin.recording import GATES, Recording
from dryspin.rig import Rig
from dryspin.rig.twin import TwinPlant
from dryspin.scenario import Scenario

from .conftest import THRUSTER


def rpm_at(recording: Recording, t_s: float) -> float:
    """Speed of the rotor, rpm."""
    k = int(np.searchsorted(recording.states["t_s"], t_s)) - 1
    return float(recording.states["w_rad_s"][k]) * 30.0 / math.pi


def test_reference_scenario_is_what_it_says(rig: Rig, reference: Scenario, drive: Drive) -> None:
    """A benchmark of something else would be worth nothing: start, 80 % of full speed, 50 % the other way."""
    recording = rig.run(reference)
    full = rig.run(Scenario(7, 2.5, 210.0, 20.0, ((0.0, 1500.0), (1.0, drive.throttle.forward_full_us))))
    full_rpm = rpm_at(full, 2.5)

    assert rpm_at(recording, 2.5) >= 0.8 * full_rpm
    assert rpm_at(recording, 4.0) <= -0.5 * full_rpm


def test_whole_rig(benchmark: Any, rig: Rig, reference: Scenario) -> None:
    """Firmware, controller, plant and recording, one core."""
    recording = benchmark(rig.run, reference)
    benchmark.extra_info |= rig.counts()
    if benchmark.enabled:
        benchmark.extra_info["times_real_time"] = reference.end_s / benchmark.stats["min"]
    assert recording.end_cycle == 64_000_000


def test_plant_alone_on_recorded_gates(benchmark: Any, rig: Rig, reference: Scenario, drive: Drive) -> None:
    """The compiled plant replaying the second in which the rotor reverses."""
    recording = rig.run(reference)
    first, last = 2.5, 3.5
    spans = recording.gates
    times_s = spans.cycles / recording.f_cpu_hz
    chosen = np.flatnonzero((times_s >= first) & (times_s < last))
    k = int(np.searchsorted(recording.states["t_s"], times_s[chosen[0]]))
    row = recording.states[k]
    i_u_a, i_v_a = float(row["i_u_a"]), float(row["i_v_a"])
    state = PlantState(
        times_s[chosen[0]],
        *(i_u_a, i_v_a, -(i_u_a + i_v_a)),
        *(float(row["v_bus_v"]), float(row["w_rad_s"]), float(row["theta_rad"])),
    )
    params = plant_params(drive, reference)
    schedule = [(float(times_s[n]), tuple(int(v) for v in spans.values[n])) for n in chosen]

    def replay() -> float:
        plant = TwinPlant(params, state)
        plant.input = PlantInput(v_supply_v=drive.supply.v_v.nominal)
        for (_, gates), (to_s, _) in pairwise(schedule):
            while plant.advance(to_s, (gates[0], gates[1], gates[2]))[1] is not None:
                pass
        return plant.state.t_s

    assert len(GATES) == 3
    assert benchmark(replay) == pytest.approx(last, abs=1e-3)


def test_monitors(benchmark: Any, rig: Rig, reference: Scenario) -> None:
    """All monitors over one recording of the reference scenario."""
    claims = load_claims(THRUSTER / "claims.toml", known_claims(), known_limits())
    edges_states = rig.run(reference)

    def judged() -> int:
        # A fresh recording each time: what is derived from it is kept in it.
        fresh = Recording(
            **{
                name: getattr(edges_states, name)
                for name in (
                    "edges",
                    "states",
                    "f_cpu_hz",
                    "end_cycle",
                    "drive",
                    "scenario",
                    "image_digest",
                    "lines",
                )
            }
        )
        return len(judge(fresh, claims))

    assert benchmark(judged) > 0


def test_cold_build(benchmark: Any, drive: Drive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Core and firmware from sources, nothing cached."""
    monkeypatch.setenv("DRYSPIN_CACHE", str(tmp_path / "cache"))

    def build() -> Path:
        shutil.rmtree(tmp_path / "cache", ignore_errors=True)
        return build_image(drive, THRUSTER).path

    assert benchmark.pedantic(build, rounds=3).is_file()
