"""How long `dryspin judge` takes for the largest captures it is meant for, and how much memory.

    python -m tests.bench.captures [--scale 0.1]

Two files are made from simulated runs, in a folder that is removed afterwards (some 700 MB): an
oscilloscope's CSV of two terminals, 10 M rows; a value change dump of 100 M sample periods. Each is
judged in a process of its own, as a user does. Exits with 1 where a limit is passed. CPU time is compared,
since another process's load is not ours.
"""

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO

import numpy as np

from dryspin.build import build_image
from dryspin.drive import load_drive
from dryspin.recording import Recording
from dryspin.rig import Rig
from dryspin.scenario import read_scenario
from dryspin.waveforms import save_vcd, terminal_voltages

from ..capture.conftest import ADC_STEP_V, EXPORT_MAP, NOISE_V, SCOPE_MAP
from .conftest import REFERENCE, THRUSTER

CSV_ROWS = 10_000_000
VCD_PERIODS = 100_000_000
BLOCK = 250_000


@dataclass(frozen=True)
class Case:
    """A capture to be judged, and what that may take."""

    name: str
    map_text: str
    suffix: str
    write: Callable[[Path, float], str]
    limit_s: float
    limit_gb: float


@dataclass(frozen=True)
class Cost:
    """What judging took: CPU and wall time, the largest resident memory, the exit code."""

    cpu_s: float
    wall_s: float
    peak_gb: float
    code: int


def voyage(end_s: float) -> Recording:
    """The reference scenario, going on until `end_s`."""
    drive = load_drive(THRUSTER / "drive.toml")
    story = read_scenario(REFERENCE)
    steps = tuple(point for point in story.throttle_us if point[0] < end_s)
    story = replace(story, end_s=end_s, throttle_us=steps)
    return Rig(build_image(drive, THRUSTER), drive).run(story)


def write_csv(path: Path, scale: float) -> str:
    """Two terminals over the reference scenario's four seconds, 0.4 us a sample."""
    recording = voyage(4.0)
    rows = round(CSV_ROWS * scale)
    rng = np.random.default_rng(7)
    with path.open("w") as file:
        file.write("Second,CH1,CH2\n")
        for first in range(0, rows, BLOCK):
            _write_rows(file, recording, first, min(first + BLOCK, rows), rng)
    return f"{rows} rows, {path.stat().st_size / 1e6:.0f} MB"


def _write_rows(file: IO[str], recording: Recording, first: int, last: int, rng: np.random.Generator) -> None:
    t_s = np.arange(first, last) * 4e-7
    volts = terminal_voltages(recording, t_s)[:, :2]
    volts = np.round((volts + rng.normal(0.0, NOISE_V, volts.shape)) / ADC_STEP_V) * ADC_STEP_V
    u, v = volts.T.tolist()
    rows = zip(t_s.tolist(), u, v, strict=True)
    file.writelines(f"{t:.7f},{a:.3f},{b:.3f}\n" for t, a, b in rows)


def write_vcd(path: Path, scale: float) -> str:
    """Every signal of a run of 6.25 s: 100 M periods of the 16 MHz clock."""
    recording = voyage(VCD_PERIODS * scale / 16e6)
    save_vcd(recording, path)
    return f"{recording.end_cycle} sample periods, {path.stat().st_size / 1e6:.0f} MB"


CASES = (
    Case("CSV of an oscilloscope", SCOPE_MAP, ".csv", write_csv, 30.0, 1.0),
    Case("run-length capture (VCD)", EXPORT_MAP, ".vcd", write_vcd, 60.0, 2.0),
)


def judged(path: Path, map_file: Path) -> Cost:
    """Judge a capture in a process of its own."""
    command = [sys.executable, "-m", "dryspin.cli", "judge", str(path), "--map", str(map_file)]
    command += ["--drive", str(THRUSTER / "drive.toml")]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    begun_s = time.perf_counter()
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    wall_s = time.perf_counter() - begun_s
    return Cost(usage.ru_utime + usage.ru_stime, wall_s, _gb(usage), process.returncode)


def _gb(usage: resource.struct_rusage) -> float:
    return usage.ru_maxrss * 1024 / 1e9


def measure(case: Case, scale: float) -> tuple[str, Cost]:
    """(what was judged, what it took)."""
    with tempfile.TemporaryDirectory() as folder:
        path, map_file = Path(folder, "capture" + case.suffix), Path(folder, "map.toml")
        what = case.write(path, scale)
        map_file.write_text(case.map_text)
        return what, judged(path, map_file)


def main() -> int:
    """Measure every case and say so."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scale", type=float, default=1.0, help="share of the full size")
    scale = parser.parse_args().scale
    passed = True
    for case in CASES:
        what, cost = measure(case, scale)
        inside = cost.code in (0, 1) and cost.cpu_s < case.limit_s and cost.peak_gb < case.limit_gb
        passed = passed and inside
        print(
            f"{case.name}: {what}: {cost.cpu_s:.1f} s CPU ({cost.wall_s:.1f} s on the clock, limit "
            f"{case.limit_s:g} s), {cost.peak_gb:.2f} GB (limit {case.limit_gb:g} GB), exit {cost.code}"
            + ("" if inside else "  MISSED")
        )
    return 0 if passed else 1


if __name__ == "__main__":
    sys.exit(main())
