"""A recording as lanes over time: what is drawn, before anything is drawn.

Edges are complete. Curves are complete for `COMPLETE_S` around the moment, and around one more where there
is one, and least and largest value in slices of time elsewhere, so that nothing that happened is left out
of either.
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
from dryspin.report.sheet.terminals import Terminals, pieces_of, terminals_of
from dryspin.units import rpm_from_rad_s

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Stretches = tuple[tuple[float, float], ...]

COMPLETE_S: Final = 0.05
"""Curves are complete from so long before a moment to so long after it."""

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

    slice_s: length of a slice. complete: from and to (s) of each stretch in which curves are, in the order
    of time. angle_deg: electrical, unwrapped, at equal steps of `angle_step_s` from 0 on; empty where nobody
    saw the rotor. edges_s: where lanes of edges have all of them (s); outside they have none.
    """

    lanes: tuple[Edges | Curves, ...]
    f_cpu_hz: float
    end_s: float
    moment_s: float
    slice_s: float
    complete: Stretches
    angle_step_s: float
    angle_deg: Floats
    pole_pairs: int
    f_pwm_hz: float
    edges_s: tuple[float, float]
    missing: tuple[str, ...] = field(default=())

    def is_complete(self, from_s: float, to_s: float) -> bool:
        """Whether curves are complete throughout a stretch of time."""
        return any(begin_s <= from_s and to_s <= end_s for begin_s, end_s in self.complete)

    @property
    def edges(self) -> int:
        """Edges of all lanes together."""
        return sum(len(lane.cycles) for lane in self.lanes if isinstance(lane, Edges))


def lanes_of(
    recording: Recording,
    moment_s: float,
    limits: Sequence[LimitLine] = (),
    also_s: float | None = None,
) -> Lanes:
    """The lanes of `recording`, complete around `moment_s` and `also_s`; `limits` are lines on the curves."""
    end_s = recording.end_s
    complete = _around(recording, sorted({moment_s, moment_s if also_s is None else also_s}))
    slice_s = max(end_s / SLICES, 1e-6)
    step_s = max(1e-4, end_s / 100_000)
    lanes = list(edge_lanes(recording))
    missing = []
    if len(recording.states) > 1:
        curves = _curves(recording, complete, slice_s, limits)
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


def _around(recording: Recording, moments_s: Sequence[float]) -> Stretches:
    """Stretches around moments, in the order of time; one where a segment of the plant reaches into both."""
    t_s, found = recording.state_t_s, list[tuple[float, float]]()
    for moment_s in moments_s:
        from_s, to_s = max(0.0, moment_s - COMPLETE_S), min(recording.end_s, moment_s + COMPLETE_S)
        if found and np.searchsorted(t_s, from_s) <= np.searchsorted(t_s, found[-1][1], side="right"):
            found[-1] = found[-1][0], to_s
        else:
            found.append((from_s, to_s))
    return tuple(found)


# ---- curves ----------------------------------------------------------------------------------------


class _Slicer:
    """Least and largest value of several curves in each slice of time, taken up piece by piece."""

    def __init__(self, curves: int, slice_s: float, end_s: float) -> None:
        self._borders = np.append(np.arange(math.ceil(end_s / slice_s - 1e-9)) * slice_s, end_s)
        slices = len(self._borders) - 1
        self._low, self._high = np.full((curves, slices), np.inf), np.full((curves, slices), -np.inf)
        # A curve crosses the border of a slice between two points: both slices have to show it there.
        self._across = np.full((curves, slices + 1), np.nan)
        self._done = 0
        self._last = np.zeros(curves)

    def take(self, t_s: Floats, values: Floats) -> None:
        """The next points: `values` has a row for each curve."""
        upto = int(np.searchsorted(self._borders, t_s[-1], side="right"))
        for curve, row in zip(self._across, values, strict=True):
            curve[self._done : upto] = np.interp(self._borders[self._done : upto], t_s, row)
        self._done, self._last = upto, values[:, -1]
        slices = np.searchsorted(self._borders[:-1], t_s, side="right") - 1
        starts = np.flatnonzero(np.append(True, slices[1:] != slices[:-1]))
        at = slices[starts]
        self._low[:, at] = np.minimum(self._low[:, at], np.minimum.reduceat(values, starts, axis=1))
        self._high[:, at] = np.maximum(self._high[:, at], np.maximum.reduceat(values, starts, axis=1))

    def ends(self) -> tuple[Floats, Floats]:
        """(least, largest), a row for each curve; beyond the last point a curve stays where it was."""
        across = self._across
        across[:, self._done :] = self._last[:, None]
        low = np.minimum(self._low, np.minimum(across[:, :-1], across[:, 1:]))
        return low, np.maximum(self._high, np.maximum(across[:, :-1], across[:, 1:]))


_RPM: Final = rpm_from_rad_s(1.0)
_DRAWN: Final = 9


def _values(points: Terminals) -> Floats:
    """All that is drawn of the points: currents, terminals, neutral, bus, speed in rpm; a row each."""
    return np.stack(
        [*points.currents_a.T, *points.legs_v.T, points.neutral_v, points.bus_v, _RPM * points.w_rad_s]
    )


def _curves(
    recording: Recording, complete: Stretches, slice_s: float, limits: Sequence[LimitLine]
) -> list[Curves]:
    slicer = _Slicer(_DRAWN, slice_s, recording.end_s)
    for piece in pieces_of(recording):
        slicer.take(piece.t_s, _values(piece))
    low, high = (each.astype(np.float32) for each in slicer.ends())
    near = [terminals_of(recording, *stretch) for stretch in complete]
    t_s = np.concatenate([points.t_s for points in near])
    whole = np.concatenate([_values(points) for points in near], axis=1).astype(np.float32)
    names = (*LEG_NAMES, *LEG_NAMES, "N", "bus", "speed")
    drawn = [Curve(*each) for each in zip(names, whole, low, high, strict=True)]

    def lane(key: str, label: str, unit: str, curves: list[Curve], hint: str = "") -> Curves:
        mine = tuple(line for line in limits if key.startswith(line.lane))
        return Curves(key, label, unit, t_s, tuple(curves), mine, hint=hint)

    currents, terminals, (neutral, bus, speed) = drawn[:3], drawn[3:6], drawn[6:]
    lanes = [
        lane(f"current_{one.name.lower()}", f"current {one.name}", "A", [one], "into the motor")
        for one in currents
    ]
    lanes += [
        lane(f"voltage_{one.name.lower()}", f"terminal {one.name}", "V", [one, neutral], "N neutral")
        for one in terminals
    ]
    lanes.append(lane("bus", "bus", "V", [bus]))
    lanes.append(lane("speed", "speed", "rpm", [speed], "+ forward"))
    return lanes
