"""Whether a probe shows something from some moment on; if not, a leg where it would, or the reason."""

from typing import Final

import numpy as np

from dryspin.plant.terminals import Floats
from dryspin.recording import GATES, LEG_NAMES, Recording
from dryspin.report.sheet.placement import Probe
from dryspin.report.sheet.probes import trace
from dryspin.report.sheet.terminals import Terminals

FLAT_SHARE: Final = 0.05
"""A trace that moves by less of its largest value is a line on a screen of eight divisions' height."""

_STAYS: Final = (
    "both FETs stay off",
    "the high FET stays on",
    "the low FET stays on",
    "both FETs stay on",
)


def livelier(
    probe: Probe, recording: Recording, points: Terminals, since_s: float, window: tuple[float, float]
) -> Probe:
    """`probe`, or the same on the leg that moves most from `since_s` on where on its own nothing does."""
    if not is_flat(probe, recording, points, since_s, window):
        return probe
    others = [probe._replace(leg=name) for name in LEG_NAMES if name != probe.leg]
    moving = [one for one in others if not is_flat(one, recording, points, since_s, window)]

    def way(one: Probe) -> float:
        after, _ = _after(one, recording, points, since_s, window)
        return float(np.abs(np.diff(after)).sum())

    return max(moving, key=way, default=probe)


def is_flat(
    probe: Probe, recording: Recording, points: Terminals, since_s: float, window: tuple[float, float]
) -> bool:
    """Whether nothing to speak of happens in the trace from `since_s` to the end of the window."""
    after, whole = _after(probe, recording, points, since_s, window)
    return len(after) < 2 or float(np.ptp(after)) <= FLAT_SHARE * float(np.abs(whole).max())


def why_flat(probe: Probe, recording: Recording, since_s: float, to_s: float, when: str) -> str:
    """The reason why a probe that `is_flat` is so, as a sentence; `when` are words for `since_s`."""
    if probe.kind in ("bus", "supply"):
        return f"Nearly flat {when}: the bulk capacitor holds it."
    if probe.kind == "throttle":
        return f"Flat {when}: no pulse comes before the end of the window."
    signal = GATES[LEG_NAMES.index(probe.leg)]
    if recording.seen(signal):
        cycles, values, _ = recording.of(signal)
        first, last = np.searchsorted(recording.seconds(cycles), (since_s, to_s), side="right")
        fets = values[max(first - 1, 0) : last]
        if len(fets) and np.all(fets == fets[0]):
            return f"Flat {when}: in leg {probe.leg} {_STAYS[int(fets[0])]}."
    return f"Flat {when}."


def _after(
    probe: Probe, recording: Recording, points: Terminals, since_s: float, window: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Values after `since_s`, and of the whole window. Of a level a change is as large as it is itself."""
    t_s, values, _ = trace(*probe, recording, points, window)
    inside = (t_s >= window[0]) & (t_s <= window[1])
    return values[inside & (t_s > since_s)], values[inside]
