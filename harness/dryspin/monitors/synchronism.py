"""Synchronism: steps are taken for a rotor that follows them; a lost one is let go, and caught again.

Lost is a rotor that in RUN hardly turns, or turns another way or at another rate than the steps.
Where it stands within a step is not asked here but by the family of commutation.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from dryspin.monitors.claim import Claim, Needs
from dryspin.monitors.evidence import JOIN_S, Evidence
from dryspin.monitors.following import running
from dryspin.monitors.motion import WAY, asked, has_turned, running_from, turned_from_outside
from dryspin.monitors.verdict import Ruling, at_most, discrete, worst
from dryspin.recording import Mark, Signal
from dryspin.recording.signals import mark_name
from dryspin.scenario.schema import OUTAGES

ORDER = 35

WINDOW_S: Final = 0.02
"""Six steps at the slowest speed of closed loop, some 400 rpm of a motor with 7 pole pairs."""

SAMPLE_S: Final = 1e-3
STEPS: Final = 6
SLIP_DEG: Final = 180.0
"""Half an electrical turn within six steps: the rotor has passed where the torque changes sign."""


@dataclass(frozen=True, slots=True)
class Drive:
    """A stretch of drive in RUN: its length (s from power-on), its direction, the steps in it."""

    start_s: float
    stop_s: float
    direction: int
    first: int
    last: int
    row: int


def lost_drive(evidence: Evidence) -> Ruling:
    """In RUN a rotor that does not follow is driven for a short time only."""
    limit_s, rulings = evidence.limits["lost_s"], []
    for drive in evidence.derive(driven_runs):
        lost = sorted(_standing(evidence, drive) + _slipping(evidence, drive))
        longest_s, at_s = 0.0, drive.start_s
        from_s = to_s = float("-inf")
        for a, b in lost:
            if a > to_s + JOIN_S:
                from_s = a
            to_s = max(to_s, b)
            if to_s - from_s > longest_s:
                longest_s, at_s = to_s - from_s, from_s
        if longest_s > 0.0:
            words = f"from {at_s:.3f} s on the rotor does not follow the steps, and is driven for "
            words += f"{longest_s:.3f} s more"
        else:
            words = f"the rotor follows the steps {WAY[drive.direction]}"
        rulings.append(at_most(longest_s, limit_s, "s", words, at_s + longest_s, _row(evidence, drive, at_s)))
    return worst(rulings, "no rotor was driven in RUN for long enough to tell")


def recovers(evidence: Evidence) -> Ruling:
    """A run that ends while the stick still asks for it is followed by another, or given up and said so."""
    recording, limits, rulings = evidence.recording, evidence.limits, []
    seconds, runs = recording.seconds, evidence.spans_of(Mark.RUN)
    directions = evidence.derive(running).direction
    for k, run in enumerate(runs):
        lost_s, way = float(seconds(run.stop)), int(directions[k])
        episode = next((e for e in asked(evidence) if e.start_s <= lost_s < e.stop_s), None)
        if episode is None or episode.asks != way or lost_s >= recording.end_s:
            continue
        until_s = min(episode.stop_s, evidence.next_reset_s(lost_s - SAMPLE_S))
        after = next((span for span in recording.marks if span.start >= run.stop), None)
        if after is None or until_s <= lost_s:
            continue
        said = [float(seconds(s.start)) for s in evidence.spans_of(Mark.GIVEN_UP) if s.start >= run.stop]
        again_s = running_from(evidence, way, lost_s, until_s, limits["rest_rpm"])
        ends = [t for t in (again_s, *said[:1]) if t is not None and t <= until_s]
        seen_s = (min(ends) if ends else until_s) - lost_s
        limit_s = _recovery_s(evidence, lost_s, until_s)
        if not ends and seen_s <= limit_s:
            continue
        if seen_s > limit_s and turned_from_outside(evidence, lost_s, lost_s + seen_s):
            continue  # it waits for a rotor that the water keeps turning
        how = "runs again or is given up" if ends else "neither runs nor is given up"
        words = f"lost at {lost_s:.3f} s, when {mark_name(after.mark)}; {how} {seen_s:.3f} s later"
        rulings.append(at_most(seen_s, limit_s, "s", words, lost_s + min(seen_s, limit_s), after.row))
    return worst(rulings, "no run ended while the stick still asked for it, with time to see what follows")


def keeps(evidence: Evidence) -> Ruling:
    """A run that lasts for a whole turn ends with the demand, not by itself: nothing tears this rotor out.

    Supply and load as declared from its beginning to its end, no outage, no stop by the current limit. What
    ends it after a bad pulse, the family of arming asks.
    """
    recording, rulings = evidence.recording, []
    limited, values, _ = recording.of(Signal.OVER_CURRENT)
    ends_s = [float(t) for t in recording.seconds(limited[values == 1])]
    ends_s += [f.at_s for f in recording.scenario.faults if f.kind in (*OUTAGES, "endless loop")]
    bad_s = evidence.demand.falls_s[~evidence.demand.valid]
    directions = evidence.derive(running).direction
    for k, run in enumerate(evidence.spans_of(Mark.RUN)):
        start_s, stop_s = float(recording.seconds(run.start)), float(recording.seconds(run.stop))
        way = int(directions[k])
        if not way or not has_turned(evidence, run, way) or not evidence.inside_envelope(start_s, stop_s):
            continue
        if any(t_s <= stop_s for t_s in ends_s) or stop_s in evidence.resets_s:
            continue
        if np.any((bad_s <= stop_s) & (bad_s >= stop_s - evidence.limits["demand_act_s"])):
            continue
        asks = next((e.asks for e in evidence.episodes if e.start_s <= stop_s < e.stop_s), None)
        lost = asks == way and stop_s < recording.end_s and not turned_from_outside(evidence, start_s, stop_s)
        words = f"a run {WAY[way]} from {start_s:.3f} s on "
        words += (
            f"ends at {stop_s:.3f} s, with the stick as before" if lost else "goes on while it is asked for"
        )
        rulings.append(discrete(lost, words, stop_s, run.row))
    return worst(rulings, "no run was left to itself for a whole turn")


def joining(evidence: Evidence) -> Ruling:
    """A rotor that turned already, and is driven in RUN without a ramp before, draws little at first.

    Its EMF holds up the mean voltage of a duty that fits its speed; any other pushes a current through
    no more than two windings and the supply. Over the first electrical turn.
    """
    recording, limit_a, rulings = evidence.recording, evidence.limits["join_a"], []
    marks, pole_pairs = recording.marks, recording.drive.motor.pole_pairs
    for k, span in enumerate(marks):
        if span.mark != Mark.RUN or (k and marks[k - 1].mark in (Mark.RAMP, Mark.ALIGN, Mark.RUN)):
            continue
        start_s = float(recording.seconds(span.start))
        w_rad_s = abs(float(recording.w_at(start_s)))
        if w_rad_s * 30.0 / np.pi < evidence.limits["rest_rpm"]:
            continue
        window = recording.states_between(start_s, start_s + 2.0 * np.pi / (pole_pairs * w_rad_s))
        amps = np.where(evidence.alive[window], recording.state_i_peak_a[window], 0.0)
        if not len(amps):
            continue
        at = int(np.argmax(amps))
        moment_s, rpm = float(recording.state_t_s[window][at]), evidence.rpm_at(start_s)
        words = f"joined at {start_s:.4f} s at {rpm:.0f} rpm, with {float(amps[at]):.1f} A in the first turn"
        rulings.append(at_most(float(amps[at]), limit_a, "A", words, moment_s, span.row))
    return worst(rulings, "no turning rotor was joined without a ramp")


def _recovery_s(evidence: Evidence, lost_s: float, until_s: float) -> float:
    """Time granted from a loss to another run or to giving up.

    Inside the envelope, one try. A jam that is over before the pause due between tries is has cost no
    try either: the time counts from its end. Elsewhere, all tries there are.
    """
    recover_s, pause_s = evidence.limits["recover_s"], evidence.limits["cool_down_s"]
    ends_s = [t for t, _ in evidence.recording.scenario.load_factor if lost_s < t <= lost_s + pause_s]
    for free_s in (lost_s, *ends_s):
        if evidence.inside_envelope(free_s, max(free_s, min(until_s, free_s + recover_s))):
            return free_s - lost_s + recover_s
    return evidence.limits["give_up_s"]


def driven_runs(evidence: Evidence) -> list[Drive]:
    """Stretches of RUN in which the supply drives the windings, in one known direction.

    They end with an endless loop of the code: from then on only the watchdog can open the legs, and how
    long it may take, longer than a loss, is asked by `controller.loop_opens`.
    """
    recording, steps = evidence.recording, evidence.recording.steps
    directions = evidence.derive(running).direction
    times_s = recording.seconds(steps.cycles)
    loops_s = [fault.at_s for fault in recording.scenario.faults if fault.kind == "endless loop"]
    found = []
    for k, run in enumerate(evidence.spans_of(Mark.RUN)):
        run_s, stop_s = float(recording.seconds(run.start)), float(recording.seconds(run.stop))
        stop_s = min([stop_s, *(t for t in loops_s if run_s <= t)])
        for a, b, row in evidence.drive_spans:
            start_s, end_s = max(a, run_s), min(b, stop_s)
            if directions[k] and end_s - start_s > WINDOW_S:
                first, last = np.searchsorted(times_s, (start_s, end_s))
                found.append(Drive(start_s, end_s, int(directions[k]), int(first), int(last), row))
    return found


def _standing(evidence: Evidence, drive: Drive) -> list[tuple[float, float]]:
    """Stretches in which the rotor gets on slower than at rest, or backwards, over `WINDOW_S`."""
    recording = evidence.recording
    rest_deg = evidence.limits["rest_rpm"] * 6.0 * recording.drive.motor.pole_pairs * WINDOW_S
    times = np.arange(drive.start_s + WINDOW_S, drive.stop_s, SAMPLE_S)
    ahead = recording.theta_at(times) - recording.theta_at(times - WINDOW_S)
    standing = np.degrees(ahead) * drive.direction < rest_deg
    return [(float(t) - WINDOW_S, float(t)) for t in times[standing]]


def _slipping(evidence: Evidence, drive: Drive) -> list[tuple[float, float]]:
    """Stretches of six steps over which the rotor's way differs from theirs by half a turn."""
    recording, steps = evidence.recording, evidence.recording.steps
    if drive.last - drive.first <= STEPS:
        return []
    times = recording.seconds(steps.cycles[drive.first : drive.last])
    moves = steps.moves[drive.first : drive.last - 1] * drive.direction
    stepped = np.concatenate(([0.0], np.cumsum(60.0 * moves)))
    turned = np.degrees(recording.theta_at(times)) * drive.direction
    slip = (turned[STEPS:] - turned[:-STEPS]) - (stepped[STEPS:] - stepped[:-STEPS])
    off = np.flatnonzero(np.abs(slip) > SLIP_DEG)
    return [(float(times[k]), float(times[k + STEPS])) for k in off]


def _row(evidence: Evidence, drive: Drive, t_s: float) -> int:
    """The step that was driven at `t_s`."""
    steps = evidence.recording.steps
    k = int(np.searchsorted(steps.cycles, evidence.recording.cycle_of(t_s), side="right")) - 1
    return int(steps.rows[k]) if k >= 0 else drive.row


CLAIMS = (
    Claim(
        "lost_drive",
        "no lost rotor is driven for long",
        Needs.INSIDE,
        lost_drive,
        ("lost_s", "rest_rpm"),
    ),
    Claim(
        "recovers",
        "after a loss it runs again, or is given up and said so",
        Needs.PINS | Needs.INSIDE,
        recovers,
        ("recover_s", "give_up_s", "rest_rpm", "cool_down_s"),
    ),
    Claim(
        "keeps",
        "a rotor that nothing tears out is not let go while it is asked for",
        Needs.PINS | Needs.INSIDE,
        keeps,
        ("demand_act_s",),
    ),
    Claim(
        "joining",
        "a rotor that turns already is joined without a step of the current",
        Needs.ANALOG | Needs.INSIDE,
        joining,
        ("join_a", "rest_rpm"),
    ),
)
