"""Reversal: the other way at speed is reached by stopping first, inside the ratings of the bridge."""

import numpy as np
from numpy.typing import NDArray

from dryspin.monitors.claim import Claim, Needs
from dryspin.monitors.demand import ONE_WAY, Episode
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.motion import WAY, asked, running_from
from dryspin.monitors.verdict import Ruling, at_most, discrete, not_exercised, worst
from dryspin.recording import Mark, Signal
from dryspin.units import rpm_from_rad_s

ORDER = 40

SLOW_SHARE = 0.5
"""A reversing rotor has stopped being one below half the limit: a start may then turn it to and fro."""


def _none(evidence: Evidence, words: str = "no reversal was asked for at speed") -> str:
    return ONE_WAY if evidence.recording.drive.throttle.one_way else words


def speed_from_rpm(evidence: Evidence) -> float:
    """Speed from which a demand for the other way counts as a reversal: a share of the ideal kv V."""
    drive = evidence.recording.drive
    ideal_rpm = drive.motor.kv_rpm_per_v.nominal * drive.supply.v_v.nominal
    return evidence.limits["reversal_share"] * ideal_rpm


def asked_against(evidence: Evidence, above_rpm: float) -> list[Episode]:
    """Demands to an armed drive whose rotor turns the other way faster than `above_rpm`."""
    return [
        episode
        for episode in asked(evidence)
        if -episode.asks * evidence.rpm_at(episode.start_s) >= above_rpm
        and evidence.mark_at_s(episode.start_s) != Mark.OFF
    ]


def opposing_drive(evidence: Evidence) -> Ruling:
    """From the demand until the rotor has slowed down: no energy into the sequence of the new way."""
    limit_rpm, rulings = evidence.limits["opposing_rpm"], []
    for episode in asked_against(evidence, limit_rpm):
        until_s = _slow_from_s(evidence, episode, SLOW_SHARE * limit_rpm)
        rulings.append(_opposing(evidence, episode, until_s, limit_rpm))
    ruling = worst(rulings, _none(evidence))
    if ruling.margin is not None and ruling.margin < 0.0:
        return ruling
    if not asked_against(evidence, speed_from_rpm(evidence)):
        none = f"no reversal was asked for at speed: never above {speed_from_rpm(evidence):.0f} rpm"
        return not_exercised(_none(evidence, none))
    return ruling


def phase_current(evidence: Evidence) -> Ruling:
    """Peak current of any phase during a reversal, inside the bridge's rating."""
    return _peak_ruling(evidence, evidence.recording.state_i_peak_a, "i_peak_a", "A", "phase current")


def bus_voltage(evidence: Evidence) -> Ruling:
    """Highest bus voltage during a reversal, inside the lowest rating on the bus."""
    return _peak_ruling(evidence, evidence.recording.states["v_bus_v"], "bus_v", "V", "bus voltage")


def in_time(evidence: Evidence) -> Ruling:
    """From the demand for the other way at speed until the rotor runs that way."""
    limit_s, rulings = evidence.limits["reversal_s"], []
    for episode in asked_against(evidence, speed_from_rpm(evidence)):
        start_s = episode.start_s
        until_s = min(episode.stop_s, evidence.next_reset_s(start_s))
        if not evidence.inside_envelope(start_s, min(until_s, start_s + limit_s)):
            continue
        reached_s = running_from(evidence, episode.asks, start_s, until_s, evidence.limits["opposing_rpm"])
        seen_s = (reached_s if reached_s is not None else until_s) - start_s
        if reached_s is None and seen_s <= limit_s:
            continue
        words = f"{WAY[episode.asks]} asked at {start_s:.3f} s, "
        words += f"running that way {seen_s:.3f} s later" if reached_s else f"not so {seen_s:.3f} s later"
        row = next(
            (s.row for s in evidence.recording.marks if evidence.recording.seconds(s.start) > start_s), None
        )
        rulings.append(at_most(seen_s, limit_s, "s", words, start_s + min(seen_s, limit_s), row))
    return worst(rulings, _none(evidence, "no reversal at speed had the time to be reached"))


def neutral(evidence: Evidence) -> Ruling:
    """At neutral nothing is driven, once a running drive has had time to stop; nor does it turn round."""
    demand, limit_s = evidence.demand, evidence.limits["demand_act_s"]
    neutral_s = demand.falls_s[demand.neutral]
    if not len(neutral_s):
        return not_exercised("the stick was never surely at neutral")
    asking_s = demand.falls_s[demand.maybe_forward | demand.maybe_reverse]
    rulings = [_turned_round(evidence)]
    # The stick stands at neutral from the first neutral pulse after one that may have asked.
    since = np.searchsorted(asking_s, neutral_s)
    first = np.append(True, since[1:] != since[:-1])
    for from_s, index in zip(neutral_s[first], since[first], strict=True):
        to_s = float(asking_s[index]) if index < len(asking_s) else evidence.recording.end_s
        armed_s = _armed_from(evidence, float(from_s), to_s)
        if armed_s is None:
            continue  # whether an unarmed drive may do anything, another family asks
        from_s = armed_s
        driven = [
            (min(stop, to_s), row)
            for start, stop, row in evidence.drive_spans
            if start < to_s and stop > from_s
        ]
        seen_s, row = max(driven, default=(float(from_s), None), key=lambda span: span[0])
        words = f"driven {seen_s - from_s:.3f} s after the stick went to neutral at {from_s:.3f} s"
        rulings.append(at_most(seen_s - float(from_s), limit_s, "s", words, seen_s, row))
    return worst(rulings, "no armed drive saw the stick at neutral")


def _armed_from(evidence: Evidence, from_s: float, to_s: float) -> float | None:
    """First moment in [from_s, to_s) at which the firmware is not off; None where it is off throughout."""
    if evidence.mark_at_s(from_s) != Mark.OFF:
        return from_s
    starts = (float(evidence.recording.seconds(s.start)) for s in evidence.spans_of(Mark.ARMED))
    return next((start_s for start_s in starts if from_s <= start_s < to_s), None)


def _turned_round(evidence: Evidence) -> Ruling:
    """A step against the direction last asked for, taken at neutral; a ruling without margin if none."""
    demand, steps = evidence.demand, evidence.directed_steps
    if not len(steps.direction):
        return not_exercised("")
    surely = demand.neutral | demand.forward | demand.reverse
    falls_s = demand.falls_s[surely]
    asks = np.where(demand.forward, 1, np.where(demand.reverse, -1, 0))[surely]
    last_asked = np.maximum.accumulate(np.where(asks != 0, np.arange(len(asks)), -1))
    at = np.searchsorted(falls_s, steps.start_s, side="right") - 1
    known = at >= 0
    known[known] = last_asked[at[known]] >= 0
    wrong = np.zeros(len(at), bool)
    k = at[known]
    # Unclear pulses in between may have asked for it.
    asked_way = asks[last_asked[k]]
    wrong[known] = (asks[k] == 0) & (steps.direction[known] == -asked_way)
    for sign in (1, -1):
        maybe_s = np.append(-np.inf, demand.maybe_falls_s(sign))
        latest = maybe_s[np.searchsorted(maybe_s, steps.start_s, side="right") - 1]
        wrong &= ~((steps.direction == sign) & (steps.start_s - latest <= evidence.limits["demand_act_s"]))
    if not np.any(wrong):
        return not_exercised("")
    first = int(np.flatnonzero(wrong)[0])
    words = f"at neutral the steps turn to {WAY[int(steps.direction[first])]}"
    return discrete(True, words, float(steps.start_s[first]), int(steps.rows[first]))


def _slow_from_s(evidence: Evidence, episode: Episode, slow_rpm: float) -> float:
    """When the rotor that turns against `episode` first falls below `slow_rpm`, or a reset, or the end."""
    recording = evidence.recording
    until_s = evidence.next_reset_s(episode.start_s)
    window = recording.states_between(episode.start_s, until_s)
    against = -episode.asks * recording.state_w_rad_s[window] * 30.0 / np.pi
    slow = np.flatnonzero(against < slow_rpm)
    return float(recording.state_t_s[window][slow[0]]) if len(slow) else until_s


def _opposing(evidence: Evidence, episode: Episode, until_s: float, limit_rpm: float) -> Ruling:
    """Fastest rotation against the driven sequence, between the demand and `until_s`."""
    recording, steps = evidence.recording, evidence.directed_steps
    inside = (steps.start_s < until_s) & (steps.stop_s > episode.start_s) & (steps.direction == episode.asks)
    starts, stops = steps.start_s[inside], steps.stop_s[inside]
    spans = [
        (max(float(a), episode.start_s), min(float(b), until_s)) for a, b in zip(starts, stops, strict=True)
    ]
    # A fixed field has no sequence, but a turning rotor runs against it just the same.
    for span in evidence.spans_of(Mark.ALIGN):
        start_s, stop_s = float(recording.seconds(span.start)), float(recording.seconds(span.stop))
        if start_s < until_s and stop_s > episode.start_s:
            spans.append((max(start_s, episode.start_s), min(stop_s, until_s)))
    worst_rpm, moment_s, row = 0.0, episode.start_s, None
    for from_s, to_s in spans:
        on = _energised_from(evidence, from_s, to_s)
        if on is None:
            continue
        on_s, edge = on
        against_rpm = -episode.asks * evidence.rpm_at(on_s)
        if against_rpm > worst_rpm:
            worst_rpm, moment_s, row = against_rpm, on_s, edge
    words = f"the legs drive {WAY[episode.asks]} while the rotor turns {WAY[-episode.asks]} "
    words += f"at {worst_rpm:.0f} rpm"
    if worst_rpm > 0.0:
        window = recording.states_between(moment_s, moment_s + 1e-3)
        u, v = recording.states["i_u_a"][window], recording.states["i_v_a"][window]
        if len(u):
            words += f": {float(np.max(np.abs(np.stack([u, v, u + v])))):.1f} A within a millisecond"
    else:
        words = "nothing drove against the rotor before it had slowed down"
    return at_most(worst_rpm, limit_rpm, "rpm", words, moment_s, row)


def _energised_from(evidence: Evidence, from_s: float, to_s: float) -> tuple[float, int] | None:
    """First moment in [from_s, to_s) at which the supply drives the windings, and the edge that lets it."""
    acts, seconds = evidence.acts, evidence.recording.seconds
    first = int(acts.index_at(evidence.recording.cycle_of(from_s)))
    last = int(np.searchsorted(acts.cycles, evidence.recording.cycle_of(to_s)))
    on = np.flatnonzero(evidence.energised[first:last])
    if not len(on):
        return None
    at = first + int(on[0])
    moment_s = max(from_s, float(seconds(acts.cycles[at])))
    # What is said lets no current flow: the leg or the duty was written before it.
    signals = evidence.recording.edges["signal"]
    while at > 0 and signals[acts.rows[at]] == Signal.MARK and evidence.energised[at - 1]:
        at -= 1
    return moment_s, int(acts.rows[at])


def _peak_ruling(
    evidence: Evidence, of_states: NDArray[np.float32], name: str, unit: str, what: str
) -> Ruling:
    recording, limit, rulings = evidence.recording, evidence.limits[name], []
    for episode in asked_against(evidence, speed_from_rpm(evidence)):
        until_s = episode.start_s + evidence.limits["reversal_s"]
        window = recording.states_between(episode.start_s, until_s)
        alive = evidence.alive[window]
        if np.any(alive):
            values = np.where(alive, of_states[window], -np.inf)
            k = int(np.argmax(values))
            moment_s = float(recording.state_t_s[window][k])
            speed = rpm_from_rad_s(float(recording.w_at(moment_s)))
            words = f"{what} {float(values[k]):.1f} {unit} at {speed:.0f} rpm "
            words += f"in the reversal of {episode.start_s:.3f} s"
            acts = evidence.acts
            row = int(acts.rows[acts.index_at(recording.cycle_of(moment_s))])
            rulings.append(at_most(float(values[k]), limit, unit, words, moment_s, row))
    return worst(rulings, _none(evidence))


CLAIMS = (
    Claim(
        "opposing_drive",
        "no energy from the supply into the sequence of one way while the rotor turns fast the other",
        Needs.PINS | Needs.INSIDE,
        opposing_drive,
        ("opposing_rpm", "reversal_share"),
    ),
    Claim(
        "phase_current",
        "during a reversal no phase current above the bridge's rating",
        Needs.PINS | Needs.ANALOG | Needs.INSIDE,
        phase_current,
        ("i_peak_a", "reversal_share", "reversal_s"),
    ),
    Claim(
        "bus_voltage",
        "during a reversal no bus voltage above the lowest rating",
        Needs.PINS | Needs.ANALOG | Needs.INSIDE,
        bus_voltage,
        ("bus_v", "reversal_share", "reversal_s"),
    ),
    Claim(
        "in_time",
        "the other way is reached in time",
        Needs.PINS | Needs.INSIDE,
        in_time,
        ("reversal_s", "reversal_share", "opposing_rpm"),
    ),
    Claim(
        "neutral",
        "at neutral nothing is driven and nothing turns round",
        Needs.PINS | Needs.INSIDE,
        neutral,
        ("demand_act_s",),
    ),
)
