"""Calibration: the stick's range is learnt only as declared, and whatever happens is whole afterwards.

Entered from power-on with the stick held high; three positions, each held still; then stored, or
given up with nothing changed. Which range is in force afterwards, the drive itself must show: by
what a steady stick makes it do.
"""

from collections.abc import Callable
from itertools import pairwise

import numpy as np

from dryspin.drive import Calibration, Throttle
from dryspin.monitors.claim import Claim, Needs
from dryspin.monitors.completing import awake_s, completed, let_in
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.learning import NOT_STORED, OPEN, SILENT, STORED, Learning, StickRange
from dryspin.monitors.ranges import Epoch
from dryspin.monitors.steady import Map, Point, asked_counts, map_of, off_counts, points_in, steady_points
from dryspin.monitors.verdict import (
    Ruling,
    Status,
    at_least,
    at_most,
    by_margin,
    discrete,
    not_exercised,
    worst,
)
from dryspin.recording import Reset, Signal

ORDER = 60

GUARD_US = 1.0
"""Two ticks: the firmware measures in whole ones."""

_NEVER = "the firmware never said that it learns the stick's range"
_CAUSES = {
    Reset.EXTERNAL: "an external reset",
    Reset.BROWN_OUT: "a brown-out",
    Reset.WATCHDOG: "a reset by the watchdog",
}


def entry(evidence: Evidence) -> Ruling:
    """Entered only from power-on, by a full run of high pulses from the first one on, at rest.

    A run of high pulses that may not lead there shows it by leading nowhere.
    """
    recording, rulings = evidence.recording, []
    calibration = recording.drive.calibration
    for learning in evidence.learnings:
        if calibration is None:
            break
        moment_s, row = learning.start_s, learning.row
        if learning.cause != Reset.POWER_ON:
            words = f"learning begins after {_CAUSES.get(Reset(learning.cause), 'a reset')}"
            rulings.append(discrete(True, words, moment_s, row))
        rpm = abs(evidence.rpm_at(moment_s))
        words = f"learning begins while the rotor turns at {rpm:.0f} rpm"
        rulings.append(at_most(rpm, evidence.limits["turning_rpm"], "rpm", words, moment_s, row))
        rulings += _high_pulses(evidence, calibration, learning)
    if calibration is not None:
        rulings += _shut_out(evidence, calibration)
    return worst(rulings, f"{_NEVER}, nor was it asked to in vain")


def _high_pulses(evidence: Evidence, calibration: Calibration, learning: Learning) -> list[Ruling]:
    """The pulses since the firmware woke up: high ones only, and enough of them."""
    demand, recording = evidence.demand, evidence.recording
    rises_s = recording.seconds(recording.pulses.rises)
    seen = np.flatnonzero(
        (rises_s > awake_s(evidence, learning.awake_s)) & (demand.falls_s <= learning.start_s)
    )
    high = ~demand.invalid[seen] & (demand.heard_us[seen] > calibration.enter_us - GUARD_US)
    # A lost signal ends a run as a lower pulse does: what comes after it may be another stick.
    after_loss = np.append(False, np.diff(demand.falls_s[seen]) > evidence.limits["loss_s"])[: len(seen)]
    other = np.flatnonzero(~high)
    lost = np.flatnonzero(after_loss)
    count = len(seen) - max(int(other[-1]) + 1 if len(other) else 0, int(lost[-1]) if len(lost) else 0)
    words = f"learning begins after {count} high pulses in a row"
    moment_s, row = learning.start_s, learning.row
    rulings = [at_least(count, calibration.enter_frames, "pulses", words, moment_s, row)]
    low = seen[demand.valid[seen] & (demand.heard_us[seen] < calibration.enter_us - GUARD_US)]
    if len(low):
        words = f"learning begins although the stick was not high at {demand.falls_s[low[0]]:.3f} s, "
        words += f"after power-on at {learning.awake_s:.3f} s"
        rulings.append(discrete(True, words, moment_s, row))
    return rulings


def _shut_out(evidence: Evidence, calibration: Calibration) -> list[Ruling]:
    """Full runs of high pulses behind a lower one since the start: none of them begins learning."""
    demand, rulings = evidence.demand, []
    high = demand.valid & (demand.heard_us > calibration.enter_us + GUARD_US)
    low = demand.valid & (demand.heard_us < calibration.enter_us - GUARD_US)
    starts_s = [0.0, *evidence.resets_s]
    for start_s, stop_s in pairwise((*starts_s, evidence.recording.end_s)):
        first, last = np.searchsorted(demand.falls_s, (awake_s(evidence, start_s), stop_s))
        lower = np.flatnonzero(low[first:last])
        if not len(lower):
            continue
        run = 0
        for k in range(int(first) + int(lower[0]), int(last)):
            run = run + 1 if high[k] else 0
            fall_s = float(demand.falls_s[k])
            if run < calibration.enter_frames or any(
                learning.start_s <= fall_s <= learning.stop_s for learning in evidence.learnings
            ):
                continue
            words = f"the stick is up for {run} pulses to {fall_s:.3f} s, but not from the first one on"
            rulings.append(discrete(False, words, fall_s))
            break
    return rulings


def leaving(evidence: Evidence) -> Ruling:
    """Left with three positions held in order and stored, or given up in time with the range as it was."""
    recording, rulings = evidence.recording, []
    calibration = recording.drive.calibration
    for learning in evidence.learnings:
        if calibration is None:
            break
        row = learning.ended_row
        if learning.outcome == SILENT:
            words = "learning ends without a word on whether the range was stored"
            rulings.append(discrete(True, words, learning.ended_s, row))
        if learning.outcome == STORED and not learning.learnt:
            words = f"a range is stored after {_positions(learning)}"
            rulings.append(discrete(True, words, learning.ended_s, row))
        if learning.written_s is not None and not learning.learnt:
            words = f"the store is written after {_positions(learning)}"
            rulings.append(discrete(True, words, learning.written_s, learning.written_row))
        seen_s = (recording.end_s if learning.outcome == OPEN else learning.ended_s) - learning.start_s
        limit_s, over_s = evidence.limits["storing_s"], max(seen_s - calibration.timeout_s, 0.0)
        if learning.outcome in (STORED, NOT_STORED) or over_s > limit_s:
            words = f"learning takes {seen_s:.3f} s, {over_s:.3f} s more than its time-out"
            rulings.append(at_most(over_s, limit_s, "s", words, learning.start_s + seen_s, row))
        if learning.outcome in (STORED, NOT_STORED):
            on_s = learning.stop_s - learning.ended_s
            words = f"learning goes on for {on_s:.3f} s after the word on how it ended"
            rulings.append(at_most(on_s, limit_s, "s", words, learning.ended_s + min(on_s, limit_s), row))
    rulings += _range_rulings(evidence, lambda epoch: _outcome(epoch) == NOT_STORED)
    return worst(rulings, _NEVER)


def sane_range(evidence: Evidence) -> Ruling:
    """A stored range has full far enough from neutral, and not too far; and the drive obeys it."""
    recording, rulings = evidence.recording, []
    calibration = recording.drive.calibration
    for learning in evidence.learnings:
        if calibration is None or learning.outcome != STORED or not learning.learnt:
            continue
        low_us, high_us = calibration.span_min_us, calibration.span_max_us
        spans = [_worst_span(stick, low_us, high_us) for stick in learning.sane or learning.learnt]
        margin, span_us, limit_us = max(spans)
        # A learnt position is known to a few microseconds only: at the border either is right.
        margin = max(margin, 0.0) if learning.sane else margin
        words = f"a range is stored with full {span_us:.0f} us from neutral, after {_positions(learning)}"
        rulings.append(
            by_margin(margin, span_us, limit_us, "us", words, learning.ended_s, learning.ended_row)
        )
    rulings += _range_rulings(evidence, lambda epoch: _outcome(epoch) == STORED)
    return worst(rulings, "no range was stored")


def writes(evidence: Evidence) -> Ruling:
    """The store is written only while learning, with no FET on and the rotor at rest."""
    recording, rulings = evidence.recording, []
    cycles, values, rows = recording.of(Signal.STORE)
    written = np.flatnonzero(cycles > 0)
    gates = recording.gates
    on = np.any(gates.values != 0, axis=1)
    spans = [(learning.start_s, learning.stop_s) for learning in evidence.learnings]
    for k in written.tolist():
        moment_s, row = float(recording.seconds(cycles[k])), int(rows[k])
        what = f"byte {int(values[k]) >> 8} of the store is written"
        if not any(start_s <= moment_s <= stop_s for start_s, stop_s in spans):
            rulings.append(discrete(True, f"{what} while the firmware does not learn", moment_s, row))
        first, stop = gates.index_at(np.array([cycles[k], _written_until(evidence, int(cycles[k]))]))
        driven = np.flatnonzero(on[first : stop + 1])
        if len(driven):
            on_s = float(recording.seconds(gates.cycles[first + driven[0]]))
            rulings.append(discrete(True, f"{what} while a FET is on", max(moment_s, on_s), row))
        rpm = abs(evidence.rpm_at(moment_s))
        words = f"{what} while the rotor turns at {rpm:.0f} rpm"
        rulings.append(at_most(rpm, evidence.limits["turning_rpm"], "rpm", words, moment_s, row))
    return worst(rulings, "the store was never written")


def old_or_new(evidence: Evidence) -> Ruling:
    """Cut off while it was being written, the range is the old one or the new one, never a mix."""
    doubtful = [epoch for epoch in evidence.epochs if epoch.in_doubt]
    if not doubtful:
        return not_exercised("learning was never cut off after the store had been written to")
    rulings = _range_rulings(evidence, lambda epoch: epoch.in_doubt)
    if not rulings:
        why = "the stick was never held still for long enough where old and new range differ"
        if not any(epoch.ranges for epoch in doubtful):
            why = "the old or the new range is not known"
        return Ruling(Status.CANNOT_TELL, text=f"learning was cut off in its writing, but {why}")
    return worst(rulings, "")


def _range_rulings(evidence: Evidence, which: Callable[[Epoch], bool]) -> list[Ruling]:
    """For each of the epochs, and each start of the controller in it: one of its ranges explains all."""
    recording, limit = evidence.recording, evidence.limits["stick_counts"]
    throttle = recording.drive.throttle
    all_epochs = evidence.epochs
    if not any(which(epoch) for epoch in all_epochs):
        return []
    points = evidence.derive(steady_points)
    ends_s = [*(epoch.from_s for epoch in all_epochs[1:]), recording.end_s]
    known: list[tuple[Point, StickRange]] = []
    rulings = []
    for epoch, end_s in zip(all_epochs, ends_s, strict=True):
        mine = points_in(points, epoch, end_s)
        if which(epoch) and epoch.ranges and mine:
            seen = map_of(throttle, known)
            borders = [epoch.from_s, *(t for t in evidence.resets_s if epoch.from_s < t < end_s), end_s]
            for from_s, to_s in pairwise(borders):
                here = [p for p in mine if from_s <= p.t_s < to_s]
                offs = [[(off_counts(throttle, r, seen, p), p) for p in here] for r in epoch.ranges]
                if epoch.in_doubt and not any(_apart(throttle, epoch, seen, p, limit) for p in here):
                    continue
                told = [[(off, p) for off, p in found if off is not None] for found in offs]
                if not all(told):
                    continue
                worsts = [max(found, key=lambda item: item[0]) for found in told]
                off, point = min(worsts, key=lambda item: item[0])
                words = f"at {point.width_us:.0f} us the drive runs at {point.counts:.0f} counts, "
                words += f"{off:.0f} off what " + _whose(epoch) + " would make of it"
                rulings.append(at_most(off, limit, "counts", words, point.t_s, point.row))
        if len(epoch.ranges) == 1:
            known += [(p, epoch.ranges[0]) for p in mine]
    return rulings


def _apart(throttle: Throttle, epoch: Epoch, known: Map, point: Point, limit: float) -> bool:
    """Whether two ranges of the epoch make duties of the point's stick that differ by more than `limit`.

    By what they ask for, not by what came: a mix may lie as far from the one as from the other.
    """
    asked = [asked_counts(throttle, stick, known, point.width_us) for stick in epoch.ranges]
    told = [span for span in asked if span is not None]
    return len(told) == len(asked) and max(low for low, _ in told) - min(high for _, high in told) > limit


def _whose(epoch: Epoch) -> str:
    if epoch.in_doubt:
        return "either the old or the new range, whichever is nearer,"
    return "the stored range" if _outcome(epoch) == STORED else "the range before"


def _outcome(epoch: Epoch) -> str:
    return epoch.after.outcome if epoch.after is not None else ""


def _written_until(evidence: Evidence, cycle: int) -> int:
    """End of the write that began at `cycle`."""
    cycles, busy, _ = evidence.recording.of(Signal.STORE_BUSY)
    later = cycles[(cycles > cycle) & (busy == 0)]
    return int(later[0]) - 1 if len(later) else cycle


def _worst_span(stick: StickRange, low_us: float, high_us: float) -> tuple[float, float, float]:
    """(margin, span, limit) of whichever span, forward or reverse, is nearer to its bound; us."""
    found = []
    for full_us in (stick.forward_full_us, stick.reverse_full_us):
        span_us = abs(full_us - stick.neutral_us)
        found.append(((span_us - low_us) / low_us, span_us, low_us))
        found.append(((high_us - span_us) / high_us, span_us, high_us))
    return min(found)


def _positions(learning: Learning) -> str:
    if not learning.held:
        return "no position was held still"
    return " ".join(["holds at", ", ".join(f"{held.width_us:.0f}" for held in learning.held), "us"])


CLAIMS = (
    Claim(
        "entry",
        "learning begins only after power-on, by a full run of high pulses from the first one on, at rest",
        Needs.PINS | Needs.INSIDE,
        entry,
        ("turning_rpm", "loss_s"),
    ),
    Claim(
        "let_in",
        "learning begins in time where the stick is up from power-on for as long as declared",
        Needs.PINS | Needs.INSIDE,
        let_in,
        ("let_in_s", "rest_rpm"),
    ),
    Claim(
        "leaving",
        "learning ends with positions held in order, or in time with the range as it was",
        Needs.PINS | Needs.INSIDE,
        leaving,
        ("storing_s", "stick_counts"),
    ),
    Claim(
        "completed",
        "learning is given up for a reason only; without one, what was held is stored, and soon",
        Needs.PINS | Needs.INSIDE,
        completed,
        ("storing_s", "rest_rpm"),
    ),
    Claim(
        "sane_range",
        "a stored range is neither narrow nor wide, and is obeyed",
        Needs.PINS | Needs.INSIDE,
        sane_range,
        ("stick_counts",),
    ),
    Claim(
        "writes",
        "the store is written only while learning, with every FET off and the rotor at rest",
        Needs.PINS | Needs.INSIDE,
        writes,
        ("turning_rpm",),
    ),
    Claim(
        "old_or_new",
        "cut off in its writing, the range is the old one or the new one, never a mix",
        Needs.PINS | Needs.INSIDE,
        old_or_new,
        ("stick_counts",),
    ),
)
