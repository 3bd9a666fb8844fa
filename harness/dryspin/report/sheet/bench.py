"""From finding to bench: two probes, a trigger, a time base, what they will show, and at what current limit.

Everything named is measured in a second run of the model, as the bench will play the story: without the
propeller, from a supply that takes no current back. Rules of thumb are `common practice, no source`.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from dryspin.findings import BROKEN, Outcome
from dryspin.plant.parameters import plant_params
from dryspin.recording import Recording
from dryspin.report.numbers import number, quantity
from dryspin.report.sheet.case import Case
from dryspin.report.sheet.clock import clock_of, ran_out
from dryspin.report.sheet.closer import Closer, closer_look
from dryspin.report.sheet.moving import is_flat, livelier, why_flat
from dryspin.report.sheet.placement import Probe, around, probes_for
from dryspin.report.sheet.probes import PROBES, seen, supply_a
from dryspin.report.sheet.pulses import frames_text, pulse_list
from dryspin.report.sheet.screen import Screen, screen_of
from dryspin.report.sheet.tables import seen_text
from dryspin.report.sheet.terminals import Terminals, pieces_of, terminals_of
from dryspin.report.sheet.timebase import base_of, time_text
from dryspin.report.sheet.trigger import last_trigger
from dryspin.scenario import Scenario

FIRST_TRY_A: Final = 2.0
"""Current limit of a first try: common practice, no source."""


_MEAN_MS: Final = 10


@dataclass(frozen=True)
class Bench:
    """What to do at the bench. `sees`: one text a probe. `cannot`: what of the story is not played so.

    `another_run` says that the figures are not of the run in the lanes, and by how much their moments differ;
    "" where they are. `frames`: which pulse brings each change of the story.
    """

    propeller_off: str
    another_run: str
    probes: tuple[str, str]
    sees: tuple[str, str]
    trigger: str
    time_base: str
    current_limit: str
    before: tuple[str, ...]
    cannot: tuple[str, ...]
    pulses: str
    frames: str
    screen: Screen
    closer: Closer | None


def bench_of(case: Case) -> Bench:
    """The recipe for one case; measured in its bench run where there is one, else in the run itself."""
    run = case.bench
    shown = run is not None and run.outcome.status == case.outcome.status
    recording = run.recording if run is not None and shown else case.recording
    outcome = run.outcome if run is not None and shown else case.outcome
    moment_s = case.moment_s if outcome.moment_s is None else outcome.moment_s
    clock = clock_of(outcome, recording)
    base = base_of(outcome, clock, moment_s)
    window, near = base.window, around(moment_s)
    points = terminals_of(recording, min(window[0], near[0]), max(window[1], near[1]))
    first, second = probes_for(outcome, recording, points, moment_s)
    since = (base.since_s, "after the moment" if base.since_s == moment_s else "since its clock started")
    if not outcome.claim.startswith("gates."):  # they speak of the two FETs of one leg
        second = livelier(second, recording, points, base.since_s, window)
    screen = screen_of((first, second), recording, points, base)
    trigger, trigger_s = last_trigger(case.scenario, moment_s)
    closer = closer_look((first, second), recording, base, trigger_s)
    return Bench(
        propeller_off=_propeller(case, shown),
        another_run=_another_run(case, moment_s) if shown else "",
        probes=(PROBES[first.kind].format(leg=first.leg), PROBES[second.kind].format(leg=second.leg)),
        sees=(
            _sees(first, recording, points, since, window),
            _sees(second, recording, points, since, window),
        ),
        trigger=trigger,
        time_base=base.text(trigger_s, "this run" if shown else "the lanes"),
        current_limit=_current_limit(recording, moment_s),
        before=tuple(_before(case.scenario, outcome.claim)),
        cannot=tuple(_cannot(case.scenario)),
        pulses=pulse_list(case.scenario),
        frames=frames_text(case.scenario),
        screen=screen,
        closer=closer,
    )


def _sees(
    probe: Probe,
    recording: Recording,
    points: Terminals,
    since: tuple[float, str],
    window: tuple[float, float],
) -> str:
    """What a probe shows in the window; `since` (s, in words) it should move, or else the reason why not."""
    told = f"{seen(*probe, recording, points, window)}."
    since_s, when = since
    if len(points.t_s) and is_flat(probe, recording, points, since_s, window):
        return f"{told} {why_flat(probe, recording, since_s, window[1], when)}"
    return told


def _propeller(case: Case, shown: bool) -> str:
    if case.bench is None:
        return "Propeller off. The story was not tried without it."
    played_s = case.bench.recording.end_s
    upto = f", up to {played_s:.2f} s" if played_s < case.recording.end_s else ""
    if shown and case.outcome.status == BROKEN:
        return (
            f"Propeller off. Tried so in the model{upto}, from a supply that takes no current back: the "
            f"claim breaks there too{_value(case.bench.outcome, played_s)}. "
            "The figures below are of that run."
        )
    if shown:
        return (
            f"Propeller off. The figures below are of a run in the model without it{upto}, from a supply "
            "that takes no current back."
        )
    return (
        "Propeller off, and then the model does not show it: the claim is "
        f"{case.bench.outcome.status} there. Do not put the propeller back on to see it; what follows are "
        "the figures of the run with propeller, to be read, not tried."
    )


def _another_run(case: Case, moment_s: float) -> str:
    away_s = moment_s - case.moment_s
    if abs(away_s) < 1e-6:
        differs = "Its moment is the same, to the microsecond, but its currents and speeds are not"
    else:
        differs = (
            f"Its moment is {time_text(abs(away_s))} {'later' if away_s > 0.0 else 'earlier'} than in the "
            f"lanes, at {moment_s:.6f} s instead of {case.moment_s:.6f} s, and its currents and speeds "
            "differ"
        )
    return f"What follows is of the run without propeller, not of the one in the lanes above. {differs}."


def _value(outcome: Outcome, end_s: float) -> str:
    seen = seen_text(outcome, end_s)
    if not seen:
        return ""
    return f" ({seen})" if ran_out(outcome, end_s) else f" (seen {seen})"


def _current_limit(recording: Recording, moment_s: float) -> str:
    """Limit of a first try, and the one at which the story is not cut short, up to the moment.

    The model's supply has no limit: what the story draws, as a mean over 10 ms, a limit must let pass.
    """
    advice = (
        f"Begin with {number(FIRST_TRY_A)} A from a bench supply (common practice, no source). A limit does "
        "not hold back what the bulk capacitor has stored."
    )
    need_a = _mean_a(recording, moment_s)
    if need_a is None:
        return advice
    # Rounded up: below what it draws the same is not seen.
    enough = f"{number(math.ceil(10.0 * need_a) / 10.0)} A"
    drawn = f"up to the moment the story draws at most {quantity(need_a, 'A')} as a mean over 10 ms"
    if need_a <= FIRST_TRY_A:
        return f"{advice} That is enough to see the same: {drawn}."
    return (
        f"{advice} The same is to be expected from a limit of {enough} on: {drawn}, and with a lower limit "
        "the bus sags and the story may end early. Raise the limit in small steps, and only while currents "
        "and gates are what the drawings show."
    )


def _mean_a(recording: Recording, moment_s: float) -> float | None:
    """Largest mean of the supply's current over 10 ms up to the moment, A; None where it is not known."""
    if plant_params(recording.drive, recording.scenario).stiff or len(recording.states) < 2:
        return None
    grid = np.arange(0.0, moment_s, 1e-3)
    # Charge drawn up to each millisecond; where the points end, none is drawn any more.
    charge, drawn, upto = np.zeros(len(grid)), 0.0, 0
    for piece in pieces_of(recording, moment_s):
        current_a = supply_a(recording, piece)
        sums = np.append(0.0, np.cumsum(0.5 * (current_a[1:] + current_a[:-1]) * np.diff(piece.t_s))) + drawn
        last = int(np.searchsorted(grid, piece.t_s[-1], side="right"))
        charge[upto:last] = np.interp(grid[upto:last], piece.t_s, sums)
        upto, drawn = last, float(sums[-1])
    charge[upto:] = drawn
    means = (charge[_MEAN_MS:] - charge[:-_MEAN_MS]) / (_MEAN_MS * 1e-3)
    return float(means.max(initial=0.0)) if len(means) else None


def _before(scenario: Scenario, claim: str) -> list[str]:
    lines = ["Propeller off. Motor held down. Eye protection. Hands, hair and leads away from the rotor."]
    lines.append(
        "Flash with the motor supply off. A battery only where it may burn: a short sets a lithium pack on "
        "fire."
    )
    if claim.startswith("gates."):
        lines.append(
            "Gates alone can be watched with the motor supply off, where the board lets the controller be "
            "powered by itself and the story breaks before the rotor has to turn."
        )
    if scenario.rest_deg:
        lines.append(
            f"Before power-on turn the rotor by hand to {number(scenario.rest_deg)} electrical degrees "
            "(at 0 the EMF of phase U rises through zero)."
        )
    for fault in scenario.faults:
        at = f"at {fault.at_s:.4f} s of the story"
        if fault.kind == "reset":
            lines.append(f"Pull the reset pin low {at}.")
        elif fault.kind in ("power cut", "supply gap"):
            lines.append(f"Take the supply away {at} for {number(fault.for_ms)} ms.")
        elif fault.kind == "lead open":
            lines.append(f"Lead {fault.phase} is taken off and insulated, power off.")
    if len(scenario.supply_v) > 1:
        points = ", ".join(f"{number(v)} V at {t:.3f} s" for t, v in scenario.supply_v)
        lines.append(f"The supply's voltage goes straight from point to point: {points}.")
    elif scenario.supply_v:
        lines.append(f"Supply at {number(scenario.supply_v[0][1])} V.")
    return lines


def _cannot(scenario: Scenario) -> list[str]:
    lines = []
    if scenario.parts:
        parts = ", ".join(scenario.parts)
        lines.append(
            f"This story needs parts away from their nominal values ({parts}); yours may not show it."
        )
    for name, words in (("load_nm", "an added torque"), ("speed_rpm", "a driven rotor"),
                        ("water_rpm", "water that turns the propeller"),
                        ("comparator_noise_mv", "noise at the comparator")):  # fmt: skip
        trace = getattr(scenario, name)
        if any(value for _, value in trace):
            lines.append(f"The story has {words}, which these probes and a pulse player do not make.")
    if any(factor != 1.0 for _, factor in scenario.load_factor):
        lines.append("The story varies the propeller's torque, which is off here.")
    if scenario.store:
        lines.append("The story begins with bytes in the controller's store: write them with the programmer.")
    if any(fault.kind == "endless loop" for fault in scenario.faults):
        lines.append("The endless loop of the code cannot be played from outside.")
    return lines
