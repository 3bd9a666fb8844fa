"""How long neutral has lasted before arming: the time that a full run of pulses stands for."""

import numpy as np
from numpy.typing import NDArray

from dryspin.monitors.evidence import Evidence, Floats
from dryspin.monitors.periods import periods
from dryspin.monitors.verdict import Ruling, at_least, worst

MISSING_SHARE = 1.75
"""A frame is missing where the gap is so many times the one before: frames of a transmitter are alike, and a
pulse moves within its frame by a tenth at most. Common practice, no source."""


def lasting(evidence: Evidence) -> Ruling:
    """Before arming, neutral has lasted: one pulse after the other, none bad or elsewhere, none missing."""
    demand, limit_s, rulings = evidence.demand, evidence.limits["arm_s"], []
    falls_s = demand.falls_s
    ends_run = ~demand.maybe_neutral | np.append(False, gap_too_long(falls_s))
    for period in evidence.derive(periods):
        if period.armed_s is None:
            continue
        first, last = np.searchsorted(falls_s, (period.start_s, period.armed_s), side="right")
        ends = np.flatnonzero(ends_run[first:last])
        begin = int(first) + (int(ends[-1]) if len(ends) else 0)
        # What ends a run is a bad pulse, or the first good one after a missing frame.
        begin += begin < last and not demand.maybe_neutral[begin]
        seen_s = max(period.armed_s - float(falls_s[begin]), 0.0) if begin < last else 0.0
        words = f"armed {seen_s:.3f} s after the first of the neutral pulses that came without a break"
        rulings.append(at_least(seen_s, limit_s, "s", words, period.armed_s, period.armed_row))
    return worst(rulings, "the firmware never armed")


def gap_too_long(falls_s: Floats) -> NDArray[np.bool_]:
    """For each gap between two pulses, whether a frame is missing in it."""
    gaps_s = np.diff(falls_s)
    before_s = np.append(np.inf, gaps_s[:-1])
    long: NDArray[np.bool_] = gaps_s[: len(before_s)] > MISSING_SHARE * before_s[: len(gaps_s)]
    return long
