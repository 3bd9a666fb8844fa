"""Controller: the part is used so that a fault of the code, or a late handler, does no harm."""

import numpy as np

from dryspin.monitors.claim import Claim, Needs
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.verdict import Ruling, at_most, discrete, not_exercised, worst
from dryspin.recording import Reset, Signal, Vector
from dryspin.recording.timeline import merge

ORDER = 94


def loop_opens(evidence: Evidence) -> Ruling:
    """Once the code goes round in circles nothing but a reset opens the legs it has left driven."""
    recording, limit_s, rulings = evidence.recording, evidence.limits["loop_s"], []
    for fault in recording.scenario.faults:
        row = int(recording.legs.index_at(recording.cycle_of(fault.at_s)))
        if fault.kind != "endless loop" or not np.any(recording.legs.values[row]):
            continue
        seen_s = evidence.next_reset_s(fault.at_s) - fault.at_s
        if fault.at_s + seen_s >= recording.end_s and seen_s <= limit_s:
            continue
        words = f"in an endless loop from {fault.at_s:.4f} s on the legs stay driven for {seen_s:.4f} s"
        moment_s = fault.at_s + min(seen_s, limit_s)
        rulings.append(at_most(seen_s, limit_s, "s", words, moment_s, int(recording.legs.rows[row])))
    return worst(rulings, "no endless loop came while a leg was driven")


def watched(evidence: Evidence) -> Ruling:
    """The windings are driven only while the watchdog is on."""
    recording = evidence.recording
    if not evidence.drive_spans:
        return not_exercised("the windings were never driven")
    for start_s, _, row in evidence.drive_spans:
        on = int(recording.value_at(Signal.WATCHDOG, recording.cycle_of(start_s)))
        if not on:
            return discrete(True, "the windings are driven with the watchdog off", start_s, row)
    turned_off, values, rows = recording.of(Signal.WATCHDOG)
    for cycle, row in zip(turned_off[values == 0].tolist(), rows[values == 0].tolist(), strict=True):
        t_s = float(recording.seconds(cycle))
        # A reset turns it off, and opens the legs at the same moment.
        if any(start_s < t_s < stop_s for start_s, stop_s, _ in evidence.drive_spans):
            return discrete(True, "the watchdog is turned off while the windings are driven", t_s, int(row))
    return discrete(False, "the watchdog is on whenever the windings are driven")


def fed(evidence: Evidence) -> Ruling:
    """Code that runs feeds the watchdog: it bites only after an endless loop."""
    recording = evidence.recording
    _, values, _ = recording.of(Signal.WATCHDOG)
    if not np.any(values):
        return not_exercised("the watchdog was never on")
    loops_s = [fault.at_s for fault in recording.scenario.faults if fault.kind == "endless loop"]
    cycles, causes, rows = recording.of(Signal.RESET)
    starts_s = [float(recording.seconds(c)) for c in cycles]
    for k, (t_s, cause) in enumerate(zip(starts_s, causes, strict=True)):
        since_s = starts_s[k - 1] if k else 0.0
        if cause == Reset.WATCHDOG and not any(since_s <= loop_s <= t_s for loop_s in loops_s):
            return discrete(
                True, "the watchdog resets a controller whose code was running", t_s, int(rows[k])
            )
    return discrete(False, "the watchdog did not bite running code")


def latency(evidence: Evidence) -> Ruling:
    """From the comparator's edge, its interrupt on, to the handler."""
    recording, limit_us = evidence.recording, evidence.limits["latency_us"]
    sense = [recording.of(s) for s in (Signal.COMPARATOR, Signal.SENSE_EDGE, Signal.SENSE_IRQ)]
    if not all(len(stream[0]) for stream in sense):
        return not_exercised("the comparator's interrupt was never used")
    line = merge(sense, recording.end_cycle)
    due = (line.values[:, 0] == line.values[:, 1]) & (line.values[:, 2] == 1)
    begins = np.flatnonzero(due & ~np.concatenate(([False], due[:-1])))
    entries, vectors, rows = recording.of(Signal.HANDLER)
    mine = vectors == Vector.COMPARATOR_EDGE
    entries, rows = entries[mine], rows[mine]
    at = np.searchsorted(entries, line.cycles[begins])
    known = at < len(entries)
    # An interrupt turned off before its handler came was not wanted any more.
    known[known] &= entries[at[known]] <= line.ends[begins[known]]
    if not np.any(known):
        return not_exercised("no edge of the comparator asked for its handler")
    waits = (entries[at[known]] - line.cycles[begins[known]]) / recording.f_cpu_hz * 1e6
    k = int(np.argmax(waits))
    moment_s = float(recording.seconds(entries[at[known][k]]))
    words = f"the comparator's handler begins {waits[k]:.1f} us after the edge"
    return at_most(float(waits[k]), limit_us, "us", words, moment_s, int(rows[at[known][k]]))


def sighted(evidence: Evidence) -> Ruling:
    """The ADC, which takes the multiplexer from the comparator, is off while an edge is awaited."""
    recording = evidence.recording
    streams = [recording.of(s) for s in (Signal.CONVERTER, Signal.SENSE_IRQ)]
    if not np.any(streams[1][1]):
        return not_exercised("no edge of the comparator was awaited")
    line = merge(streams, recording.end_cycle)
    blind = np.flatnonzero(np.all(line.values == 1, axis=1))
    if not len(blind):
        return discrete(False, "the ADC was off whenever an edge was awaited")
    k = int(blind[0])
    t_s = float(recording.seconds(line.cycles[k]))
    words = "an edge is awaited with the ADC on: the comparator sees another pin"
    return discrete(True, words, t_s, int(line.rows[k]))


CLAIMS = (
    Claim(
        "loop_opens",
        "an endless loop of the code opens the gates in time",
        Needs.INSIDE,
        loop_opens,
        ("loop_s",),
    ),
    Claim("watched", "the windings are driven only while the watchdog is on", Needs.INSIDE, watched),
    Claim("fed", "the watchdog does not bite code that runs", Needs.INSIDE, fed),
    Claim(
        "latency",
        "the comparator's handler begins soon after the edge it waits for",
        Needs.INSIDE,
        latency,
        ("latency_us",),
    ),
    Claim("sighted", "the ADC is off while an edge of the comparator is awaited", Needs.INSIDE, sighted),
)
