"""A recording as lanes over time: what is drawn, before anything is drawn.

Edges are complete. Curves are complete for `COMPLETE_S` around the moment, and least and largest value in
slices of time elsewhere, so that nothing that happened is left out of either.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from dryspin.recording import GATES, LEG_NAMES, Mark, Recording, Signal
from dryspin.report.sheet.limits import LimitLine
from dryspin.report.sheet.terminals import Terminals, terminals_of
from dryspin.units import rpm_from_rad_s

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

COMPLETE_S: Final = 0.05
"""Curves are complete from so long before the moment to so long after it."""

SLICES: Final = 8000
"""Slices of time outside: more than twice as many as a wide screen has columns."""

VECTORS: Final = {
    11: "throttle edge",
    12: "compare A",
    13: "compare B",
    14: "tick wrap",
    22: "ADC done",
    24: "comparator edge",
}
"""Handlers by vector number, as `port/pin_plan.md` has them."""

Kind = Literal["levels", "words", "ticks"]


@dataclass(frozen=True)
class Edges:
    """A lane of edges: `values` hold from `cycles` on, `words` name them (levels have none).

    levels: 0 and 1, or the FETs of a leg (bit 0 high, bit 1 low). words: a text while a value holds, "" for
    nothing. ticks: moments only, the value says which kind, of `words`.
    """

    key: str
    label: str
    kind: Kind
    cycles: Ints
    values: Ints
    words: tuple[str, ...] = ()
    hint: str = ""


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
    steps of `angle_step_s` from 0 on; empty where nobody saw the rotor.
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
    lanes = list(_edges(recording))
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
        missing=tuple(missing),
    )


# ---- edges -----------------------------------------------------------------------------------------


def _edges(recording: Recording) -> Iterator[Edges]:
    pulses = recording.pulses
    cycles, levels, _ = recording.of(Signal.THROTTLE)
    yield Edges("throttle", "throttle pin", "levels", cycles, levels, hint=f"{len(pulses)} pulses")
    yield _widths(recording)
    yield _marks(recording)
    yield from _announced(recording)
    for signal, name in zip(GATES, LEG_NAMES, strict=True):
        cycles, values, _ = recording.of(signal)
        yield Edges(
            f"gates_{name.lower()}", f"gates {name}", "levels", cycles, values, ("off", "high", "low", "both")
        )
    yield _sense(recording)
    cycles, values, _ = recording.of(Signal.COMPARATOR)
    yield Edges("comparator", "comparator", "levels", cycles, values, hint="1: above neutral")
    yield _crossings(recording)
    cycles, values, _ = recording.of(Signal.HANDLER)
    codes = {0: 0, **{vector: k + 1 for k, vector in enumerate(VECTORS)}}
    unknown = sorted(set(np.unique(values).tolist()) - codes.keys())
    codes |= {vector: len(codes) + k for k, vector in enumerate(unknown)}
    words = ("", *VECTORS.values(), *(f"vector {vector}" for vector in unknown))
    yield Edges("handlers", "handlers", "words", cycles, _coded(values, codes), words)


def _widths(recording: Recording) -> Edges:
    """Width of the throttle pulses, from the end of the first pulse of a width on; "none" between pulses."""
    pulses, hz = recording.pulses, recording.f_cpu_hz
    silent = round(1.5e-3 * recording.scenario.frame_ms * hz)
    widths_us = np.round(pulses.widths * (1e6 / hz), 1)
    stops = np.append(pulses.falls[1:], recording.end_cycle)
    known: dict[str, int] = {"": 0, "none": 1}
    cycles, values = [0], [0]
    for fall, stop, width_us in zip(pulses.falls.tolist(), stops.tolist(), widths_us.tolist(), strict=True):
        code = known.setdefault(f"{width_us:g} us", len(known))
        if code != values[-1]:
            cycles.append(fall)
            values.append(code)
        if stop - fall > silent:
            cycles.append(fall + silent)
            values.append(1)
    at, codes = np.array(cycles, np.int64), np.array(values, np.int64)
    return Edges("width", "pulse width", "words", at, codes, tuple(known))


def _marks(recording: Recording) -> Edges:
    """What the firmware says it is doing, as states."""
    spans = [(span.start, span.mark) for span in recording.marks]
    cycles = np.array([start for start, _ in spans], np.int64)
    values = np.array([mark for _, mark in spans], np.int64)
    known = sorted(set(values.tolist()))
    words = tuple(_mark_word(mark, {}) for mark in known)
    return Edges(
        "marks", "firmware says", "words", cycles, _coded(values, {m: k for k, m in enumerate(known)}), words
    )


def _announced(recording: Recording) -> Iterator[Edges]:
    """Moments that the firmware marks: tones by name, stores. Crossings have a lane of their own."""
    tones = {tone.mark: f"tone {tone.name}" for tone in recording.drive.tones}
    cycles, values, _ = recording.of(Signal.MARK)
    said = (values > Mark.CROSSING) & (values < 256)
    if not np.any(said):
        return
    known = np.unique(values[said])
    words = tuple(_mark_word(int(mark), tones) for mark in known)
    yield Edges("announced", "announces", "ticks", cycles[said], np.searchsorted(known, values[said]), words)


def _mark_word(mark: int, tones: dict[int, str]) -> str:
    if mark in tones:
        return tones[mark]
    known = mark in Mark._value2member_map_
    return Mark(mark).name.lower().replace("_", " ") if known else f"mark {mark}"


def _sense(recording: Recording) -> Edges:
    """Phase selected and edge expected; in brackets while its interrupt is off."""
    signals = (Signal.SENSE_LEG, Signal.SENSE_EDGE, Signal.SENSE_IRQ)
    cycles = np.unique(np.concatenate([recording.of(signal)[0] for signal in signals]))
    if not len(cycles):
        return Edges("sense", "sense", "words", cycles, cycles)
    leg, edge, on = (
        recording.value_at(signal, cycles) if recording.seen(signal) else np.zeros(len(cycles), np.int64)
        for signal in signals
    )
    values = leg | edge << 2 | on << 3
    keep = np.append(True, values[1:] != values[:-1])
    words = tuple(
        f"{'' if code >> 3 else '('}{LEG_NAMES[min(code & 3, 2)]}{'↑' if code >> 2 & 1 else '↓'}"
        f"{'' if code >> 3 else ')'}"
        for code in range(16)
    )
    return Edges(
        "sense", "sense", "words", cycles[keep], values[keep], words, "phase, edge; ( ): not awaited"
    )


def _crossings(recording: Recording) -> Edges:
    """Zeros of the phases' EMF, rising and falling, and the crossings that the firmware took."""
    cycles, values, _ = recording.of(Signal.MARK)
    taken = cycles[values == Mark.CROSSING]
    moments, codes = [taken], [np.zeros(len(taken), np.int64)]
    if len(recording.states) > 1:
        for leg in range(3):
            t_s, rises = recording.true_crossings(leg)
            moments.append(np.round(t_s * recording.f_cpu_hz).astype(np.int64))
            codes.append(1 + 2 * leg + np.where(rises, 0, 1))
    at = np.concatenate(moments)
    order = np.argsort(at, kind="stable")
    words = ("taken", *(f"{name}{arrow}" for name in LEG_NAMES for arrow in "↑↓"))
    return Edges("crossings", "crossings", "ticks", at[order], np.concatenate(codes)[order], words)


def _coded(values: Ints, codes: dict[int, int]) -> Ints:
    table = np.zeros(max(codes, default=0) + 1, np.int64)
    for value, code in codes.items():
        table[value] = code
    return table[values] if len(values) else values


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
            lane(f"voltage_{name.lower()}", f"terminal {name}", "V", [terminal, neutral], "N: neutral")
        )
    lanes.append(lane("bus", "bus", "V", [view.curve("bus", points.bus_v)]))
    speed = rpm_from_rad_s(1.0) * recording.w_at(points.t_s)
    lanes.append(lane("speed", "speed", "rpm", [view.curve("speed", speed)], "mechanical, + forward"))
    return lanes


def spans_of(lane: Edges, end: int) -> Iterator[tuple[int, int, int]]:
    """(from, to, value) of a lane of words or levels, in cycles."""
    for (start, stop), value in zip(
        pairwise([*lane.cycles.tolist(), end]), lane.values.tolist(), strict=True
    ):
        yield start, stop, value
