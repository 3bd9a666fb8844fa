"""Where the two probes go and how much time they look at, by the claim and by what happens at the moment."""

from typing import Final, NamedTuple

import numpy as np

from dryspin.findings import Outcome
from dryspin.recording import GATES, LEG_NAMES, LEGS, Leg, Recording, Signal
from dryspin.report.sheet.limits import duration_s
from dryspin.report.sheet.terminals import Terminals


class Probe(NamedTuple):
    """A kind of `probes.PROBES`, and the leg it is put to."""

    kind: str
    leg: str

    @property
    def name(self) -> str:
        """Short: "current U", "low gate V", "bus"."""
        if self.kind == "crossing":
            return f"{self.leg} - neutral"
        words = {"high": "high gate", "low": "low gate", "sense": "sense pin", "supply": "supply current"}
        word = words.get(self.kind, self.kind)
        return word if self.kind in ("bus", "supply", "throttle") else f"{word} {self.leg}"


_BY_CLAIM: Final = {
    "gates": ("high", "low"),
    "gates.two_high": ("high", "high"),
    "gates.reset_opens": ("low", "current"),
    "commutation": ("crossing", "low"),
    "commutation.direction": ("terminal", "low"),
    "commutation.order": ("terminal", "low"),
    "startup": ("current", "terminal"),
    "startup.in_time": ("current", "crossing"),
    "synchronism": ("current", "crossing"),
    "synchronism.joining": ("current", "terminal"),
    "reversal": ("current", "terminal"),
    "reversal.in_time": ("current", "crossing"),
    "reversal.bus_voltage": ("bus", "supply"),
    "reversal.neutral": ("throttle", "current"),
    "arming": ("throttle", "current"),
    "calibration": ("throttle", "current"),
    "tones": ("current", "terminal"),
    "electrical": ("current", "bus"),
    "electrical.bus_voltage": ("bus", "supply"),
    "electrical.sense_pin": ("sense", "bus"),
    "throttle_map": ("throttle", "terminal"),
    "controller": ("low", "current"),
    "controller.latency": ("low", "crossing"),
    "controller.sighted": ("low", "crossing"),
}
"""Family or claim -> kinds of the two probes; a claim goes before its family."""

_WINDOW_S: Final = {
    "gates": 100e-6,
    "commutation": 2e-3,
    "startup": 1.0,
    "synchronism": 0.2,
    "reversal": 10e-3,
    "arming": 0.5,
    "calibration": 1.0,
    "tones": 5e-3,
    "electrical": 5e-3,
    "throttle_map": 0.2,
    "controller": 0.2,
}
"""How much time to see, where the claim's limit is no duration; s."""


def probes_for(
    outcome: Outcome, recording: Recording, points: Terminals, moment_s: float
) -> tuple[Probe, Probe]:
    """The two probes for a claim, each on the leg where something happens at the moment."""
    family = outcome.claim.partition(".")[0]
    first, second = _BY_CLAIM.get(outcome.claim) or _BY_CLAIM.get(family, ("current", "bus"))
    moved = _moved_last(recording, moment_s)
    if outcome.claim == "gates.two_high":
        high = [name for name, on in zip(LEG_NAMES, _commanded_high(recording, moment_s), strict=True) if on]
        return Probe(first, high[0] if high else moved), Probe(second, high[1] if len(high) > 1 else moved)
    if family == "gates":
        return Probe(first, moved), Probe(second, moved)
    busy = _largest_current(points, moment_s) or moved
    sensed = busy
    if recording.seen(Signal.SENSE_LEG):
        sensed = LEG_NAMES[min(recording.value_at(Signal.SENSE_LEG, recording.cycle_of(moment_s)), 2)]
    if family == "commutation":
        return Probe(first, sensed), Probe(second, moved)
    return Probe(first, busy), Probe(second, sensed if second == "crossing" else busy)


def window_s(outcome: Outcome) -> float:
    """How much time to see: limit and what was seen twice over, or what the family usually takes."""
    limit_s = duration_s(outcome, outcome.limit)
    if limit_s is not None:
        return max(2.0 * limit_s, 2.0 * (duration_s(outcome, outcome.seen) or 0.0), 2e-6)
    return _WINDOW_S.get(outcome.claim.partition(".")[0], 10e-3)


def around(moment_s: float) -> tuple[float, float]:
    """From and to (s) of what decides which leg is the busy one."""
    return moment_s - 1e-4, moment_s + 1e-3


def _largest_current(points: Terminals, moment_s: float) -> str:
    """The leg with the largest current within a millisecond; "" where none flows."""
    first, last = np.searchsorted(points.t_s, around(moment_s))
    currents = np.abs(points.currents_a[first:last])
    if not len(currents) or float(currents.max()) < 0.1:
        return ""
    return LEG_NAMES[int(currents.max(axis=0).argmax())]


def _moved_last(recording: Recording, moment_s: float) -> str:
    """The leg whose FETs changed last, up to a microsecond after the moment."""
    cycle = recording.cycle_of(moment_s + 1e-6)
    moved = [int(at[at <= cycle][-1]) if np.any(at <= cycle) else -1 for at, _, _ in map(recording.of, GATES)]
    return LEG_NAMES[int(np.argmax(moved))]


def _commanded_high(recording: Recording, moment_s: float) -> list[bool]:
    """For each leg whether its high FET is commanded, on or chopped, a microsecond after the moment."""
    cycle = recording.cycle_of(moment_s + 1e-6)
    return [recording.seen(leg) and recording.value_at(leg, cycle) >= Leg.HIGH for leg in LEGS]
