"""Lanes for the page: arrays in one compressed block, and a description of where each of them stands.

Numbers are laid out byte by byte (all lowest bytes, then all second ones, ...): neighbouring values share
their upper bytes, which compresses several times better than whole numbers do. Edges are differences of
cycles, which fit five bytes for eighteen hours.
"""

import base64
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryspin.report.sheet.edges import Edges
from dryspin.report.sheet.lanes import Curves, Lanes

_CYCLE_BYTES = 5

_EFFORT = 6
"""Of zlib: 9 takes three times as long for a hundredth less."""


class Packer:
    """Collects arrays; `text()` is all of them as base64."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []
        self._at = 0
        self._known: dict[int, tuple[NDArray[Any], dict[str, Any]]] = {}

    def cycles(self, cycles: NDArray[np.int64]) -> dict[str, Any]:
        """Cycles in the order of time, as differences. ValueError where they run backwards."""
        steps = np.diff(cycles, prepend=0)
        if len(steps) and (steps.min() < 0 or steps.max() >= 1 << 8 * _CYCLE_BYTES):
            raise ValueError("cycles must be in the order of time, at most 18 hours apart")
        columns = np.ascontiguousarray(steps, "<i8").view(np.uint8).reshape(-1, 8)[:, :_CYCLE_BYTES]
        return self._add("cycles", len(cycles), columns)

    def numbers(self, values: NDArray[Any]) -> dict[str, Any]:
        """Numbers as they are: whole ones of 8 or 16 bits, floats of 32 or 64.

        An array that several lanes share is written once.
        """
        known = self._known.get(id(values))
        if known is None:
            kind = {"u1": "u1", "u2": "u2", "f4": "f4", "f8": "f8"}[values.dtype.str[1:]]
            data = np.ascontiguousarray(values, f"<{kind}")
            entry = self._add(kind, len(values), data.view(np.uint8).reshape(-1, data.itemsize))
            # Held, so that no other array comes to have its id.
            known = self._known[id(values)] = values, entry
        return known[1]

    def _add(self, kind: str, n: int, columns: NDArray[np.uint8]) -> dict[str, Any]:
        data = np.ascontiguousarray(columns.T).tobytes()
        entry = {"kind": kind, "n": n, "at": self._at}
        self._parts.append(data)
        self._at += len(data)
        return entry

    def text(self) -> str:
        """The block, compressed (zlib), as base64."""
        return base64.b64encode(zlib.compress(b"".join(self._parts), _EFFORT)).decode("ascii")


def packed(lanes: Lanes) -> tuple[dict[str, Any], str]:
    """(description, block) of lanes: the description is plain JSON data."""
    packer = Packer()
    described = [
        _edges(lane, packer) if isinstance(lane, Edges) else _curves(lane, packer) for lane in lanes.lanes
    ]
    description = {
        "f_cpu_hz": lanes.f_cpu_hz,
        "end_s": lanes.end_s,
        "moment_s": lanes.moment_s,
        "slice_s": lanes.slice_s,
        "complete": [list(stretch) for stretch in lanes.complete],
        "edges_s": list(lanes.edges_s),
        "angle_step_s": lanes.angle_step_s,
        "angle": packer.numbers(lanes.angle_deg),
        "pole_pairs": lanes.pole_pairs,
        "f_pwm_hz": lanes.f_pwm_hz,
        "lanes": described,
    }
    return description, packer.text()


def _edges(lane: Edges, packer: Packer) -> dict[str, Any]:
    lines: dict[str, Any] = {"lines": []}
    if lane.by is not None:
        lines = {"lines": list(lane.lines), "by": packer.numbers(lane.by.astype(np.uint16, copy=False))}
    return lines | {
        "key": lane.key,
        "label": lane.label,
        "kind": lane.kind,
        "hint": lane.hint,
        "words": list(lane.words),
        "cycles": packer.cycles(lane.cycles),
        "values": packer.numbers(lane.values.astype(np.uint8 if len(lane.words) <= 256 else np.uint16)),
    }


def _curves(lane: Curves, packer: Packer) -> dict[str, Any]:
    return {
        "key": lane.key,
        "label": lane.label,
        "kind": "curves",
        "hint": lane.hint,
        "unit": lane.unit,
        "limits": [{"value": line.value, "text": line.text} for line in lane.limits],
        "t": packer.numbers(lane.t_s),
        "curves": [
            {
                "name": curve.name,
                "complete": packer.numbers(curve.complete),
                "low": packer.numbers(curve.low),
                "high": packer.numbers(curve.high),
            }
            for curve in lane.curves
        ],
    }
