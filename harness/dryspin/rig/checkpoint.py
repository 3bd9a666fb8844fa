"""A run frozen at one moment, and which scenarios may go on from there.

A continuation gives the bits of a straight run of its own scenario, so that scenario must be the
one of the checkpoint up to the moment at which the core had looked ahead; anything may follow.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from dryspin.errors import RigError
from dryspin.recording import Signal
from dryspin.rig.settings import Settings
from dryspin.scenario import Scenario, Trace


@dataclass(frozen=True)
class Checkpoint:
    """A run of `scenario` frozen at `at_s` (s from power-on).

    settled_s: up to here the scenario has been acted on. image_digest: of the build, whose library must be
    loaded in this very process. memory, edges, states: what the core and the recording held.
    """

    scenario: Scenario
    at_s: float
    settled_s: float
    image_digest: str
    memory: bytes = field(repr=False)
    edges: np.ndarray[Any, Any] = field(repr=False)
    states: np.ndarray[Any, Any] = field(repr=False)
    settings: Settings = field(repr=False)
    settled_cycle: int = 0

    def begins(self, other: Settings, scenario: Scenario) -> bool:
        """Whether `scenario`, whose settings are `other`, can go on from here."""
        return not _difference(self, other, scenario)

    def require_same_start(self, other: Settings, scenario: Scenario) -> None:
        """Raise RigError unless `scenario`, whose settings are `other`, begins as the checkpoint's."""
        if why := _difference(self, other, scenario):
            raise RigError(
                f"the scenario cannot go on from the checkpoint at {self.at_s:.6f} s: {why}; it must be the "
                f"same up to {self.settled_s:.6f} s, or be run from power-on"
            )


def _difference(checkpoint: Checkpoint, other: Settings, scenario: Scenario) -> str:
    own, settled = checkpoint.settings, checkpoint.settled_cycle
    before = checkpoint.scenario
    for name in ("rest_deg", "store", "parts"):
        if getattr(before, name) != getattr(scenario, name):
            return f"{name} is another"
    if before.seed != scenario.seed and _seed_asked(checkpoint):
        return "seed is another"
    if min(own.end_cycle, other.end_cycle) <= settled:
        return "it ends before"
    for name in ("throttle_cycle", "reset_cycle", "endless_cycle"):
        if _until(own, name, settled) != _until(other, name, settled):
            return f"{_WORDS[name]} come at other moments"
    if _outages(own, settled) != _outages(other, settled):
        return "the supply fails at other moments"
    for name, default in _DEFAULTS.items():
        ours, theirs = getattr(before, name), getattr(scenario, name)
        if (name == "speed_rpm" and bool(ours) != bool(theirs)) or not _same_until(
            ours or ((0.0, default),), theirs or ((0.0, default),), settled / own.f_cpu_hz
        ):
            return f"{name} is another"
    if not _same_until(_supply(own, before), _supply(other, scenario), settled / own.f_cpu_hz):
        return "supply_v is another"
    if own.params != other.params or own.charged != other.charged:
        return "the drive is another"
    return ""


_WORDS = {"throttle_cycle": "throttle pulses", "reset_cycle": "resets", "endless_cycle": "endless loops"}

_DEFAULTS: dict[str, float] = {
    "load_factor": 1.0,
    "load_nm": 0.0,
    "speed_rpm": 0.0,
    "water_rpm": 0.0,
    "comparator_noise_mv": 0.0,
}
"""Value of an empty trace."""


def _seed_asked(checkpoint: Checkpoint) -> bool:
    """Whether chance has had a part in it: noise, or a store that may have lost its supply in a write."""
    noise_mv, settled_s = checkpoint.scenario.comparator_noise_mv, checkpoint.settled_s
    begun = sum(t_s <= settled_s for t_s, _ in noise_mv)
    # the point that follows counts where noise is on its way to it
    if any(value for _, value in noise_mv[: begun + 1]):
        return True
    edges = checkpoint.edges
    return bool(np.any((edges["signal"] == Signal.RESET) & (edges["cycle"] > 0)))


def _supply(settings: Settings, scenario: Scenario) -> Trace:
    return scenario.supply_v or ((0.0, settings.struct.supply_v.value[0]),)


def _until(settings: Settings, name: str, settled: int) -> list[int]:
    """Cycles up to `settled`, of one of the arrays of moments."""
    count = getattr(settings.struct, f"n_{name.removesuffix('_cycle')}")
    return (
        [c for c in settings.ffi.unpack(getattr(settings.struct, name), count) if c <= settled]
        if count
        else []
    )


def _outages(settings: Settings, settled: int) -> list[tuple[int, int, int]]:
    struct = settings.struct
    all_of_them = [struct.outage[k] for k in range(struct.n_outage)]
    return [(getattr(o, "from"), o.to, o.at_once) for o in all_of_them if getattr(o, "from") <= settled]


def _same_until(ours: Trace, theirs: Trace, settled_s: float) -> bool:
    """Whether two traces are one up to a moment: same points, and the same slope beyond the last."""
    begun = [sum(t_s <= settled_s for t_s, _ in points) for points in (ours, theirs)]
    if ours[: begun[0]] != theirs[: begun[1]]:
        return False
    value = ours[begun[0] - 1][1]
    following = [
        points[n] if n < len(points) else None for points, n in zip((ours, theirs), begun, strict=True)
    ]
    level = all(point is None or point[1] == value for point in following)
    return level or following[0] == following[1]
