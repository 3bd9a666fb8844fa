"""What a steady stick makes the drive do: signed duty at a pulse width, and what a range would make of it.

The map from stick to duty is the firmware's own. It is learnt from the recording, where the range is
known, as straight lines between the points seen; the same map then tells which range is in force.
"""

from dataclasses import dataclass
from itertools import accumulate
from typing import Final

import numpy as np

from dryspin.drive import Throttle
from dryspin.monitors.demand import GAP_S, SURE_DEMAND
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.learning import GUARD_US, StickRange
from dryspin.monitors.ranges import Epoch
from dryspin.recording import Mark, Signal

STEADY_US: Final = 2.0
"""Pulses that differ by less ask for the same: a duty count is some 1.6 us of stick."""

HELD_S: Final = 0.3
"""A stick that stands that long has been obeyed: demand is due within it."""

SETTLED_S: Final = 0.1
SETTLED_COUNTS: Final = 8
"""Duty is taken where it moves by no more than 3 % for a tenth of a second."""

FULL_COUNTS: Final = 255.0

BEYOND: Final = 0.1
"""Share of the stick's way by which a map may be continued beyond what was seen."""


@dataclass(frozen=True, slots=True)
class Point:
    """At `t_s` a stick that has stood at `width_us` has led to `counts` of duty, forward positive; 0 idle.

    The width is by the controller's clock: what it makes of a pulse is asked, not how well it keeps time.
    """

    t_s: float
    width_us: float
    counts: float
    row: int


@dataclass(frozen=True, slots=True)
class Map:
    """Duty over the stick's share of its way from the dead band to full, as seen: rising shares."""

    shares: tuple[float, ...]
    counts: tuple[float, ...]

    def between(self, low: float, high: float) -> tuple[float, float] | None:
        """Least and most duty for shares from `low` to `high`; None where nothing near was seen."""
        if not self.shares:
            return None
        below, above = max(self.shares[0] - low, 0.0), max(high - self.shares[-1], 0.0)
        if max(below, above) > BEYOND:
            return None
        seen = np.interp([low, high], self.shares, self.counts)
        # Beyond what was seen, duty may go by as much as full duty over the whole way.
        return float(seen[0]) - FULL_COUNTS * below, float(seen[1]) + FULL_COUNTS * above


def steady_points(evidence: Evidence) -> list[Point]:
    """Every stretch of a steady stick that led to a settled duty, or to none, at its end."""
    recording, demand = evidence.recording, evidence.demand
    falls_s, widths_us = demand.falls_s[demand.valid], demand.heard_us[demand.valid]
    if not len(falls_s):
        return []
    moved = (np.abs(np.diff(widths_us)) > STEADY_US) | (np.diff(falls_s) > GAP_S)
    after_resets = np.searchsorted(falls_s, evidence.resets_s)
    first = np.unique(np.concatenate(([0], np.flatnonzero(moved) + 1, after_resets))).astype(np.int64)
    first = first[first < len(falls_s)]
    last = np.append(first[1:] - 1, len(falls_s) - 1)
    marks = recording.marks
    starts = np.array([span.start for span in marks], np.int64)
    found: list[Point] = []
    if not len(marks):
        return found
    for a, b in zip(first.tolist(), last.tolist(), strict=True):
        from_s, to_s = float(falls_s[a]), float(falls_s[b])
        if to_s - from_s < HELD_S:
            continue
        span = marks[max(int(np.searchsorted(starts, recording.cycle_of(to_s))) - 1, 0)]
        since_s = max(from_s, float(recording.seconds(span.start)))
        if span.mark == Mark.ARMED and to_s - since_s >= HELD_S:
            found.append(Point(to_s, float(widths_us[b]), 0.0, span.row))
        elif span.mark == Mark.RUN and to_s - since_s >= HELD_S:
            cycles, values, rows = recording.of(Signal.DUTY)
            i, j = np.searchsorted(cycles, [recording.cycle_of(t) for t in (to_s - SETTLED_S, to_s)], "right")
            seen = values[max(int(i) - 1, 0) : int(j)]
            way = _way(evidence, to_s)
            if way and len(seen) and np.ptp(seen) <= SETTLED_COUNTS:
                row = int(rows[max(int(j) - 1, 0)])
                found.append(Point(to_s, float(widths_us[b]), way * float(np.mean(seen)), row))
    return found


def map_of(throttle: Throttle, points: list[tuple[Point, StickRange]]) -> Map:
    """The map that `points`, each under a known range, show. Forward and reverse are alike."""
    seen: dict[float, list[float]] = {}
    for point, stick in points:
        low, high = _share(throttle, stick, point.width_us, 0.0)
        if point.counts and low * point.counts > 0.0:
            seen.setdefault(min(abs(low + high) / 2.0, 1.0), []).append(abs(point.counts))
    shares = sorted(seen)
    counts = accumulate((float(np.mean(seen[s])) for s in shares), max)
    return Map(tuple(shares), tuple(counts))


def off_counts(throttle: Throttle, stick: StickRange, known: Map, point: Point) -> float | None:
    """By how many counts `point` is off what the range `stick` makes of it; None where nobody can tell."""
    way = _asked_way(throttle, stick, point.width_us)
    if way is None:
        return None
    if way == 0:
        return abs(point.counts)
    if point.counts * way <= 0.0:
        # Idle where drive is asked for, or driven the other way.
        return FULL_COUNTS
    asked = asked_counts(throttle, stick, known, point.width_us)
    return None if asked is None else max(asked[0] - point.counts, point.counts - asked[1], 0.0)


def asked_counts(
    throttle: Throttle, stick: StickRange, known: Map, width_us: float
) -> tuple[float, float] | None:
    """Least and most duty, forward positive, that the range `stick` makes of `width_us`, by the map `known`.

    None inside the hysteresis of the dead band, and where the map shows nothing near.
    """
    way = _asked_way(throttle, stick, width_us)
    if way is None:
        return None
    if way == 0:
        return 0.0, 0.0
    low, high = sorted(abs(share) for share in _share(throttle, stick, width_us, stick.slack_us))
    span = known.between(min(low, 1.0), min(high, 1.0))
    if span is None:
        return None
    return span if way > 0 else (-span[1], -span[0])


def _asked_way(throttle: Throttle, stick: StickRange, width_us: float) -> int | None:
    """1 forward, -1 reverse, 0 idle; None inside the hysteresis."""
    slack_us = stick.slack_us + GUARD_US
    sign = 1.0 if stick.forward_full_us > stick.neutral_us else -1.0
    ahead_us = sign * (width_us - stick.neutral_us)
    away_us = ahead_us if throttle.one_way else abs(ahead_us)
    if away_us < throttle.dead_band_us - slack_us:
        return 0
    if away_us < SURE_DEMAND * throttle.dead_band_us + slack_us:
        return None
    return 1 if ahead_us > 0.0 else -1


def points_in(points: list[Point], epoch: Epoch, to_s: float) -> list[Point]:
    """The points seen while `epoch` was in force, which was until `to_s`."""
    return [point for point in points if epoch.from_s <= point.t_s < to_s]


def share_of(throttle: Throttle, stick: StickRange, width_us: float) -> float:
    """Share of the way from the dead band (0) to full (1), reverse negative, or 0 on a one-way drive."""
    if throttle.one_way and width_us < stick.neutral_us:
        return 0.0
    return _share(throttle, stick, width_us, 0.0)[0]


def _share(throttle: Throttle, stick: StickRange, width_us: float, slack_us: float) -> tuple[float, float]:
    """Least and most share of the way from dead band to full, signed: forward is positive."""
    sign = 1.0 if stick.forward_full_us > stick.neutral_us else -1.0
    ahead_us = sign * (width_us - stick.neutral_us)
    full_us = stick.forward_full_us if ahead_us > 0.0 else stick.reverse_full_us
    away_us, way = abs(ahead_us) - throttle.dead_band_us, abs(full_us - stick.neutral_us)
    way -= throttle.dead_band_us
    ends = [
        (away_us + shift) / max(way + stretch, 1.0)
        for shift in (-slack_us, slack_us)
        for stretch in (-2.0 * slack_us, 2.0 * slack_us)
    ]
    signed = 1.0 if ahead_us > 0.0 else -1.0
    return signed * min(ends), signed * max(ends)


def _way(evidence: Evidence, t_s: float) -> int:
    """Direction of the steps around `t_s`; 0 where there are none."""
    steps = evidence.directed_steps
    k = int(np.searchsorted(steps.start_s, t_s, side="right")) - 1
    return int(steps.direction[k]) if k >= 0 else 0
