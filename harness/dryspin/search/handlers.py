"""What handlers took over all scenarios of a check: longest, mean, share at top speed; interrupts off."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from dryspin.findings import Subject, Trial
from dryspin.recording import Recording, Signal
from dryspin.rig.rig import OffSpan
from dryspin.scenario import Scenario
from dryspin.timing.handlers import Call, calls_of, handler_name
from dryspin.timing.steps import top_window
from dryspin.units import rpm_from_rad_s


@dataclass(frozen=True, slots=True)
class HandlerUse:
    """All complete calls of one handler, cycles, without those that interrupted it; `cycles`: their sum."""

    vector: int
    calls: int
    cycles: int
    longest: int

    @property
    def mean(self) -> float:
        """Of one call, cycles."""
        return self.cycles / self.calls

    def and_also(self, other: "HandlerUse") -> "HandlerUse":
        """Of two sets of scenarios."""
        longest = max(self.longest, other.longest)
        return HandlerUse(self.vector, self.calls + other.calls, self.cycles + other.cycles, longest)


@dataclass
class HandlerTimes:
    """Of a set of scenarios.

    handlers: by vector. off: the longest stretch with interrupts off. top_rad_s: the highest speed of the
    rotor, mechanical; shares: by vector, what handlers took of the time at that speed, in that scenario.
    names: by vector, as the kind of firmware has them.
    """

    handlers: dict[int, HandlerUse] = field(default_factory=dict)
    off: OffSpan = field(default_factory=lambda: OffSpan(0, "", 0))
    top_rad_s: float = 0.0
    shares: dict[int, float] = field(default_factory=dict)
    names: dict[int, str] = field(default_factory=dict)

    @property
    def top_rpm(self) -> float:
        """The highest speed of the rotor."""
        return rpm_from_rad_s(self.top_rad_s)

    def add(self, recording: Recording, off: OffSpan) -> None:
        """Count one run in, with its longest stretch with interrupts off."""
        calls = _calls(recording)
        self._count(_uses(calls))
        vectors = {*self.handlers, off.vector} - self.names.keys() - {0}
        self.names |= {vector: handler_name(vector, recording.drive) for vector in vectors}
        self.off = max(self.off, off, key=lambda each: each.cycles)
        speeds = recording.state_w_rad_s
        top_rad_s = float(np.abs(speeds).max()) if len(speeds) else 0.0
        if top_rad_s > self.top_rad_s:
            self.top_rad_s, self.shares = top_rad_s, _shares(calls, top_window(recording))

    def merge(self, other: "HandlerTimes") -> None:
        """Count the runs of another set in, which came later."""
        self._count(other.handlers)
        self.names |= other.names
        self.off = max(self.off, other.off, key=lambda each: each.cycles)
        if other.top_rad_s > self.top_rad_s:
            self.top_rad_s, self.shares = other.top_rad_s, other.shares

    def _count(self, more: dict[int, HandlerUse]) -> None:
        for vector, use in more.items():
            known = self.handlers.get(vector)
            self.handlers[vector] = use if known is None else known.and_also(use)


class HandlerWatch:
    """A subject that notes what the handlers took in each trial that it runs."""

    def __init__(self, subject: Subject) -> None:
        self._subject = subject
        self.times = HandlerTimes()

    def forget(self) -> None:
        """As if nothing had been run."""
        self.times = HandlerTimes()

    def search_trial(self, scenario: Scenario, shared_s: float | None) -> Trial:
        """Run, note, judge as the subject does; a run that ends early is not noted."""
        recording = self._subject.searched(scenario, shared_s)
        self.times.add(recording, self._subject.rig.longest_without_interrupts())
        return self._subject.judge(recording, digest=False)


_CALL = np.dtype([("vector", "i8"), ("start", "i8"), ("stop", "i8"), ("own", "i8")])
"""A `Call` as a row: a check has millions of them."""

Calls = np.ndarray[tuple[int], np.dtype[np.void]]


def _calls(recording: Recording) -> Calls:
    """As `calls_of`; where no handler interrupted another, without a look at each."""
    cycles, values, rows = recording.of(Signal.HANDLER)
    reset_cycles, _, reset_rows = recording.of(Signal.RESET)
    order = np.argsort(np.concatenate((rows, reset_rows)), kind="stable")
    at = np.concatenate((cycles, reset_cycles))[order]
    what = np.concatenate((values, np.full(len(reset_rows), -1)))[order]
    if np.any((what[:-1] > 0) & (what[1:] > 0)):
        return _rows(calls_of(recording))
    begins = np.flatnonzero((what[:-1] > 0) & (what[1:] == 0))
    found = np.zeros(len(begins), _CALL)
    found["vector"], found["start"], found["stop"] = what[begins], at[begins], at[begins + 1]
    found["own"] = found["stop"] - found["start"]
    return found


def _rows(calls: Sequence[Call]) -> Calls:
    return np.array([(call.vector, call.start, call.stop, call.own) for call in calls], _CALL)


def _uses(calls: Calls) -> dict[int, HandlerUse]:
    found = {}
    for vector in np.unique(calls["vector"]).tolist():
        own = calls["own"][calls["vector"] == vector]
        found[vector] = HandlerUse(vector, len(own), int(own.sum()), int(own.max()))
    return found


def _shares(calls: Calls, window: tuple[int, int]) -> dict[int, float]:
    """By vector, the part of the window (cycles) that calls wholly inside it took."""
    inside = calls[(window[0] <= calls["start"]) & (calls["stop"] <= window[1])]
    length = max(window[1] - window[0], 1)
    return {
        vector: int(inside["own"][inside["vector"] == vector].sum()) / length
        for vector in np.unique(inside["vector"]).tolist()
    }
