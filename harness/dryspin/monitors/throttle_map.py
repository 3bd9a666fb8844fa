"""Throttle map: what the stick makes of the duty, each way: rising, alike, and fine enough.

Positions held still show the map, slow sweeps how finely it is divided. A drive that serves both ways
from one stick has half the stick's way for each: what that costs in steps is counted here.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from dryspin.monitors.claim import Claim, Needs
from dryspin.monitors.demand import FORWARD, GAP_S, NEUTRAL, ONE_WAY, REVERSE
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.learning import StickRange
from dryspin.monitors.motion import WAY
from dryspin.monitors.steady import FULL_COUNTS, Map, Point, map_of, off_counts, share_of, steady_points
from dryspin.monitors.verdict import Ruling, at_least, at_most, discrete, not_exercised, worst
from dryspin.recording import Mark, Signal
from dryspin.scenario import linear_value
from dryspin.scenario.schema import OUTAGES

ORDER = 92

FINE_US: Final = 4.0
"""A sweep moves by no more from pulse to pulse: 1 % of the common 400 us of one way."""

FULL_SHARE: Final = 0.99
"""Of the stick's way: full, but for the counts in which a pulse is measured, 3 us of 360."""

SWEPT_US: Final = 12.0
"""A shorter one shows too few counts to divide by."""

FULL_AFTER_S: Final = 0.6
"""A drive in RUN has its full duty by then: a slew of some 0.4 s, which spares windings and propeller."""

FULL_SEEN_S: Final = 0.2
"""Duty is averaged over so long at the end: ten frames, and a few swings of a duty that hunts."""

_HELD = "no stick was held still under a known range, in a run"


@dataclass(frozen=True, slots=True)
class Sweep:
    """A stick moved slowly one way, in a run: pulses, duty counts seen, share of the way between the ends."""

    start_s: float
    stop_s: float
    direction: int
    share: float
    levels: int
    row: int


def rising(evidence: Evidence) -> Ruling:
    """Further out never means less duty."""
    limit, rulings = evidence.limits["map_counts"], []
    for direction in (FORWARD, REVERSE):
        points = sorted(_known(evidence, direction), key=lambda item: item[0])
        for (a, near), (b, far) in pairwise(points):
            if b - a > 1e-3:
                drop = max(abs(near.counts) - abs(far.counts), 0.0)
                words = f"{WAY[direction]}, {100 * b:.0f} % of the stick's way gives {abs(far.counts):.0f} "
                words += f"counts, {100 * a:.0f} % {abs(near.counts):.0f}"
                rulings.append(at_most(drop, limit, "counts", words, far.t_s, far.row))
    return worst(rulings, "no two positions of the stick were held the same way")


def dead_band(evidence: Evidence) -> Ruling:
    """Inside the declared dead band a steady stick drives nothing, well outside it drives."""
    throttle, rulings = evidence.recording.drive.throttle, []
    nothing_known = Map((), ())
    for point, stick in _points(evidence):
        off = off_counts(throttle, stick, nothing_known, point)
        away_us = abs(point.width_us - stick.neutral_us)
        if off is None and point.counts == 0.0:
            continue
        below = throttle.one_way and point.width_us < stick.neutral_us
        if point.counts and away_us > throttle.dead_band_us and not below:
            off = None  # it drives; which way is the business of commutation
        words = f"{away_us:.0f} us from neutral give {abs(point.counts):.0f} counts of duty; the dead band "
        words += f"ends at {throttle.dead_band_us:.0f} us"
        rulings.append(discrete(bool(off), words, point.t_s, point.row))
    return worst(rulings, "no stick was held still inside or well outside the dead band")


def alike(evidence: Evidence) -> Ruling:
    """The same share of the stick's way gives the same duty either way."""
    throttle, limit, rulings = evidence.recording.drive.throttle, evidence.limits["stick_counts"], []
    points = _points(evidence)
    ahead = map_of(throttle, [(p, r) for p, r in points if p.counts > 0.0])
    for share, point in _known(evidence, REVERSE):
        span = ahead.between(share, share)
        if span is None:
            continue
        off = max(span[0] - abs(point.counts), abs(point.counts) - span[1], 0.0)
        words = f"{100 * share:.0f} % of the stick's way gives {abs(point.counts):.0f} counts in reverse, "
        words += f"{(span[0] + span[1]) / 2:.0f} forward"
        rulings.append(at_most(off, limit, "counts", words, point.t_s, point.row))
    if throttle.one_way:
        return not_exercised(ONE_WAY)
    return worst(rulings, "the stick was not held at like positions both ways")


def usable_steps(evidence: Evidence) -> Ruling:
    """Steps of duty from dead band to full, as dense as a slow sweep shows them."""
    limit, rulings = evidence.limits["usable_steps"], []
    for sweep in evidence.derive(sweeps):
        steps = sweep.levels / sweep.share
        words = f"{WAY[sweep.direction]}, {100 * sweep.share:.1f} % of the stick's way passes {sweep.levels} "
        words += f"steps of duty: {steps:.0f} on the whole way"
        rulings.append(at_least(steps, limit, "", words, sweep.stop_s, sweep.row))
    return worst(rulings, "the stick was not moved slowly in a run")


def full(evidence: Evidence) -> Ruling:
    """A stick held full out gets full duty, on a supply that is nominal at least.

    Below it a drive may spare its pack; and its windings after a stop by the current limit, until the stick
    has been back at neutral for long enough to stop anything.
    """
    recording, limit, rulings = evidence.recording, evidence.limits["full_share"], []
    for run in evidence.spans_of(Mark.RUN):
        start_s, stop_s = float(recording.seconds(run.start)), float(recording.seconds(run.stop))
        for from_s, to_s in _full_out(evidence, start_s, stop_s):
            if to_s - from_s < FULL_AFTER_S or not _unhindered(evidence, from_s, to_s):
                continue
            moments_s = np.linspace(to_s - FULL_SEEN_S, to_s, 100, endpoint=False)
            seen = float(np.mean([recording.value_at(Signal.DUTY, recording.cycle_of(t)) for t in moments_s]))
            row = int(evidence.acts.rows[evidence.acts.index_at(recording.cycle_of(to_s))])
            words = f"full stick for {to_s - from_s:.2f} s in a run gives {seen:.0f} counts of duty"
            rulings.append(at_least(seen / FULL_COUNTS, limit, "", words, to_s, row))
    return worst(rulings, "no stick was held full out for long enough in a run")


def _full_out(evidence: Evidence, start_s: float, stop_s: float) -> list[tuple[float, float]]:
    """Stretches within [start_s, stop_s] in which every pulse surely asks for all there is, one way."""
    throttle, demand, found = evidence.recording.drive.throttle, evidence.demand, []
    stick = _range_at(evidence, start_s)
    if stick is None:
        return []
    first, last = np.searchsorted(demand.falls_s, (start_s, stop_s))
    since_s, way = start_s, 0
    for k in range(max(int(first) - 1, 0), int(last)):
        t_s, share = float(demand.falls_s[k]), share_of(throttle, stick, float(demand.heard_us[k]))
        now = int(np.sign(share)) if demand.valid[k] and abs(share) >= FULL_SHARE else 0
        if way and now != way:
            found.append((since_s, t_s))
        if now != way:
            since_s, way = max(t_s, start_s), now
    if way:
        found.append((since_s, stop_s))
    return found


def _unhindered(evidence: Evidence, from_s: float, to_s: float) -> bool:
    """Supply and load as declared, the supply not below nominal, no outage so far, no current limit in this
    demand."""
    recording = evidence.recording
    nominal_v, scenario = recording.drive.supply.v_v.nominal, recording.scenario
    moments = [from_s, to_s, *(t for t, _ in scenario.supply_v if from_s < t < to_s)]
    limited, values, _ = recording.of(Signal.OVER_CURRENT)
    since_s = max((t_s for t_s in _let_go_s(evidence) if t_s <= from_s), default=0.0)
    limited_s = recording.seconds(limited[values == 1])
    tripped = np.any((limited_s >= since_s) & (limited_s <= to_s))
    return (
        evidence.inside_envelope(from_s, to_s)
        and all(linear_value(scenario.supply_v, t, nominal_v) >= nominal_v for t in moments)
        and not tripped
        and not any(
            fault.at_s <= to_s for fault in scenario.faults if fault.kind in (*OUTAGES, "endless loop")
        )
    )


def _let_go_s(evidence: Evidence) -> list[float]:
    """Ends of all stays at neutral that were long enough to stop a drive and to be seen as its end."""
    return [
        episode.stop_s
        for episode in evidence.episodes
        if episode.asks == NEUTRAL and episode.stop_s - episode.start_s >= evidence.limits["demand_act_s"]
    ]


def sweeps(evidence: Evidence) -> list[Sweep]:
    """Every slow move of the stick within RUN, under a known range, between dead band and full."""
    recording, demand = evidence.recording, evidence.demand
    falls_s, widths_us = demand.falls_s[demand.valid], demand.heard_us[demand.valid]
    if len(falls_s) < 2:
        return []
    moves_us = np.diff(widths_us)
    slow = (np.abs(moves_us) > 0.0) & (np.abs(moves_us) <= FINE_US) & (np.diff(falls_s) <= GAP_S)
    cycles, counts, rows = recording.of(Signal.DUTY)
    found, k = [], 0
    while k < len(slow):
        last = k
        while last < len(slow) and slow[last] and moves_us[last] * moves_us[k] > 0.0:
            last += 1
        # The first duty of a pulse is that of the one before: duty follows within a frame or two.
        inside = evidence.marks_at(np.round(falls_s[k : last + 1] * recording.f_cpu_hz).astype(np.int64))
        stick = _range_at(evidence, float(falls_s[k]))
        if abs(widths_us[last] - widths_us[k]) >= SWEPT_US and stick and np.all(inside == Mark.RUN):
            throttle = recording.drive.throttle
            ends = [share_of(throttle, stick, float(widths_us[n])) for n in (k, last)]
            if min(map(abs, ends)) > 0.0 and max(map(abs, ends)) < 1.0:
                first, stop = np.searchsorted(cycles, np.round(falls_s[[k, last]] * recording.f_cpu_hz))
                span = counts[max(int(first) - 1, 0) : max(int(stop), 1)]
                levels = int(np.count_nonzero(np.bincount(span))) - 1
                share, direction = abs(ends[1] - ends[0]), 1 if ends[0] > 0.0 else -1
                row = int(rows[max(int(stop) - 1, 0)])
                times = float(falls_s[k]), float(falls_s[last])
                found.append(Sweep(*times, direction, share, levels, row))
        k = max(last, k + 1)
    return found


def _range_at(evidence: Evidence, t_s: float) -> StickRange | None:
    """The range in force at `t_s`; None where it is not surely one."""
    ranges = [epoch.ranges for epoch in evidence.epochs if epoch.from_s <= t_s][-1]
    return ranges[0] if len(ranges) == 1 else None


def _points(evidence: Evidence) -> list[tuple[Point, StickRange]]:
    """Positions held still, with the range in force; those under an unknown one left out."""
    ranged = [(point, _range_at(evidence, point.t_s)) for point in evidence.derive(steady_points)]
    return [(point, stick) for point, stick in ranged if stick is not None]


def _known(evidence: Evidence, direction: int) -> list[tuple[float, Point]]:
    """(share of the stick's way, point) of every driven position of one direction."""
    throttle = evidence.recording.drive.throttle
    shared = [(share_of(throttle, stick, point.width_us), point) for point, stick in _points(evidence)]
    return [(min(abs(s), 1.0), p) for s, p in shared if s * direction > 0.0 and p.counts * direction > 0.0]


CLAIMS = (
    Claim(
        "rising",
        "further out on the stick never means less duty",
        Needs.INSIDE,
        rising,
        ("map_counts",),
    ),
    Claim(
        "dead_band",
        "a stick held inside the dead band drives nothing, one well outside it drives",
        Needs.INSIDE,
        dead_band,
    ),
    Claim(
        "alike",
        "the same share of the stick's way gives the same duty forward and in reverse",
        Needs.INSIDE,
        alike,
        ("stick_counts",),
    ),
    Claim(
        "usable_steps",
        "each way of the stick is divided into enough steps of duty",
        Needs.INSIDE,
        usable_steps,
        ("usable_steps",),
    ),
    Claim(
        "full",
        "a stick held full out gets full duty",
        Needs.INSIDE,
        full,
        ("full_share", "demand_act_s"),
    ),
)
