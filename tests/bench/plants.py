"""Real-time factor of four ways to compute one golden case, side by side.

    python -m tests.bench.plants [--csv FILE]

The case is the second golden one: 21 V behind 20 milliohm, 470 uF, 14 000 rpm, high side chopped at
20 kHz, 2.5 ms. Printed as a Markdown table; the times are of the CPU, the least of several runs. The
fast plant and the equations are led from edge to edge by this file; ngspice's share is its whole
process, start and output included.
"""

from __future__ import annotations

import argparse
import csv
import platform
import resource
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import scipy
from scipy.integrate import solve_ivp

from dryspin.plant.conduction import LAW_TOLERANCE_V, OPEN, Legs
from dryspin.plant.decision import decide
from dryspin.plant.emf import shape_of
from dryspin.plant.equations import EquationPlant
from dryspin.plant.machine import Equations, Machine
from dryspin.rig.twin import TwinPlant

from ..spice import reference
from ..spice.cases import CASES

CASE = next(case for case in CASES if case.netlist == "g2")
NETLIST = next(path for path in reference.NETLISTS if path.stem.startswith("g2_"))
RTOL, ATOL = 1e-10, 1e-12
STOPS_A = 1e-9
"""A diode stops this far on the wrong side of zero: one that has just begun at zero has not stopped."""
Rows = np.ndarray[Any, Any]


@dataclass(frozen=True)
class Measured:
    """One way: CPU seconds for the case, and how far its currents are from scipy's (rms, share of peak)."""

    name: str
    cpu_s: float
    differs: float | None

    @property
    def real_time_factor(self) -> float:
        """Simulated seconds for one of the CPU."""
        return CASE.end_s / self.cpu_s


def samples_s() -> list[float]:
    """The moments at which ngspice's currents are kept."""
    return [row[0] * 1e-6 for row in reference.stored(NETLIST).samples]


def led_through(plant: TwinPlant | EquationPlant, also_s: list[float]) -> Rows:
    """Currents of U, V, W at `also_s`, the plant led through the edges of the case."""
    plant.input = CASE.input
    edges_s, at = CASE.edges_s(), set(also_s)
    gates, rows = CASE.gates(0.0), []
    for stop_s in sorted({*edges_s, *at, CASE.end_s}):
        while plant.advance(stop_s, gates)[1] is not None:
            pass
        if stop_s in at:
            rows.append((plant.state.i_u_a, plant.state.i_v_a, plant.state.i_w_a))
        if stop_s in edges_s:
            gates = CASE.gates(stop_s)
    return np.array(rows)


def _breaks(equations: Equations, n: int, legs: Legs) -> Callable[[float, Rows], float] | None:
    """What is above zero while leg `n` keeps its law: a diode's current, an open leg's way to a clamp.

    Beyond the clamp by more than `decide` forgives, or it would find the leg open for ever.
    """
    leg, v_f_v = legs[n], CASE.params.v_f_v
    if leg is OPEN:

        def margin(_t: float, y: Rows) -> float:
            v = equations.terminals(*y)[n]
            return float(min(equations.bus(*y) + v_f_v - v, v + v_f_v)) + 2.0 * LAW_TOLERANCE_V
    elif leg.direction:

        def margin(_t: float, y: Rows) -> float:
            return float(leg.direction * y[n]) + STOPS_A
    else:
        return None
    margin.terminal, margin.direction = True, -1.0  # type: ignore[attr-defined]
    return margin


def by_scipy(also_s: list[float]) -> Rows:
    """The equations of the machine as a hybrid automaton around scipy's DOP853, events by its root finder.

    Good for a driven rotor and a supply that sinks, which the case has: only currents and bus move.
    """
    assert CASE.params.fixed_speed
    assert CASE.params.sinks
    machine = Machine(CASE.params, shape_of(CASE.params)[0])
    machine.impose(CASE.input)
    y = np.array([0.0, 0.0, 0.0, CASE.state.v_bus_v, CASE.state.w_rad_s, CASE.state.theta_rad])
    wanted, rows = np.array(also_s), []
    for from_s, to_s in pairwise([*CASE.edges_s(), CASE.end_s]):
        gates, t_s = CASE.gates(from_s), from_s
        while t_s < to_s:
            legs, equations = decide(machine, tuple(y), gates, 0.0, 1.0)
            events = {n: margin for n in range(3) if (margin := _breaks(equations, n, legs))}

            def rates(_t: float, y: Rows, equations: Equations = equations) -> Any:
                return equations.rates(*y)

            found = solve_ivp(
                rates,
                (t_s, to_s),
                y,
                method="DOP853",
                rtol=RTOL,
                atol=ATOL,
                events=list(events.values()),
                dense_output=True,
            )
            inside = wanted[(wanted > t_s) & (wanted <= found.t[-1])]
            if len(inside):
                rows.append(found.sol(inside)[:3].T)
            t_s, y = float(found.t[-1]), found.y[:, -1].copy()
            for n, times in zip(events, found.t_events or (), strict=True):
                if len(times) and legs[n] is not OPEN:
                    y[n] = 0.0
            carrying = [n for n in range(3) if y[n] != 0.0]
            if carrying:
                y[carrying[-1]] = -sum(y[n] for n in range(3) if n != carrying[-1])
    return np.concatenate(rows) if rows else np.zeros((0, 3))


def cpu_s(run: Callable[[], object], repeats: int) -> float:
    """Least CPU time of `repeats` runs, that of processes it starts included."""
    seen = []
    for _ in range(repeats):
        before = time.process_time() + _children_s()
        run()
        seen.append(time.process_time() + _children_s() - before)
    return min(seen)


def _children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def measure() -> list[Measured]:
    """All four; without ngspice installed, three."""
    at = samples_s()
    exact = by_scipy(at)

    def differs(rows: Rows) -> float:
        return float(np.sqrt(np.mean((rows - exact) ** 2)) / np.abs(exact).max())

    def twin() -> TwinPlant:
        return TwinPlant(CASE.params, CASE.state)

    def equations() -> EquationPlant:
        return EquationPlant(CASE.params, CASE.state)

    measured = [
        Measured("fast plant", cpu_s(lambda: led_through(twin(), []), 20), differs(led_through(twin(), at))),
        Measured(
            "equation plant",
            cpu_s(lambda: led_through(equations(), []), 3),
            differs(led_through(equations(), at)),
        ),
        Measured(f"scipy {scipy.__version__}, DOP853, rtol 1e-10", cpu_s(lambda: by_scipy([]), 1), None),
    ]
    if reference.available():
        found = reference.run(NETLIST)
        rows = np.array(found.samples)[:, 1:4]
        measured.append(Measured(found.version, cpu_s(lambda: reference.run(NETLIST), 2), differs(rows)))
    return measured


def table(measured: list[Measured]) -> str:
    """Markdown."""
    lines = ["| plant | times real time | currents differ by |", "| --- | --- | --- |"]
    for one in measured:
        share = "reference" if one.differs is None else f"{100.0 * one.differs:.2g} % of peak"
        lines.append(f"| {one.name} | {one.real_time_factor:.2g} | {share} |")
    return "\n".join(lines)


def processor() -> str:
    """What the CPU calls itself."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.machine()
    names = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.machine()


def main(arguments: list[str]) -> None:
    """Print the table; with --csv, write it too."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.plants", description=__doc__)
    parser.add_argument("--csv", type=Path, help="write the figures there, one row a plant")
    given = parser.parse_args(arguments)
    measured = measure()
    print(table(measured))
    if not reference.available():
        print("\nngspice is not installed: its row is missing")
    if given.csv:
        with given.csv.open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            writer.writerow(["processor", "plant", "cpu_s", "times_real_time", "current_difference_share"])
            for one in measured:
                writer.writerow([processor(), one.name, one.cpu_s, one.real_time_factor, one.differs])


if __name__ == "__main__":
    main(sys.argv[1:])
