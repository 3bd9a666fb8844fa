"""Scenarios drawn uniformly, for a directed search to be compared with.

The same families, the same number of events as their stories have, the same rite before them; but every
event at any moment alike, every stick position and every part anywhere in its range, nothing aimed at,
nothing steered.
"""

from dataclasses import replace
from random import Random

from dryspin.drive import Drive, Range
from dryspin.scenario import Fault, Scenario, Trace
from dryspin.scenario.schema import MOMENTARY_FAULTS
from dryspin.search.course import START_UP_S, armed_s
from dryspin.search.draws import SeededDraws
from dryspin.search.envelope import load_factors, varied_parts
from dryspin.search.rehearsal import Rehearsal
from dryspin.search.strategies import build

RITUAL = ("calibration",)
"""Families whose stick movements mean something only in their order and length: only their faults move."""

OUTAGE_MS = (5.0, 300.0)
"""Shortest and longest outage in the stories of a search."""


def uniform_scenario(drive: Drive, family: str, rehearsal: Rehearsal, generator: Random) -> Scenario:
    """One scenario. Of the rehearsal only the length of the rite is used: without it, nothing ever drives."""
    plain = Rehearsal(rite_frames=rehearsal.rite_frames)
    story = build(SeededDraws(generator), drive, family, plain).scenario
    begin_s = min(armed_s(drive, rehearsal, story.frame_ms), story.end_s / 2.0)
    steps = story.throttle_us
    if family not in RITUAL:
        steps = _steps(drive, story, begin_s, generator)
    load = load_factors(drive)
    return replace(
        story,
        rest_deg=round(generator.uniform(0.0, 359.9), 1),
        throttle_us=steps,
        supply_v=((0.0, _within(drive.supply.v_v, generator)),),
        load_factor=_jam(story, begin_s, _within(load, generator), generator),
        comparator_noise_mv=_moved(story.comparator_noise_mv, story.end_s, begin_s, generator),
        parts={name: _within(span, generator) for name, span in varied_parts(drive).items()},
        faults=tuple(sorted((_fault(f, story.end_s, generator) for f in story.faults), key=lambda f: f.at_s)),
    )


def _within(span: Range, generator: Random) -> float:
    value = float(f"{generator.uniform(span.low, span.high):.4g}")
    return min(max(value, span.low), span.high)


def _steps(drive: Drive, story: Scenario, begin_s: float, generator: Random) -> Trace:
    """Steps of the rite as they are; as many as follow it, anywhere behind it, the stick anywhere."""
    throttle = drive.throttle
    ends_us = sorted((throttle.reverse_full_us, throttle.forward_full_us))
    rite = [step for step in story.throttle_us if step[0] < begin_s]
    widths = [us for t_s, us in story.throttle_us if t_s >= begin_s]
    # a signal that is lost or bad stays one
    widths = [
        round(generator.uniform(*ends_us), 0) if throttle.valid_low_us <= us <= throttle.valid_high_us else us
        for us in widths
    ]
    moments = sorted({round(generator.uniform(begin_s, story.end_s - 0.001), 4) for _ in widths})
    return (*rite, *zip(moments, widths, strict=False))


def _jam(story: Scenario, begin_s: float, usual: float, generator: Random) -> Trace:
    """The propeller of this scenario; what jams it in the story does so at any moment."""
    trace = story.load_factor
    jammed = len(trace) > 3
    if not jammed:
        return ((0.0, usual),)
    times = tuple((t_s, round(value / trace[0][1] * usual, 4)) for t_s, value in trace)
    return _moved(times, story.end_s, begin_s, generator)


def _moved(trace: Trace, end_s: float, begin_s: float, generator: Random) -> Trace:
    """What happens in a trace behind its first point, as a whole at another moment."""
    if len(trace) < 2:
        return trace
    first_s, last_s = trace[1][0], trace[-1][0]
    latest_s = end_s - (last_s - first_s) - 0.001
    to_s = generator.uniform(min(begin_s, latest_s), latest_s)
    moved = tuple((round(t_s - first_s + to_s, 4), value) for t_s, value in trace[1:])
    return (trace[0], *moved)


def _fault(fault: Fault, end_s: float, generator: Random) -> Fault:
    at_s = round(generator.uniform(START_UP_S, end_s - 0.001), 7)
    for_ms = 0.0 if fault.kind in MOMENTARY_FAULTS else round(generator.uniform(*OUTAGE_MS), 1)
    return replace(fault, at_s=at_s, for_ms=for_ms)
