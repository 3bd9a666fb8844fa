"""ngspice as a reference: run a netlist, keep of its waveforms what a comparison needs.

ngspice integrates real switches and diodes and knows nothing of modes, crossings or six-step. Its
results for the netlists in netlists/ are stored beside them, each with its netlist's hash, for machines
without it. `python -m tests.spice.reference` runs all and stores anew.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

HERE = Path(__file__).parent
STORE_ANEW = "install ngspice and run `python -m tests.spice.reference`"
NETLISTS = sorted((HERE / "netlists").glob("*.cir"))
STORED = HERE / "stored"

SAMPLE_S = 7.3e-6
"""No multiple of a carrier period, so that samples fall everywhere in it."""
CROSSING_MAX_F = 0.35
"""A crossing of the open phase lies where its EMF is small; further out the comparator may toggle too,
where a diode conducts."""
JUMP_V_PER_S = 1e6
"""Steeper is a gate edge, not a crossing: EMFs here pass through zero with less than 0.2 V/us."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Reference:
    """What ngspice found. samples: rows of t (us), i_u, i_v, i_w (A), v_bus, v_u, v_v, v_w (V).

    crossings: (t in us, leg, 1 rising or 0 falling) of the open phase through the mean of the terminals.
    """

    netlist: str
    version: str
    samples: list[list[float]]
    crossings: list[tuple[float, int, int]]


def available() -> bool:
    """Whether ngspice is installed."""
    return shutil.which("ngspice") is not None


def digest(netlist: Path) -> str:
    """Hash of a netlist's text."""
    return hashlib.blake2b(netlist.read_bytes(), digest_size=16).hexdigest()


def found_by_ngspice(netlist: Path) -> Reference:
    """Live where ngspice is installed, stored otherwise."""
    return run(netlist) if available() else stored(netlist)


def run(netlist: Path) -> Reference:
    """Run ngspice on `netlist`; RuntimeError if it gives up before the end the netlist asks for.

    A run that ended early leaves data that look plausible, so the last time is checked.
    """
    (end_s,) = (float(line.split()[2]) for line in netlist.read_text().splitlines() if line[:5] == "tran ")
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            ["ngspice", "-b", str(netlist)],
            cwd=folder,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        waves = (
            np.loadtxt(Path(folder) / "waves.dat", skiprows=1) if done.returncode == 0 else np.zeros((1, 1))
        )
    if abs(waves[-1, 0] - end_s) > 1e-9:
        raise RuntimeError(f"{netlist.name}: ngspice stopped at {waves[-1, 0]} s of {end_s} s: {done.stderr}")
    version = next((word for word in done.stdout.split() if word.startswith("ngspice-")), "ngspice")
    t_s = np.arange(SAMPLE_S, end_s, SAMPLE_S)
    columns = [np.interp(t_s, waves[:, 0], waves[:, n]) for n in range(1, 8)]
    samples = np.column_stack([t_s * 1e6, *columns]).round(6)
    return Reference(digest(netlist), version, samples.tolist(), _crossings(waves))


def _crossings(waves: Floats) -> list[tuple[float, int, int]]:
    t_s, terminals, shapes = waves[:, 0], waves[:, 5:8], waves[:, 8:11]
    rows = np.arange(len(t_s))
    leg = np.argmin(np.abs(shapes), axis=1)
    d = terminals[rows, leg] - terminals.mean(axis=1)
    crosses = (d[:-1] < 0.0) != (d[1:] < 0.0)
    smooth = (np.abs(np.diff(d)) < JUMP_V_PER_S * np.diff(t_s)) & (leg[1:] == leg[:-1])
    near = np.abs(shapes[rows, leg])[:-1] < CROSSING_MAX_F
    found = []
    for k in np.flatnonzero(crosses & smooth & near):
        share = d[k] / (d[k] - d[k + 1])
        at_s = t_s[k] + share * (t_s[k + 1] - t_s[k])
        found.append((round(float(at_s) * 1e6, 5), int(leg[k]), int(d[k + 1] >= 0.0)))
    return found


def store(netlist: Path, found: Reference) -> None:
    """Write the results of a run beside its netlist."""
    text: dict[str, Any] = {
        "netlist": found.netlist,
        "version": found.version,
        "crossings": found.crossings,
        "samples": found.samples,
    }
    body = json.dumps(text, separators=(",", ":")).replace("],[", "],\n[")
    (STORED / f"{netlist.stem}.json").write_text(body + "\n")


def stored(netlist: Path) -> Reference:
    """Results of an earlier run; RuntimeError if there are none, or if they are those of another text."""
    path = STORED / f"{netlist.stem}.json"
    if not path.exists():
        raise RuntimeError(f"{netlist.name}: no stored results; {STORE_ANEW}")
    text = json.loads(path.read_text())
    if text["netlist"] != digest(netlist):
        raise RuntimeError(f"{netlist.name} has changed since its results were stored; {STORE_ANEW}")
    crossings = [(float(t), int(leg), int(rising)) for t, leg, rising in text["crossings"]]
    return Reference(text["netlist"], text["version"], text["samples"], crossings)


if __name__ == "__main__":
    for path in NETLISTS:
        store(path, run(path))
        print(path.stem)
