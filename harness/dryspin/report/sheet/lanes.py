"""A recording as lanes over time: what is drawn, before anything is drawn.

Edges are complete. Curves are complete for `COMPLETE_S` around the moment, and least and largest value in
slices of time elsewhere, so that nothing that happened is left out of either.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dryspin.recording import LEG_NAMES, Recording
from dryspin.report.sheet.edges import Edges, edge_lanes
from dryspin.report.sheet.limits import LimitLine
from dryspin.report.sheet.terminals import Terminals, terminals_of
from dryspin.units import rpm_from_rad_s

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

COMPLETE_S: Final = 0.05
"""Curves are complete from so long before the moment to so long after it."""

SLICES: Final = 8000
"""Slices of time outside: more than twice as many as a wide screen has columns."""


@dataclass(frozen=True)
class Curve:
    """One line of a lane: complete inside, `low` and `high` in each slice."""

    name: str
    complete: NDArray[np.float32]
    low: NDArray[np.float32]
    high: NDArray[np.float32]


@dataclass(frozen=True)
class Curves:
    """A lane of curves in one unit."""

    key: str
    label: str
    unit: str
    t_s: Floats
    curves: tuple[Curve, ...]
    limits: tuple[LimitLine, ...] = ()
    hint: str = ""


@dataclass(frozen=True)
class Lanes:
    """All lanes of a recording, in the order they are drawn.

    slice_s: length of a slice. complete: from and to (s). angle_deg: electrical, unwrapped, at equal
    steps of `angle_step_s` from 0 on; empty where nobody saw the rotor. edges_s: where lanes of edges
    have all of them (s); outside they have none.
    """

    lanes: tuple[Edges | Curves, ...]
    f_cpu_hz: float
    end_s: float
    moment_s: float
    slice_s: float
    complete: tuple[float, float]
    angle_step_s: float
    angle_deg: Floats
    pole_pairs: int
    f_pwm_hz: float
    edges_s: tuple[float, float]
    missing: tuple[str, ...] = field(default=())

    @property
    def edges(self) -> int:
        """Edges of all lanes together."""
        return sum(len(lane.cycles) for lane in self.lanes if isinstance(lane, Edges))


def lanes_of(recording: Recording, moment_s: float, limits: Sequence[LimitLine] = ()) -> Lanes:
    """The lanes of `recording`, complete around `moment_s`; `limits` are lines on the curves."""
    end_s = recording.end_s
    complete = max(0.0, moment_s - COMPLETE_S), min(end_s, moment_s + COMPLETE_S)
    slice_s = max(end_s / SLICES, 1e-6)
    step_s = max(1e-4, end_s / 100_000)
    lanes = list(edge_lanes(recording))
    missing = []
    if len(recording.states) > 1:
        view = _Slicer(terminals_of(recording), complete, slice_s, end_s)
        curves = _curves(recording, view, limits)
        at = next(k for k, lane in enumerate(lanes) if lane.key == "handlers")
        ordered: list[Edges | Curves] = [*lanes[:at], *curves, *lanes[at:]]
        angle = np.degrees(recording.theta_at(np.arange(0.0, end_s + step_s, step_s)))
    else:
        ordered = [*lanes]
        missing.append("currents, voltages, speed and rotor angle: the recording has none")
        angle = np.zeros(0)
    return Lanes(
        lanes=tuple(ordered),
        f_cpu_hz=recording.f_cpu_hz,
        end_s=end_s,
        moment_s=moment_s,
        slice_s=slice_s,
        complete=complete,
        angle_step_s=step_s,
        angle_deg=angle,
        pole_pairs=recording.drive.motor.pole_pairs,
        f_pwm_hz=recording.drive.bridge.f_pwm_hz,
        edges_s=(0.0, end_s),
        missing=tuple(missing),
    )


# ---- curves ----------------------------------------------------------------------------------------


class _Slicer:
    """Cuts values at the points of `Terminals` into what is complete and what is sliced."""

    def __init__(
        self, points: Terminals, complete: tuple[float, float], slice_s: float, end_s: float
    ) -> None:
        self.points = points
        # One point more on both sides, so that the curve leaves the window where it should.
        first = max(int(np.searchsorted(points.t_s, complete[0])) - 1, 0)
        self._inside = slice(first, int(np.searchsorted(points.t_s, complete[1], side="right")) + 1)
        borders = np.arange(math.ceil(end_s / slice_s - 1e-9)) * slice_s
        self._starts = np.minimum(np.searchsorted(points.t_s, borders), len(points.t_s) - 1)
        self._edges = np.append(borders, end_s)

    @property
    def t_s(self) -> Floats:
        """Times of the complete part."""
        return self.points.t_s[self._inside]

    def curve(self, name: str, values: Floats) -> Curve:
        """A curve through `values`, one a point."""
        low = np.minimum.reduceat(values, self._starts)
        high = np.maximum.reduceat(values, self._starts)
        # A curve crosses the border of a slice between two points: both slices have to show it there.
        across = np.interp(self._edges, self.points.t_s, values)
        empty = np.append(self._starts[1:] == self._starts[:-1], False)
        low, high = np.where(empty, across[:-1], low), np.where(empty, across[:-1], high)
        for border in (across[:-1], across[1:]):
            low, high = np.minimum(low, border), np.maximum(high, border)
        return Curve(name, *(a.astype(np.float32) for a in (values[self._inside], low, high)))


def _curves(recording: Recording, view: _Slicer, limits: Sequence[LimitLine]) -> list[Curves]:
    points = view.points
    names = LEG_NAMES

    def lane(key: str, label: str, unit: str, curves: Sequence[Curve], hint: str = "") -> Curves:
        mine = tuple(line for line in limits if key.startswith(line.lane))
        return Curves(key, label, unit, view.t_s, tuple(curves), mine, hint=hint)

    lanes = [
        lane(f"current_{name.lower()}", f"current {name}", "A", [view.curve(name, points.currents_a[:, leg])],
             "into the motor")
        for leg, name in enumerate(names)
    ]  # fmt: skip
    neutral = view.curve("N", points.neutral_v)
    for leg, name in enumerate(names):
        terminal = view.curve(name, points.legs_v[:, leg])
        lanes.append(
            lane(f"voltage_{name.lower()}", f"terminal {name}", "V", [terminal, neutral], "N neutral")
        )
    lanes.append(lane("bus", "bus", "V", [view.curve("bus", points.bus_v)]))
    speed = rpm_from_rad_s(1.0) * recording.w_at(points.t_s)
    lanes.append(lane("speed", "speed", "rpm", [view.curve("speed", speed)], "+ forward"))
    return lanes
