"""What a search gains by going on from beginnings, and what it costs beside its runs.

Figures as everywhere here; limits are asserted only with `--benchmark-enable`: 10 us to take a checkpoint and
go back to it, and the pace of what goes on from there. The goal of 2 000 plain reversals a minute of one core
from a warm checkpoint, recording included, is a figure of a quiet machine and is not asserted.
"""

import math
import time
from random import Random
from typing import Any

import pytest

from dryspin.findings import Subject, Trial, load_subject
from dryspin.search.draws import SeededDraws
from dryspin.search.family import Task, planned_drafts, search_family
from dryspin.search.scratch import hypothesis_leaves_no_files
from dryspin.search.strategies import Draft, build

from .conftest import THRUSTER

pytestmark = pytest.mark.benchmark(timer=time.process_time)

LEAST_PACE, LEAST_PACE_WITH_NOISE = 0.7, 0.4
"""Pace of what goes on from a checkpoint, as a share of a whole run's in the same round, so that neither the
machine nor what else it does decides. A reversal is busier than the rest before it; noise is dearer."""

THERE_AND_BACK_S = 10e-6
ENDINGS = 24


@pytest.fixture(scope="module")
def subject() -> Subject:
    """The shipped firmware with its claims."""
    return load_subject(THRUSTER)


@pytest.fixture(scope="module")
def row(subject: Subject) -> Draft:
    """A reversal of the covering plan, whose beginning the others share."""
    return next(row for row in planned_drafts(subject.drive, Task("reversal", 40, 0, 0)) if row.beginning)


PLAIN = {"again": 0, "noisy": 0, "supply ramp": 0, "load ramp": 0}
"""Once the other way, and nothing else: any size, after any run, over neutral or at once."""


@pytest.mark.parametrize("fixed", [PLAIN, {}], ids=["plain", "as drawn"])
def test_reversals_from_a_warm_checkpoint(
    benchmark: Any, subject: Subject, row: Draft, fixed: dict[str, int]
) -> None:
    """`per_core_minute`: recorded; `judged_per_core_minute`: and put before all monitors.

    As a search draws them, every fourth turns back again, a second longer, and one in five has noise, which
    takes as long as seconds without. `reference_times_real_time`: of a whole run, in the same rounds.
    """
    assert row.beginning
    assert row.shared_s is not None
    generator, given = Random(0), []
    while len(given) < (ENDINGS if benchmark.enabled else 2):
        draws = SeededDraws(generator, {**row.beginning.chosen, **fixed})
        draft = build(draws, subject.drive, "reversal")
        # one whose noise or ramp begins before would be run from power-on
        given += [draft.scenario] if draft.beginning else []
    frozen = subject.rig.checkpoint(row.scenario, row.shared_s)
    ran_s, judged_s, whole_s = ([math.inf] * len(given) for _ in range(3))

    def all_of_them() -> None:
        for k, scenario in enumerate(given):
            begun_s = time.process_time()
            recording = subject.rig.resume(frozen, scenario)
            ran_s[k] = min(ran_s[k], time.process_time() - begun_s)
            subject.judge(recording, digest=False)
            judged_s[k] = min(judged_s[k], time.process_time() - begun_s)
        begun_s = time.process_time()
        subject.record(row.scenario)
        whole_s[0] = min(whole_s[0], time.process_time() - begun_s)

    benchmark.pedantic(all_of_them, rounds=5 if benchmark.enabled else 1)
    benchmark.extra_info |= {
        "per_core_minute": 60.0 * len(given) / sum(ran_s),
        "judged_per_core_minute": 60.0 * len(given) / sum(judged_s),
        "times_real_time": sum(scenario.end_s - frozen.at_s for scenario in given) / sum(ran_s),
        "reference_times_real_time": row.scenario.end_s / whole_s[0],
    }

    assert subject.rig.resume(frozen, given[1]).digest() == subject.record(given[1]).digest()
    if benchmark.enabled:
        pace = benchmark.extra_info["times_real_time"] / benchmark.extra_info["reference_times_real_time"]
        assert pace >= (LEAST_PACE if fixed else LEAST_PACE_WITH_NOISE)


def test_taking_a_checkpoint_and_going_back_to_it(benchmark: Any, subject: Subject, row: Draft) -> None:
    """In the core, under drive: state out and back in."""
    assert row.shared_s is not None
    frozen = subject.rig.checkpoint(row.scenario, row.shared_s)

    assert benchmark(subject.rig.shuttle(frozen)) == len(frozen.memory)
    if benchmark.enabled:
        assert benchmark.stats.stats.min <= THERE_AND_BACK_S


def test_what_drawing_a_scenario_costs(benchmark: Any, subject: Subject) -> None:
    """Of one explored reversal, in ms of CPU time: all that is no trial, and what of that is building.

    The rest is Hypothesis's own: drawing, and keeping count of what it has drawn. `share_of_search`: of it
    and the trials, as a check runs them.
    """
    explored = 96 if benchmark.enabled else 4
    task = Task("reversal", explored + 24, 0, 0)
    drafts: list[Draft] = []
    spent_s: list[float] = []

    def trial(draft: Draft) -> Trial:
        drafts.append(draft)
        return Trial((), draft.scenario.end_s)

    def search() -> None:
        drafts.clear()
        begun_s = time.process_time()
        search_family(trial, subject.drive, task)
        spent_s.append(time.process_time() - begun_s)

    with hypothesis_leaves_no_files():
        benchmark.pedantic(search, rounds=3 if benchmark.enabled else 1)
    begun_s = time.process_time()
    for k in range(len(drafts)):
        build(SeededDraws(Random(k)), subject.drive, "reversal")
    building_s = (time.process_time() - begun_s) / len(drafts)
    subject.search_trial(drafts[0].scenario)
    begun_s = time.process_time()
    for draft in drafts[:4]:
        subject.search_trial(draft.scenario)
    trial_s = (time.process_time() - begun_s) / 4.0
    drawing_s = min(spent_s) / len(drafts)
    benchmark.extra_info |= {
        "drawing_ms": 1000.0 * drawing_s,
        "of_that_building_ms": 1000.0 * building_s,
        "trial_ms": 1000.0 * trial_s,
        "share_of_search": drawing_s / (drawing_s + trial_s),
    }

    assert len(drafts) == task.quota
