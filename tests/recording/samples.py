"""Small recordings and a drive for tests of the recording layer."""

import math
from pathlib import Path

import numpy as np

from dryspin.drive import (
    Bridge,
    Controller,
    Drive,
    Firmware,
    Load,
    Motor,
    Range,
    Sense,
    Supply,
    Throttle,
)
from dryspin.recording import EDGE, STATE, Recording, Signal
from dryspin.scenario import Fault, Scenario

F_CPU_HZ = 16e6


def thruster() -> Drive:
    """A bow thruster's drive: 1000 rpm/V, 7 pole pairs, propeller in water."""
    exactly = Range.exactly
    return Drive(
        path=Path("drive.toml"),
        name="bow thruster",
        firmware=Firmware(("*.c",), (".",), {"FRAMES": "20"}, ""),
        motor=Motor(exactly(1000.0), "no-load test", exactly(0.08), exactly(28e-6), 7, exactly(1.5e-5)),
        load=Load(exactly(1e-7), exactly(3e-3), exactly(0.0)),
        bridge=Bridge(exactly(5e-3), exactly(0.7), "high side", 31372.5, 500.0, True, 40.0, 16.0, 0.05),
        supply=Supply("pack", Range(9.6, 11.1, 12.6), exactly(0.025), True, exactly(470e-6)),
        sense=Sense(33e3, 10e3, Range(-0.04, 0.0, 0.04), exactly(5e-7)),
        controller=Controller("mega168", F_CPU_HZ, "crystal", 5.0, 0),
        throttle=Throttle(1500.0, 1900.0, 1100.0, 25.0, 800.0, 2200.0),
    )


def scenario(**changes: object) -> Scenario:
    """A scenario of 10 ms with one throttle step."""
    values: dict[str, object] = {
        "seed": 7,
        "end_s": 0.01,
        "rest_deg": 210.0,
        "frame_ms": 20.0,
        "throttle_us": ((0.0, 1500.0), (0.005, 1900.0)),
        "parts": {"r_phase": 1.05},
        "faults": (Fault("reset", 0.006),),
    }
    return Scenario(**(values | changes))  # type: ignore[arg-type]


def edges(*rows: tuple[int, Signal, int]) -> np.ndarray:
    """Edge array of (cycle, signal, value), program counter 0x100 + row."""
    array = np.zeros(len(rows), EDGE)
    for k, (cycle, signal, value) in enumerate(rows):
        array[k]["cycle"], array[k]["signal"], array[k]["value"] = cycle, signal, value
        array[k]["pc"] = 0x100 + k
    return array


def turning(rpm: float, end_s: float, *, rows: int = 2001, from_deg: float = 10.0) -> np.ndarray:
    """States of a rotor at constant speed."""
    states = np.zeros(rows, STATE)
    w_rad_s = rpm * 2.0 * math.pi / 60.0
    states["t_s"] = np.linspace(0.0, end_s, rows)
    states["theta_rad"] = math.radians(from_deg) + 7 * w_rad_s * states["t_s"]
    states["w_rad_s"] = w_rad_s
    states["v_bus_v"] = 11.1
    return states


def recording(rows: list[tuple[int, Signal, int]], states: np.ndarray | None = None, **changes: object):
    """A recording of the given edges, 10 ms long."""
    values: dict[str, object] = {
        "edges": edges(*rows),
        "states": turning(1000.0, 0.01) if states is None else states,
        "f_cpu_hz": F_CPU_HZ,
        "end_cycle": 160_000,
        "drive": thruster(),
        "scenario": scenario(),
        "image_digest": "none",
    }
    return Recording(**(values | changes))  # type: ignore[arg-type]
