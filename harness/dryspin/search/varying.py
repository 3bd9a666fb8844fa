"""What matters in a scenario that breaks a claim: one piece at a time left out, made plain or moved.

Says what became of the claim in each of these runs and nothing of any other: two pieces of which either alone
may go need not both be without effect.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from dryspin.errors import RigError, ScenarioError
from dryspin.findings import Outcome, Trial
from dryspin.scenario import LINEAR_TRACES, Scenario

TRIALS = 40
"""Runs for one scenario at most; those that leave a piece out come first."""

LEFT_OUT, PLAIN, OTHER, EARLIER, LATER = "left out", "plain", "other", "earlier", "later"

FAULT_MOVED_S = 0.001
"""A fault is moved by that much; a step of the throttle by a frame, which it waits for in any case."""

USUAL_FRAME_MS, OTHER_FRAME_MS = 20.0, 19.0

CANNOT_RUN = "cannot be run"


@dataclass(frozen=True)
class Variation:
    """One run: of which piece, what was changed, and what became of the claim.

    piece    a field of `Scenario`
    name     the part's, or the fault's kind; else empty
    at_s     when it happens; None for what holds from power-on
    change   LEFT_OUT, PLAIN (nominal, or the default), OTHER, EARLIER, LATER
    value    the other value, or by how much (s) earlier or later
    status   of the claim: broken, held, not exercised, or CANNOT_RUN
    margin   of the claim, a share of its limit, where it has one
    """

    piece: str
    name: str
    at_s: float | None
    change: str
    value: float | None
    status: str
    margin: float | None


def vary(try_out: Callable[[Scenario], Trial], scenario: Scenario, claim: str) -> tuple[Variation, ...]:
    """Run `scenario` with one piece after another changed, `TRIALS` times at most, and look at `claim`."""
    varied: list[Variation] = []
    for (piece, name, at_s, change, value), other in _others(scenario):
        if len(varied) == TRIALS:
            break
        try:
            outcome = try_out(other).of(claim)
        except RigError:
            outcome = Outcome(claim, CANNOT_RUN)
        varied.append(Variation(piece, name, at_s, change, value, outcome.status, outcome.margin))
    return tuple(varied)


_What = tuple[str, str, float | None, str, float | None]


def _others(scenario: Scenario) -> Iterator[tuple[_What, Scenario]]:
    """What is changed, and the scenario with it; what would be no scenario is passed over."""
    for what, changed in (*_without(scenario), *_otherwise(scenario), *_moved(scenario)):
        try:
            other = replace(scenario, **changed)
        except ScenarioError:
            continue
        if other != scenario:
            yield what, other


def _without(scenario: Scenario) -> Iterator[tuple[_What, dict[str, Any]]]:
    steps = scenario.throttle_us
    for k in range(1, len(steps)):
        yield (
            ("throttle_us", "", steps[k][0], LEFT_OUT, None),
            {"throttle_us": (*steps[:k], *steps[k + 1 :])},
        )
    for k, fault in enumerate(scenario.faults):
        rest = scenario.faults[:k] + scenario.faults[k + 1 :]
        yield ("faults", fault.kind, fault.at_s, LEFT_OUT, None), {"faults": rest}
    for name in LINEAR_TRACES:
        if getattr(scenario, name):
            yield (name, "", None, LEFT_OUT, None), {name: ()}
    for name in scenario.parts:
        rest_of = {each: value for each, value in scenario.parts.items() if each != name}
        yield ("parts", name, None, PLAIN, None), {"parts": rest_of}
    if scenario.store:
        yield ("store", "", None, LEFT_OUT, None), {"store": ""}


def _otherwise(scenario: Scenario) -> Iterator[tuple[_What, dict[str, Any]]]:
    if scenario.comparator_noise_mv:
        yield ("seed", "", None, OTHER, None), {"seed": scenario.seed + 1}
    usual = scenario.frame_ms == USUAL_FRAME_MS
    frame_ms = OTHER_FRAME_MS if usual else USUAL_FRAME_MS
    yield ("frame_ms", "", None, OTHER if usual else PLAIN, frame_ms), {"frame_ms": frame_ms}
    for turned_deg in (60.0, 180.0):
        rest_deg = (scenario.rest_deg + turned_deg) % 360.0
        yield ("rest_deg", "", None, OTHER, rest_deg), {"rest_deg": rest_deg}


def _moved(scenario: Scenario) -> Iterator[tuple[_What, dict[str, Any]]]:
    steps, frame_s = scenario.throttle_us, scenario.frame_ms / 1000.0
    for k in range(1, len(steps)):
        for change, by_s in ((EARLIER, -frame_s), (LATER, frame_s)):
            moved = (*steps[:k], (round(steps[k][0] + by_s, 6), steps[k][1]), *steps[k + 1 :])
            yield ("throttle_us", "", steps[k][0], change, frame_s), {"throttle_us": moved}
    for k, fault in enumerate(scenario.faults):
        for change, by_s in ((EARLIER, -FAULT_MOVED_S), (LATER, FAULT_MOVED_S)):
            other = replace(fault, at_s=round(fault.at_s + by_s, 6))
            faults = (*scenario.faults[:k], other, *scenario.faults[k + 1 :])
            yield ("faults", fault.kind, fault.at_s, change, FAULT_MOVED_S), {"faults": faults}
