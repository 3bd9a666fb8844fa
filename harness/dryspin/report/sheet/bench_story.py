"""The story as a bench would play it: without propeller, and of a long one what leads to the moment."""

from dataclasses import replace
from typing import Final

from dryspin.findings import Outcome
from dryspin.report.sheet.placement import window_s
from dryspin.scenario import Scenario, Trace, linear_value

LONG_S: Final = 10.0
"""A story that goes on for longer after its moment is tried up to there first."""

_MORE_S: Final = 1.0


def bench_stories(scenario: Scenario, outcome: Outcome) -> list[Scenario]:
    """What to run until the claim has the status it has in the story: the last one is the whole.

    What follows the moment by `LONG_S` is not needed to show it, and nobody plays minutes to see it again.
    """
    whole = replace(scenario, load_factor=((0.0, 0.0),), load_nm=(), speed_rpm=(), water_rpm=())
    if outcome.moment_s is None:
        return [whole]
    until_s = outcome.moment_s + 2.0 * window_s(outcome) + _MORE_S
    if scenario.end_s - until_s < LONG_S:
        return [whole]
    return [_until(whole, round(until_s, 2)), whole]


def _until(scenario: Scenario, until_s: float) -> Scenario:
    """The scenario up to a moment; traces that go straight from point to point end where they are then."""
    return replace(
        scenario,
        end_s=until_s,
        throttle_us=tuple(step for step in scenario.throttle_us if step[0] < until_s),
        faults=tuple(fault for fault in scenario.faults if fault.at_s < until_s),
        supply_v=_line(scenario.supply_v, until_s),
        comparator_noise_mv=_line(scenario.comparator_noise_mv, until_s),
    )


def _line(trace: Trace, until_s: float) -> Trace:
    """Points of a trace up to a moment, and where it is then; an empty one stays so."""
    ends = ((until_s, linear_value(trace, until_s, 0.0)),) if trace else ()
    return (*(point for point in trace if point[0] < until_s), *ends)
