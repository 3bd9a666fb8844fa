"""Bootstrap capacitors, what the drivers of the high FETs live on: charged while the terminal is low.

In a bridge at rest with open legs they run empty; a driver with too little turns its FET on by half, or not
at all. A firmware may rely on the first off-times of its chopping. One that says it precharges owes that to
every start.
"""

import numpy as np

from dryspin.monitors.evidence import LEG_COLUMNS, Evidence
from dryspin.monitors.verdict import Ruling, at_least, not_exercised, worst
from dryspin.recording import GATES, LEG_NAMES, Leg, Mark
from dryspin.recording.signals import LOW_FET


def charged(evidence: Evidence) -> Ruling:
    """Low FET of the leg that a start first drives high: on for long enough, before every start from rest.

    What chops has charged them a capacitor's time ago at most; so has a rotor that turns, whose terminals
    dip below ground.
    """
    recording, limits = evidence.recording, evidence.limits
    lasts_s, found = limits["high_on_max_s"], []
    # The mark that says why may come behind the legs.
    says_s = limits["transition_us"] * 1e-6
    driven_s = -np.inf
    for start_s, stop_s, row in evidence.drive_spans:
        rests = start_s - driven_s > lasts_s and abs(evidence.rpm_at(start_s)) <= limits["rest_rpm"]
        driven_s = stop_s
        if not rests or evidence.mark_at_s(start_s + says_s) not in (Mark.ALIGN, Mark.RAMP):
            continue
        legs = evidence.acts.values[evidence.acts.index_at(recording.cycle_of(start_s)), LEG_COLUMNS]
        for leg in np.flatnonzero(legs >= Leg.HIGH):
            seen_s = _low_s(evidence, int(leg), start_s - lasts_s, start_s)
            words = f"the low FET of leg {LEG_NAMES[leg]} has charged the high driver for "
            words += f"{seen_s * 1e3:.2f} ms before the start of {start_s:.3f} s"
            found.append(at_least(seen_s, limits["charge_s"], "s", words, start_s, row))
    if not evidence.spans_of(Mark.PRECHARGE):
        return not_exercised("the firmware never said that it precharges")
    return worst(found, "no rotor was started from rest")


def _low_s(evidence: Evidence, leg: int, from_s: float, to_s: float) -> float:
    """How long within [from_s, to_s] the low FET of `leg` is on."""
    recording = evidence.recording
    cycles, values, _ = recording.of(GATES[leg])
    times_s = np.clip(recording.seconds(np.append(cycles, recording.end_cycle)), from_s, to_s)
    return float(np.sum(np.diff(times_s)[(values & LOW_FET) != 0]))
