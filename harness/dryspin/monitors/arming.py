"""Arming: nothing moves before the full rite, and nothing goes on without a signal.

The rite is measured at the pin, not believed: pulses that are valid and neutral, one after the
other. It is due after power-on, after every reset, and after every loss of signal; what was asked
before it is no demand.
"""

import numpy as np

from dryspin.monitors.claim import Claim, Needs
from dryspin.monitors.demand import GAP_S
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.lasting import lasting
from dryspin.monitors.obeying import accepted, kept
from dryspin.monitors.periods import CAUSES, Period, periods, restarts
from dryspin.monitors.verdict import Ruling, at_least, at_most, discrete, not_exercised, worst
from dryspin.recording import Mark, Signal
from dryspin.recording.signals import mark_name

ORDER = 50

STEADY_FRAMES = 3
"""Good pulses before and after a bad one that must agree before its effect can be told from theirs."""

STEADY_US = 2.0
"""Pulses that differ by less ask for the same: a duty count is some 1.6 us of stick."""

DUTY_SLACK = 8
"""Counts of 255 by which duty may still move under a steady stick: 3 %, what a control loop breathes."""

WORD_S = 2e-3
"""From a pulse to the firmware's word on it: a pass of a main line that is busy with a beat."""

DISARMED_MARKS = (Mark.OFF, Mark.TONE, Mark.PRECHARGE)


def idle(evidence: Evidence) -> Ruling:
    """Before the firmware is armed, and then until a pulse asks for it, nothing drives but to be heard."""
    rulings = []
    for period in evidence.derive(periods):
        if period.drives_s is not None and (period.armed_s is None or period.drives_s < period.armed_s):
            words = f"driven after {period.why} at {period.start_s:.3f} s without being armed"
            rulings.append(discrete(True, words, period.drives_s, period.drives_row))
        elif period.armed_s is not None:
            rulings.append(_unasked(evidence, period, period.armed_s))
        elif period.stop_s - period.start_s > GAP_S:
            rulings.append(discrete(False, f"nothing driven between {period.why} and arming"))
    return worst(rulings, "the recording ends with the moment of power-on")


def _unasked(evidence: Evidence, period: Period, armed_s: float) -> Ruling:
    """From arming to the first pulse that may ask for a direction: a demand from before is none."""
    demand = evidence.demand
    asks_s = demand.falls_s[demand.maybe_forward | demand.maybe_reverse]
    asked_s = next((float(t) for t in asks_s if t >= armed_s - WORD_S), period.stop_s)
    if period.drives_s is not None and period.drives_s < asked_s:
        words = f"driven {period.drives_s - armed_s:.3f} s after arming, before any pulse asks for it"
        return discrete(True, words, period.drives_s, period.drives_row)
    return discrete(False, f"nothing driven between {period.why} and the first demand")


def rotor_still(evidence: Evidence) -> Ruling:
    """From power-on until armed the rotor stays where it is."""
    recording, first = evidence.recording, evidence.derive(periods)[0]
    until_s = first.armed_s if first.armed_s is not None else first.stop_s
    if not evidence.inside_envelope(0.0, until_s):
        return not_exercised("the rotor was turned from outside, or the supply was outside its range")
    window = recording.states_between(0.0, until_s)
    theta = recording.state_theta_rad[window]
    if not len(theta):
        return not_exercised("nobody saw the rotor before arming")
    moved = np.abs(theta - theta[0])
    k = int(np.argmax(moved))
    seen_deg = float(np.degrees(moved[k]))
    moment_s = float(recording.state_t_s[window][k])
    acts = evidence.acts
    row = int(acts.rows[acts.index_at(recording.cycle_of(moment_s))]) if seen_deg > 0.0 else None
    words = f"the rotor turned by {seen_deg:.1f} electrical degrees before arming"
    return at_most(seen_deg, evidence.limits["idle_deg"], "deg", words, moment_s, row)


def rite(evidence: Evidence) -> Ruling:
    """Before being armed and before any drive, the full run of neutral pulses, since the last cause for one.

    A pulse surely outside neutral ends a run, and so does a lost signal. Bad pulses are left to
    `bad_pulses`: here they neither count nor end a run.
    """
    rulings = []
    for period in evidence.derive(periods):
        if period.armed_s is not None:
            count = _last_run(evidence, period.start_s, period.armed_s, bad_ends=False)
            rulings.append(_rite_ruling(evidence, count, period, "armed", period.armed_s, period.armed_row))
        if period.drives_s is not None:
            count = _longest_run(evidence, period.start_s, period.drives_s)
            rulings.append(
                _rite_ruling(evidence, count, period, "driven", period.drives_s, period.drives_row)
            )
    return worst(rulings, "the firmware never armed and never drove")


def bad_pulses(evidence: Evidence) -> Ruling:
    """A bad pulse counts for nothing: it restarts the rite, and while running it changes nothing."""
    demand, rulings = evidence.demand, []
    bad_s = demand.falls_s[demand.invalid]
    for period in evidence.derive(periods):
        if period.armed_s is None or not np.any((bad_s > period.start_s) & (bad_s <= period.armed_s)):
            continue
        count = _last_run(evidence, period.start_s, period.armed_s, bad_ends=True)
        words = f"armed {count} neutral pulses after the last bad one"
        limit = evidence.limits["arm_frames"]
        rulings.append(at_least(count, limit, "pulses", words, period.armed_s, period.armed_row))
    rulings += _while_running(evidence)
    return worst(rulings, "no bad pulse came before arming or while running")


def after_reset(evidence: Evidence) -> Ruling:
    """A reset at any moment, by any cause, leads to no drive before arming, no tone into a turning rotor."""
    recording, rulings = evidence.recording, []
    tones_s = [float(recording.seconds(span.start)) for span in evidence.spans_of(Mark.TONE)]
    tone_rows = [span.row for span in evidence.spans_of(Mark.TONE)]
    limit_rpm = evidence.limits["turning_rpm"]
    for start_s, cause in restarts(evidence):
        why = CAUSES.get(cause, "a reset")
        period = next(p for p in evidence.derive(periods) if p.start_s == start_s)
        until_s = period.armed_s if period.armed_s is not None else period.stop_s
        if period.drives_s is not None and period.drives_s < until_s:
            words = f"driven after {why} at {start_s:.3f} s, without being armed"
            rulings.append(discrete(True, words, period.drives_s, period.drives_row))
        elif until_s - start_s > GAP_S:
            rulings.append(discrete(False, f"nothing driven between {why} and arming"))
        for tone_s, row in zip(tones_s, tone_rows, strict=True):
            if start_s <= tone_s < until_s:
                rpm = abs(evidence.rpm_at(tone_s))
                words = f"a tone after {why} at {start_s:.3f} s meets a rotor that turns at {rpm:.0f} rpm"
                rulings.append(at_most(rpm, limit_rpm, "rpm", words, tone_s, row))
    return worst(rulings, "the controller was never started again")


def loss(evidence: Evidence) -> Ruling:
    """Without a valid pulse for the time of loss, all gates are open until pulses are back."""
    recording, limit_s, rulings = evidence.recording, evidence.limits["loss_s"], []
    gates = recording.gates
    # A tone may tell the captain that the signal is lost; its own family judges it.
    on = np.any(gates.values != 0, axis=1) & (evidence.marks_at(gates.cycles) != Mark.TONE)
    for last_s, next_s in evidence.demand.gaps(limit_s, recording.end_s):
        first, stop = gates.index_at(np.array([recording.cycle_of(last_s), recording.cycle_of(next_s) - 1]))
        driven = first + np.flatnonzero(on[first : stop + 1])
        next_s = min(next_s, evidence.next_reset_s(last_s))
        if not len(driven):
            continue
        off_s = min(float(recording.seconds(gates.ends[driven[-1]])), next_s)
        words = f"gates still on {off_s - last_s:.3f} s after the last valid pulse at {last_s:.3f} s"
        row = int(evidence.acts.rows[evidence.acts.index_at(int(gates.cycles[driven[-1]]))])
        rulings.append(at_most(off_s - last_s, limit_s, "s", words, off_s, row))
    return worst(rulings, "the signal was never lost while a gate was on")


def _rite_ruling(
    evidence: Evidence, count: int, period: Period, what: str, moment_s: float, row: int | None
) -> Ruling:
    words = f"{what} after {count} neutral pulses since {period.why} at {period.start_s:.3f} s"
    return at_least(count, evidence.limits["arm_frames"], "pulses", words, moment_s, row)


def _runs(evidence: Evidence, from_s: float, to_s: float, *, bad_ends: bool) -> list[int]:
    """Lengths of the runs of neutral pulses that ended in (from_s, to_s], in order; the last may be 0."""
    demand = evidence.demand
    first, last = np.searchsorted(demand.falls_s, (from_s, to_s), side="right")
    runs, previous_s = [0], from_s
    for k in range(int(first), int(last)):
        if demand.invalid[k]:
            if bad_ends:
                runs.append(0)
            continue
        fall_s = float(demand.falls_s[k])
        if demand.not_neutral[k] or fall_s - previous_s > evidence.limits["loss_s"]:
            runs.append(0)
        runs[-1] += int(demand.maybe_neutral[k])
        previous_s = fall_s
    return runs


def _last_run(evidence: Evidence, from_s: float, to_s: float, *, bad_ends: bool) -> int:
    """Neutral pulses up to `to_s` without a break."""
    return _runs(evidence, from_s, to_s, bad_ends=bad_ends)[-1]


def _longest_run(evidence: Evidence, from_s: float, to_s: float) -> int:
    """Most neutral pulses without a break before `to_s`."""
    return max(_runs(evidence, from_s, to_s, bad_ends=False))


def _while_running(evidence: Evidence) -> list[Ruling]:
    """Rulings on single bad pulses in RUN between good ones that all ask for the same."""
    demand, recording, rulings = evidence.demand, evidence.recording, []
    good = np.flatnonzero(demand.valid)
    for k in np.flatnonzero(demand.invalid):
        at = int(np.searchsorted(good, k))
        around = good[max(at - STEADY_FRAMES, 0) : at + 1]
        alone = at < len(good) and len(around) == STEADY_FRAMES + 1 and around[-1] - around[0] == len(around)
        if not alone or np.ptp(demand.widths_us[around]) > STEADY_US:
            continue
        falls_s = [float(demand.falls_s[n]) for n in (*around[:-1], k, around[-1])]
        bad_s, after_s = falls_s[-2], falls_s[-1]
        if evidence.mark_at_s(bad_s) != Mark.RUN or after_s - falls_s[-3] > 2.0 * GAP_S:
            continue
        marks = [s for s in recording.marks if bad_s < recording.seconds(s.start) <= after_s]
        stopped = next((s for s in marks if s.mark in (*DISARMED_MARKS, Mark.ARMED, Mark.BRAKE)), None)
        if stopped is not None:
            words = f"one bad pulse at {bad_s:.3f} s ends the run: {mark_name(stopped.mark)}"
            rulings.append(discrete(True, words, float(recording.seconds(stopped.start)), stopped.row))
            continue
        duty = recording.value_at(Signal.DUTY, np.array([recording.cycle_of(t) for t in falls_s]))
        if np.ptp(duty[:-1]) <= 2:
            moved = abs(int(duty[-1]) - int(duty[-2]))
            words = f"one bad pulse at {bad_s:.3f} s moves the duty by {moved} counts"
            row = _last_duty_row(evidence, after_s)
            rulings.append(at_most(moved, DUTY_SLACK, "counts", words, after_s, row))
    return rulings


def _last_duty_row(evidence: Evidence, t_s: float) -> int:
    cycles, _, rows = evidence.recording.of(Signal.DUTY)
    return int(rows[max(int(np.searchsorted(cycles, evidence.recording.cycle_of(t_s), side="right")) - 1, 0)])


CLAIMS = (
    Claim(
        "idle",
        "before arming, and after it before a pulse asks, the supply drives no winding",
        Needs.PINS | Needs.INSIDE,
        idle,
    ),
    Claim(
        "rotor_still", "before arming the rotor stays where it is", Needs.INSIDE, rotor_still, ("idle_deg",)
    ),
    Claim(
        "rite",
        "a full run of neutral pulses precedes arming, after power-on, resets and losses of signal",
        Needs.PINS | Needs.INSIDE,
        rite,
        ("arm_frames", "loss_s"),
    ),
    Claim(
        "bad_pulses",
        "bad pulses count for nothing",
        Needs.PINS | Needs.INSIDE,
        bad_pulses,
        ("arm_frames", "loss_s"),
    ),
    Claim(
        "after_reset",
        "a reset at any moment leads to no drive, and to no tone into a turning rotor",
        Needs.PINS | Needs.INSIDE,
        after_reset,
        ("turning_rpm",),
    ),
    Claim(
        "lasting",
        "neutral pulses have come for long enough without a break before arming",
        Needs.PINS | Needs.INSIDE,
        lasting,
        ("arm_s",),
    ),
    Claim("loss", "a lost signal opens all gates in time", Needs.PINS | Needs.INSIDE, loss, ("loss_s",)),
    Claim(
        "accepted",
        "neutral without a break arms in time, the first time and every time",
        Needs.PINS | Needs.INSIDE,
        accepted,
        ("accepted_s", "rest_rpm"),
    ),
    Claim(
        "kept",
        "what is armed stays so as long as good pulses come",
        Needs.PINS | Needs.INSIDE,
        kept,
        ("loss_s",),
    ),
)
