"""Gates: what the six FETs may never do, whatever the rotor and the stick do."""

import numpy as np
from numpy.typing import NDArray

from dryspin.monitors.claim import Claim, Needs
from dryspin.monitors.evidence import LEG_COLUMNS, MARK_COLUMN, Evidence
from dryspin.monitors.verdict import Ruling, at_least, at_most, discrete, not_exercised, worst
from dryspin.recording import GATES, LEG_NAMES, LEGS, Leg, Mark, Recording, Signal
from dryspin.recording.signals import HIGH_FET, LOW_FET, mark_name
from dryspin.recording.sixstep import NO_STEP, STEP_OF_CODE
from dryspin.recording.timeline import Ints, stretches

ORDER = 10

CRYSTAL_SHARE = 0.001
"""A dead time short by less is as long as asked: a crystal is not exact either."""

_DRIVEN_MARKS = (Mark.ALIGN, Mark.RAMP, Mark.RUN)
_OPEN_MARKS = (Mark.OFF, Mark.ARMED, Mark.COAST, Mark.GIVEN_UP, Mark.CALIBRATING)


def _allowed() -> NDArray[np.bool_]:
    """Whether a leg code (second index) keeps the promise of a state mark (first index)."""
    table = np.zeros((16, 64), bool)
    for code in range(64):
        legs = [code >> 2 * leg & 3 for leg in range(3)]
        only_low = all(leg in (Leg.OPEN, Leg.LOW) for leg in legs)
        only_high = all(leg in (Leg.OPEN, Leg.HIGH) for leg in legs)
        six_step = code == 0 or STEP_OF_CODE[code] != NO_STEP
        table[:, code] = six_step
        table[list(_OPEN_MARKS), code] = code == 0
        table[Mark.TONE, code] = six_step or only_low
        table[Mark.PRECHARGE, code] = only_low
        table[Mark.BRAKE, code] = only_low or only_high
    return table


ALLOWED = _allowed()


def both_fets(evidence: Evidence) -> Ruling:
    """No leg with both FETs on, not for one cycle."""
    recording = evidence.recording
    driven = False
    for leg, signal in enumerate(GATES):
        cycles, values, _ = recording.of(signal)
        driven = driven or bool(np.any(values))
        both = np.flatnonzero(values == HIGH_FET | LOW_FET)
        if len(both):
            cycle = int(cycles[both[0]])
            text = f"both FETs of leg {LEG_NAMES[leg]} are on"
            return discrete(True, text, recording.seconds(cycle), acting_row(recording, leg, cycle))
    if not driven:
        return not_exercised("no FET was ever on")
    return discrete(False, "no leg ever had both FETs on")


def dead_time(evidence: Evidence) -> Ruling:
    """Between one FET of a leg going off and the other going on, at least the bridge's dead time."""
    recording, limit_ns = evidence.recording, evidence.limits["dead_time_ns"]
    rulings = []
    for leg, signal in enumerate(GATES):
        cycles, values, _ = recording.of(signal)
        for first, second in ((HIGH_FET, LOW_FET), (LOW_FET, HIGH_FET)):
            off, on = _falls(cycles, values, first), _rises(cycles, values, second)
            before = np.searchsorted(off, on, side="right") - 1
            on, before = on[before >= 0], before[before >= 0]
            if len(on):
                gaps = on - off[before]
                k = int(np.argmin(gaps))
                seen_ns = float(gaps[k]) / recording.f_cpu_hz * 1e9 * (1.0 + CRYSTAL_SHARE)
                text = f"leg {LEG_NAMES[leg]} changes FETs after {seen_ns:.0f} ns"
                row = acting_row(recording, leg, int(on[k]))
                rulings.append(at_least(seen_ns, limit_ns, "ns", text, recording.seconds(int(on[k])), row))
    return worst(rulings, "no leg ever changed from one FET to the other")


def pattern(evidence: Evidence) -> Ruling:
    """One high or chopped, one low, one open, or all open; under a mark, what the mark promises."""
    recording, acts, codes = evidence.recording, evidence.acts, evidence.codes
    if not np.any(codes):
        return not_exercised("no leg was ever driven")
    limit_us = evidence.limits["transition_us"]
    wrong = ~ALLOWED[acts.values[:, MARK_COLUMN], codes]
    start, stop = stretches(wrong)
    if not len(start):
        return at_most(0.0, limit_us, "us", "every pattern of the legs kept its promise")
    begins, ends = acts.cycles[start], np.append(acts.cycles, acts.end)[stop]
    for from_s, to_s in evidence.looping_s:
        # Half a pattern that dead code leaves: counted up to there.
        at = recording.cycle_of(from_s)
        ends = np.where((begins <= at) & (ends > at) & (ends <= recording.cycle_of(to_s) + 1), at, ends)
    longest = (ends - begins) / recording.f_cpu_hz * 1e6
    k = int(np.argmax(longest))
    row = start[k]
    legs = " ".join(
        f"{LEG_NAMES[x]} {Leg(int(v)).name.lower()}" for x, v in enumerate(acts.values[row, LEG_COLUMNS])
    )
    text = f"{legs} for {longest[k]:.1f} us while {mark_name(int(acts.values[row, MARK_COLUMN]))}"
    return at_most(
        float(longest[k]), limit_us, "us", text, recording.seconds(int(acts.cycles[row])), int(acts.rows[row])
    )


def _two(legs: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Whether two of three columns or more are true; column by column, which numpy does quickest."""
    u, v, w = legs[:, 0], legs[:, 1], legs[:, 2]
    return (u & v) | (u & w) | (v & w)


def two_high(evidence: Evidence) -> Ruling:
    """Never two legs high at once, as commanded or by their FETs, outside braking."""
    recording, acts = evidence.recording, evidence.acts
    driving = acts.values[:, LEG_COLUMNS] >= Leg.HIGH
    if not np.any(driving):
        return not_exercised("no leg was ever high")
    braking = acts.values[:, MARK_COLUMN] == Mark.BRAKE
    commanded = np.flatnonzero(_two(driving) & ~braking & (acts.ends > acts.cycles))
    gates = recording.gates
    high = _two((gates.values & HIGH_FET) != 0)
    at = np.flatnonzero(high & (gates.ends > gates.cycles))
    at = at[evidence.marks_at(gates.cycles[at]) != Mark.BRAKE]
    moments = [(int(acts.cycles[k]), int(acts.rows[k])) for k in commanded[:1]]
    moments += [(int(gates.cycles[k]), int(gates.rows[k])) for k in at[:1]]
    if not moments:
        return discrete(False, "never two legs high at once")
    cycle, row = min(moments)
    k = int(acts.index_at(cycle))
    names = [LEG_NAMES[leg] for leg in range(3) if driving[k, leg]]
    return discrete(True, f"legs {' and '.join(names)} are high at once", recording.seconds(cycle), row)


def high_on_time(evidence: Evidence) -> Ruling:
    """No high FET on for longer than its bootstrap capacitor lasts."""
    recording, limit_s = evidence.recording, evidence.limits["high_on_max_s"]
    rulings = []
    for leg, signal in enumerate(GATES):
        cycles, values, _ = recording.of(signal)
        on, off = _rises(cycles, values, HIGH_FET), _falls(cycles, values, HIGH_FET)
        if len(on):
            ends = np.append(off, recording.end_cycle)[: len(on)]
            for from_s, to_s in evidence.looping_s:
                # A FET left on by dead code: counted up to there.
                begins = recording.cycle_of(from_s)
                left = (on < begins) & (ends > begins) & (ends <= recording.cycle_of(to_s) + 1)
                ends = np.where(left, begins, ends)
            longest = ends - on
            k = int(np.argmax(longest))
            seen_s = float(recording.seconds(longest[k]))
            text = f"the high FET of leg {LEG_NAMES[leg]} is on for {seen_s * 1e3:.3f} ms without a pause"
            row = acting_row(recording, leg, int(on[k]))
            rulings.append(at_most(seen_s, limit_s, "s", text, recording.seconds(int(on[k])), row))
    return worst(rulings, "no high FET was ever on")


def reset_opens(evidence: Evidence) -> Ruling:
    """A reset opens all gates within one cycle."""
    recording = evidence.recording
    # A capture counts nanoseconds; the cycle meant is the controller's.
    one = max(1, round(recording.f_cpu_hz / recording.drive.controller.f_cpu_hz))
    cycles, _, rows = recording.of(Signal.RESET)
    driven = False
    for cycle, row in zip(cycles, rows, strict=True):
        if cycle == 0 or not any(recording.value_at(signal, cycle - 1) for signal in GATES):
            continue
        driven = True
        on = [LEG_NAMES[leg] for leg, signal in enumerate(GATES) if recording.value_at(signal, cycle + one)]
        if on:
            text = f"a cycle after the reset a FET of leg {', '.join(on)} is still on"
            return discrete(True, text, recording.seconds(int(cycle)), int(row))
    if not driven:
        return not_exercised("no reset came while a FET was on")
    return discrete(False, "every reset opened all gates at once")


def acting_row(recording: Recording, leg: int, cycle: int) -> int | None:
    """The firmware's last word to `leg` at or before `cycle`, as a row of the edges."""
    cycles, _, rows = recording.of(LEGS[leg])
    at = int(np.searchsorted(cycles, cycle, side="right")) - 1
    return int(rows[at]) if at >= 0 else None


def _rises(cycles: Ints, values: Ints, bit: int) -> Ints:
    """Moments at which `bit` goes on; on from the first edge counts as a rise there."""
    on = (values & bit) != 0
    moments: Ints = cycles[on & ~np.append(False, on[:-1])]
    return moments


def _falls(cycles: Ints, values: Ints, bit: int) -> Ints:
    """Moments at which `bit` goes off."""
    on = (values & bit) != 0
    moments: Ints = cycles[~on & np.append(False, on[:-1])]
    return moments


CLAIMS = (
    Claim("both_fets", "no leg ever has both FETs on", Needs.PINS, both_fets),
    Claim(
        "dead_time",
        "between the two FETs of a leg lies the dead time",
        Needs.PINS,
        dead_time,
        ("dead_time_ns",),
    ),
    Claim(
        "pattern",
        "one leg high or chopped, one low, one open, or all open, or what brake, precharge and tone promise",
        Needs.INSIDE,
        pattern,
        ("transition_us",),
    ),
    Claim("two_high", "never two legs high at once", Needs.PINS | Needs.INSIDE, two_high),
    Claim(
        "high_on_time",
        "no high FET is on longer than its bootstrap lasts",
        Needs.PINS,
        high_on_time,
        ("high_on_max_s",),
    ),
    Claim("reset_opens", "a reset opens all gates within a cycle", Needs.PINS, reset_opens),
)
