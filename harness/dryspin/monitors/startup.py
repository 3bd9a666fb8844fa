"""Startup: a rotor at rest is brought into closed loop in time, or the drive lets go and says so."""

from dataclasses import replace

import numpy as np

from dryspin.monitors.attempts import Try, tries_of
from dryspin.monitors.charging import charged
from dryspin.monitors.claim import Claim, Needs
from dryspin.monitors.demand import Episode
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.motion import (
    WAY,
    asked,
    drifts,
    longest_within,
    running_from,
    turned_from_outside,
)
from dryspin.monitors.verdict import Ruling, at_least, at_most, discrete, worst
from dryspin.recording import Mark

ORDER = 30

STAND_DEG = 120.0
"""A rotor that stays within two steps stands, whatever it does in between."""

SEEN_TIMES = 2.0
"""So many times the speed at which the EMF begins to show: none takes it for a rotor at rest."""

SAMPLE_S = 1e-3
"""Standing is looked for in steps of a millisecond: a thousandth of what may pass."""


def in_time(evidence: Evidence) -> Ruling:
    """From the demand to an armed drive until it runs the asked way in closed loop.

    At rest; or turned that way by the water, which leaves it less to do: to join in what turns already.
    """
    limit_s, rest_rpm = evidence.limits["start_s"], evidence.limits["rest_rpm"]
    rulings = []
    for episode in asked(evidence):
        start_s = episode.start_s
        if evidence.state_behind_tone(start_s) not in (Mark.ARMED, Mark.GIVEN_UP):
            continue
        carried = _is_carried(evidence, episode)
        if abs(evidence.rpm_at(start_s)) > rest_rpm and not carried:
            continue
        until_s = min(episode.stop_s, evidence.next_reset_s(start_s))
        where = _without_push(evidence) if carried else evidence
        if not where.inside_envelope(start_s, min(until_s, start_s + limit_s)):
            continue
        reached_s = running_from(evidence, episode.asks, start_s, until_s, rest_rpm)
        seen_s = (reached_s if reached_s is not None else until_s) - start_s
        if reached_s is None and seen_s <= limit_s:
            continue  # the stick, a reset or the end came before the time was over
        words = f"{WAY[episode.asks]} asked at {start_s:.3f} s, "
        words += f"running after {seen_s:.3f} s" if reached_s else f"not running {seen_s:.3f} s later"
        rulings.append(
            at_most(seen_s, limit_s, "s", words, start_s + min(seen_s, limit_s), _act(evidence, start_s))
        )
    return worst(rulings, "no armed drive at rest inside its envelope was asked to start for long enough")


def _is_carried(evidence: Evidence, episode: Episode) -> bool:
    """Whether the water turns the rotor the asked way, so fast that every controller can see its EMF."""
    push = evidence.recording.scenario.load_nm
    seen_rpm = SEEN_TIMES * evidence.limits["turning_rpm"]
    return (
        any(nm for _, nm in push)
        and all(nm * episode.asks <= 0.0 for _, nm in push)
        and evidence.rpm_at(episode.start_s) * episode.asks >= seen_rpm
    )


def _without_push(evidence: Evidence) -> Evidence:
    """The same, as far as its envelope goes, without the torque of the water."""
    recording = evidence.recording
    return Evidence(replace(recording, scenario=replace(recording.scenario, load_nm=())), evidence.limits)


def off_and_said(evidence: Evidence) -> Ruling:
    """A start comes about or is given up and said so, inside the envelope or far out of it."""
    limits, rulings = evidence.limits, []
    for episode in asked(evidence):
        start_s = episode.start_s
        if evidence.state_behind_tone(start_s) not in (Mark.ARMED, Mark.GIVEN_UP):
            continue
        until_s = min(episode.stop_s, evidence.next_reset_s(start_s))
        # A rotor that a strong stream keeps turning may be waited for; in a slow drift a thruster is needed.
        drifting = drifts(evidence, start_s, until_s)
        if turned_from_outside(evidence, start_s, until_s) and not drifting:
            continue
        if abs(evidence.rpm_at(start_s)) > limits["rest_rpm"] and not drifting:
            continue
        reached_s = running_from(evidence, episode.asks, start_s, until_s, limits["rest_rpm"])
        given_up_s = _given_up_s(evidence, episode)
        ends = [t for t in (reached_s, given_up_s) if t is not None and t <= until_s]
        seen_s = (min(ends) if ends else until_s) - start_s
        if not ends and seen_s <= limits["give_up_s"]:
            continue
        how = "neither running nor given up" if not ends else "running" if reached_s in ends else "given up"
        words = f"{WAY[episode.asks]} asked at {start_s:.3f} s, {how} after {seen_s:.3f} s"
        moment_s = start_s + min(seen_s, limits["give_up_s"])
        rulings.append(at_most(seen_s, limits["give_up_s"], "s", words, moment_s, _act(evidence, start_s)))
    return worst(rulings, "no armed drive was asked to start for long enough")


def swing_back(evidence: Evidence) -> Ruling:
    """How far a start turns the rotor against the asked way, from where it stood."""
    recording, limit_deg = evidence.recording, evidence.limits["swing_back_deg"]
    rulings = []
    for episode in asked(evidence):
        for attempt in tries_of(evidence, episode):
            rests = abs(evidence.rpm_at(attempt.start_s)) <= evidence.limits["rest_rpm"]
            if not rests or not evidence.inside_envelope(attempt.start_s, attempt.stop_s):
                continue
            window = recording.states_between(attempt.start_s, attempt.stop_s)
            ahead = recording.state_theta_rad[window] * attempt.direction
            if len(ahead) < 2:
                continue
            k = int(np.argmin(ahead))
            seen_deg = float(np.degrees(ahead[0] - ahead[k]))
            moment_s = float(recording.state_t_s[window][k])
            words = f"starting {WAY[attempt.direction]} turns the rotor back by {seen_deg:.0f} degrees"
            rulings.append(at_most(seen_deg, limit_deg, "deg", words, moment_s, attempt.row))
    return worst(rulings, "no rotor at rest was started")


def at_rest(evidence: Evidence) -> Ruling:
    """No start by the clock begins with a rotor that turns the asked way fast enough to be seen.

    A fixed field does not stop it, and a ramp from nothing is behind it: it is to be joined, or braked first.
    One that turns against the demand is the business of the reversal.
    """
    limit_rpm, rulings = evidence.limits["turning_rpm"], []
    for episode in asked(evidence):
        for attempt in tries_of(evidence, episode):
            seen_rpm = max(evidence.rpm_at(attempt.start_s) * attempt.direction, 0.0)
            words = f"a start {WAY[attempt.direction]} begins with the rotor turning that way at "
            words += f"{seen_rpm:.0f} rpm"
            rulings.append(at_most(seen_rpm, limit_rpm, "rpm", words, attempt.start_s, attempt.row))
    return worst(rulings, "nothing was started")


def tries(evidence: Evidence) -> Ruling:
    """Few tries a demand, each after a pause; then given up, said so, and none until a new demand."""
    limits, rulings = evidence.limits, []
    for episode in asked(evidence):
        failed: list[Try] = []
        noticed_s = _noticed_s(evidence, episode)
        given_up_s = _given_up_s(evidence, episode)
        for attempt in tries_of(evidence, episode):
            if given_up_s is not None and attempt.start_s > given_up_s:
                words = f"a try begins after giving up at {given_up_s:.3f} s, without a new demand"
                rulings.append(discrete(True, words, attempt.start_s, attempt.row))
            if failed:
                pause_s = attempt.start_s - failed[-1].let_go_s
                words = f"try {len(failed) + 1} begins {pause_s:.3f} s after the one before ended"
                rulings.append(
                    at_least(pause_s, limits["cool_down_s"], "s", words, attempt.start_s, attempt.row)
                )
            count = len(failed) + 1
            words = f"{count} {'try' if count == 1 else 'tries'} in one demand"
            rulings.append(at_most(count, limits["tries"], "tries", words, attempt.start_s, attempt.row))
            if attempt.let_go_s > noticed_s:  # else one for the demand before, which the stick called off
                failed = [] if attempt.ran else [*failed, attempt]
        if failed:
            rulings += _silence(evidence, episode, failed[-1])
    return worst(rulings, "nothing was started")


def standstill(evidence: Evidence) -> Ruling:
    """No winding is driven for long while the rotor stands."""
    recording, rulings = evidence.recording, []
    for start_s, stop_s, row in evidence.drive_spans:
        times = np.arange(start_s, stop_s, SAMPLE_S)
        theta = np.degrees(recording.theta_at(times))
        begin, length = longest_within(theta, STAND_DEG)
        seen_s = min(length * SAMPLE_S, stop_s - start_s)
        words = f"driven for {seen_s:.3f} s while the rotor stays within {STAND_DEG:.0f} degrees"
        moment_s = float(times[begin]) + seen_s if len(times) else start_s
        rulings.append(at_most(seen_s, evidence.limits["standstill_s"], "s", words, moment_s, row))
    return worst(rulings, "no winding was ever driven")


def _noticed_s(evidence: Evidence, episode: Episode) -> float:
    """When a drive that takes the median of three pulses has surely noticed a demand: with its third."""
    falls_s = evidence.demand.maybe_valid_falls_s
    third = int(np.searchsorted(falls_s, episode.start_s)) + 2
    return float(falls_s[third]) if third < len(falls_s) else evidence.recording.end_s


def _given_up_s(evidence: Evidence, episode: Episode) -> float | None:
    seconds = evidence.recording.seconds
    given_up = (float(seconds(span.start)) for span in evidence.spans_of(Mark.GIVEN_UP))
    return next((t for t in given_up if episode.start_s <= t < episode.stop_s), None)


def _silence(evidence: Evidence, episode: Episode, last: Try) -> list[Ruling]:
    """After a failed try that no other followed: given up and said so, while the stick still asks."""
    limit_s = evidence.limits["retry_s"]
    until_s = min(episode.stop_s, evidence.next_reset_s(last.let_go_s))
    seconds = evidence.recording.seconds
    said = [
        float(seconds(span.start))
        for span in evidence.spans_of(Mark.GIVEN_UP, Mark.RUN)
        if last.stop_s <= seconds(span.start) < until_s
    ]
    seen_s = (said[0] if said else until_s) - last.let_go_s
    if not said and seen_s <= limit_s:
        return []
    words = f"{max(seen_s, 0.0):.3f} s after a failed try "
    words += "it is given up" if said else "neither another try nor giving up is marked"
    return [at_most(max(seen_s, 0.0), limit_s, "s", words, last.let_go_s + min(seen_s, limit_s), last.row)]


def _act(evidence: Evidence, from_s: float) -> int | None:
    """The first thing the firmware said after `from_s`: where its answer to the demand stands."""
    cycle = evidence.recording.cycle_of(from_s)
    return next((span.row for span in evidence.recording.marks if span.start > cycle), None)


CLAIMS = (
    Claim(
        "in_time",
        "from any rest angle inside the envelope, closed loop in time",
        Needs.PINS | Needs.INSIDE,
        in_time,
        ("start_s", "rest_rpm"),
    ),
    Claim(
        "off_and_said",
        "a start comes about, or the drive is off and says so",
        Needs.PINS | Needs.INSIDE,
        off_and_said,
        ("give_up_s", "rest_rpm"),
    ),
    Claim(
        "swing_back",
        "starting turns the rotor back by no more than the aligning takes",
        Needs.PINS | Needs.INSIDE,
        swing_back,
        ("swing_back_deg", "rest_rpm"),
    ),
    Claim(
        "tries",
        "few tries with pauses between them, then given up and said so",
        Needs.PINS | Needs.INSIDE,
        tries,
        ("tries", "cool_down_s", "retry_s"),
    ),
    Claim(
        "at_rest",
        "no start by the clock begins with a rotor that turns the asked way",
        Needs.PINS | Needs.INSIDE,
        at_rest,
        ("turning_rpm",),
    ),
    Claim(
        "charged",
        "a drive that precharges its high drivers does so before every start from rest",
        Needs.PINS | Needs.INSIDE,
        charged,
        ("charge_s", "high_on_max_s", "rest_rpm", "transition_us"),
    ),
    Claim("standstill", "no standing rotor is driven for long", Needs.INSIDE, standstill, ("standstill_s",)),
)
