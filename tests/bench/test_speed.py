"""How fast the rig is; figures only, no limit is asserted here (a slow machine is not a defect).

Run with `pytest tests/bench -m '' --benchmark-enable`; without it each case runs once, most of them in the
default suite. Every case states in `extra_info` what a second of its time bought.
"""

import math
import shutil
import time
import tomllib
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dryspin.build import build_image
from dryspin.drive import Drive, load_claims
from dryspin.monitors import judge, known_claims, known_limits
from dryspin.plant.parameters import PlantInput, PlantState, plant_params
from dryspin.recording import Recording
from dryspin.rig import Rig
from dryspin.rig.twin import TwinPlant
from dryspin.scenario import Scenario

from .conftest import THRUSTER

pytestmark = pytest.mark.benchmark(timer=time.process_time)  # another process's load is not ours


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


CASES: dict[str, tuple[str, float | None]] = {
    "reference": ("", None),
    "start only": ("throttle_us = [[0.0, 1500.0], [1.0, 1790.0]]", 1.5),
    "full speed": ("throttle_us = [[0.0, 1500.0], [1.0, 1900.0]]", 4.0),
    "reversal-heavy": (
        "throttle_us = [[0.0, 1500.0], [1.0, 1900.0], [2.0, 1100.0], [3.0, 1900.0], [4.0, 1100.0]]",
        5.0,
    ),
    "coasting": ("throttle_us = [[0.0, 1500.0], [1.0, 1900.0], [2.0, 0.0]]", 4.0),
    "coil step": (
        "throttle_us = [[0.0, 1500.0], [1.0, 1600.0], [1.4, 1750.0], [1.8, 1900.0]]\n"
        "speed_rpm = [[0.0, 0.0]]",
        2.2,
    ),
}
"""What each case changes of the reference, and its end (s). Coil step: locked rotor, duty steps."""


def case(name: str, reference: Scenario) -> Scenario:
    """The reference scenario with the changes of one case."""
    text, end_s = CASES[name]
    changes = {key: tuple((a, b) for a, b in points) for key, points in tomllib.loads(text).items()}
    return replace(reference, end_s=end_s or reference.end_s, **changes)


def tell(benchmark: Any, rig: Rig, simulated_s: float) -> None:
    """What a second of time bought; the events are those of the plant, of PWM and of the controller."""
    counts = rig.counts()
    benchmark.extra_info |= counts
    benchmark.extra_info["events_per_simulated_s"] = counts["segments"] / simulated_s
    if benchmark.enabled:
        best_s = benchmark.stats["min"]
        benchmark.extra_info["times_real_time"] = simulated_s / best_s
        benchmark.extra_info["ns_per_event"] = best_s * 1e9 / counts["segments"]


@pytest.mark.parametrize("name", CASES)
def test_whole_rig(benchmark: Any, rig: Rig, reference: Scenario, name: str) -> None:
    """Firmware, controller, plant and recording, one core."""
    given = case(name, reference)
    recording = benchmark(rig.run, given)
    tell(benchmark, rig, given.end_s)
    assert recording.end_cycle == round(given.end_s * 16e6)


def test_whole_rig_accounting_for_energy(benchmark: Any, rig: Rig, reference: Scenario) -> None:
    """What metering every port costs; it is off unless asked for."""
    benchmark(rig.run, reference, account_energy=True)
    tell(benchmark, rig, reference.end_s)
    assert rig.energy().source > 0.0


@pytest.mark.parametrize("recording", ["off", "on"])
def test_recording_off_and_on(benchmark: Any, rig: Rig, reference: Scenario, recording: str) -> None:
    """The reference with and without writing down edges and states."""
    benchmark(rig.run if recording == "on" else rig.run_unrecorded, reference)
    tell(benchmark, rig, reference.end_s)
    assert rig.counts()["segments"] > 100_000


def test_plant_and_peripherals_on_recorded_gates(benchmark: Any, rig: Rig, reference: Scenario) -> None:
    """The reference once more without the firmware: plant, comparator, timer, recording, all in C."""
    recording = rig.run(reference)
    replayed = benchmark(rig.replay, recording)
    tell(benchmark, rig, reference.end_s)

    assert rpm_at(replayed, 2.5) == pytest.approx(rpm_at(recording, 2.5), abs=0.5)
    assert rpm_at(replayed, 4.0) == pytest.approx(rpm_at(recording, 4.0), abs=0.5)


def test_shares_of_firmware_plant_and_recording(benchmark: Any, rig: Rig, reference: Scenario) -> None:
    """Who takes the time of the reference, by leaving one piece out at a time, in turn, least of each.

    recording: the run less the same unrecorded. firmware:
    the unrecorded run less its unrecorded replay, that is code, port calls, handlers and carriers.
    plant: that replay, comparator and timer included. The three add up to the run.
    """
    recording = rig.run(reference)
    least = dict.fromkeys(("run", "unrecorded", "replay"), math.inf)

    def all_three() -> None:
        for name, call in (
            ("run", lambda: rig.run(reference)),
            ("unrecorded", lambda: rig.run_unrecorded(reference)),
            ("replay", lambda: rig.replay_unrecorded(recording)),
        ):
            least[name] = min(least[name], timed(call))

    benchmark.pedantic(all_three, rounds=10 if benchmark.enabled else 1)
    parts_s = {
        "recording": least["run"] - least["unrecorded"],
        "firmware": least["unrecorded"] - least["replay"],
        "plant": least["replay"],
    }
    for name, part_s in parts_s.items():
        benchmark.extra_info[f"share_of_{name}"] = part_s / least["run"]
    assert sum(parts_s.values()) == pytest.approx(least["run"])


def timed(call: Callable[[], object]) -> float:
    """Seconds of this process's CPU time."""
    before_s = time.process_time()
    call()
    return time.process_time() - before_s


def test_plant_alone(benchmark: Any, rig: Rig, reference: Scenario, drive: Drive) -> None:
    """The compiled plant by itself, led from Python edge by edge through the second of the reversal."""
    recording = rig.run(reference)
    first, last = 2.5, 3.5
    spans = recording.gates
    times_s = spans.cycles / recording.f_cpu_hz
    chosen = np.flatnonzero((times_s >= first) & (times_s < last))
    row = recording.states[int(np.searchsorted(recording.states["t_s"], times_s[chosen[0]]))]
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


@pytest.mark.slow
@pytest.mark.benchmark(timer=time.perf_counter)  # the compiler is a process of its own
def test_cold_build(benchmark: Any, drive: Drive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Core and firmware from sources, nothing cached."""
    monkeypatch.setenv("DRYSPIN_CACHE", str(tmp_path / "cache"))

    def build() -> Path:
        shutil.rmtree(tmp_path / "cache", ignore_errors=True)
        return build_image(drive, THRUSTER).path

    assert benchmark.pedantic(build, rounds=3).is_file()
