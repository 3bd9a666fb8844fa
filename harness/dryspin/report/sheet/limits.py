"""Which limit of which claim is a line on which lane; the others are shown as a length beside what was seen.

A limit is drawn on a curve only where the claim compares that very curve with it. The mean current of a tone,
for instance, is no line on the phase currents.
"""

from dataclasses import dataclass
from typing import Final

from dryspin.findings import Outcome


@dataclass(frozen=True)
class LimitLine:
    """A limit drawn across a lane of curves."""

    lane: str
    value: float
    text: str


_BOTH_WAYS: Final = (1.0, -1.0)
_UPWARDS: Final = (1.0,)

ON_LANE: Final = {
    "reversal.opposing_drive": ("speed", "rpm", _BOTH_WAYS),
    "reversal.phase_current": ("current", "A", _BOTH_WAYS),
    "electrical.phase_current": ("current", "A", _BOTH_WAYS),
    "reversal.bus_voltage": ("bus", "V", _UPWARDS),
    "electrical.bus_voltage": ("bus", "V", _UPWARDS),
    "arming.after_reset": ("speed", "rpm", _BOTH_WAYS),
    "calibration.writes": ("speed", "rpm", _BOTH_WAYS),
    "tones.still": ("speed", "rpm", _BOTH_WAYS),
}
"""Claim -> lane, unit, signs: what the claim's check holds against its limit is what the lane shows."""

SECONDS: Final = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}


NO_DURATIONS: Final = frozenset({"calibration.sane_range"})
"""Claims whose microseconds are a stick's travel, not a stretch of time."""


def duration_s(outcome: Outcome, value: float | None) -> float | None:
    """`value`, in the unit of the claim, in s; None where it is no duration."""
    if value is None or outcome.unit not in SECONDS or outcome.claim in NO_DURATIONS:
        return None
    return value * SECONDS[outcome.unit]


def limit_lines(outcome: Outcome) -> tuple[LimitLine, ...]:
    """The lines of a claim's limit; none where no curve is what it compares."""
    lane, unit, signs = ON_LANE.get(outcome.claim, ("", "", ()))
    if outcome.limit is None or outcome.unit != unit:
        return ()
    return tuple(
        LimitLine(lane, sign * outcome.limit, f"limit {sign * outcome.limit:g} {unit}") for sign in signs
    )
