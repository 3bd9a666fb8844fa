"""Scenarios until something objects: every family in turn, no more than needed, a check's otherwise."""

from pathlib import Path

import pytest

from dryspin.errors import RigError
from dryspin.findings import BROKEN
from dryspin.search.family import ScenarioFailedError
from dryspin.search.plan import tasks_of
from dryspin.search.scratch import hypothesis_leaves_no_files
from dryspin.search.until import planned_in_turn, search_until

from .subject import StandIn, broken, held, reversal_at_s

FAMILIES = ["gates", "commutation", "reversal"]
CLAIM = "reversal.opposing_drive"


def judge(scenario):
    """Reversals break the claim, everything else holds it."""
    at_s = reversal_at_s(scenario)
    return [held("gates.dead_time"), held(CLAIM) if at_s is None else broken(CLAIM, at_s)]


def until(judge, enough, quota=30, seed=0):
    """Search with a stand-in; also every scenario that it was asked to judge."""
    asked = []

    def watched(scenario):
        asked.append(scenario)
        return judge(scenario)

    subject = StandIn(Path(), watched, (CLAIM, "gates.dead_time"))
    tasks = tasks_of(FAMILIES, quota, seed)
    with hypothesis_leaves_no_files():
        result = search_until(
            lambda draft: subject.try_out(draft.scenario),
            *(subject.drive, tasks, planned_in_turn(subject.drive, tasks), enough),
        )
    return result, asked


def objects(trial):
    """The claim is broken."""
    return trial.of(CLAIM).status == BROKEN


def test_the_first_objection_ends_it():
    """Families come in turn, so a reversal is met by the third scenario at the latest."""
    result, asked = until(judge, objects)

    assert result.enough
    assert result.scenarios == len(asked) <= 3
    assert result.simulated_s == sum(scenario.end_s for scenario in asked)
    assert result.breaking[CLAIM].scenario == asked[-1]
    assert result.exercised == {"gates.dead_time", CLAIM}


@pytest.mark.parametrize("quota", [30, 33])
def test_without_an_objection_the_budget_is_run_to_the_scenario(quota):
    """The number is a promise, planned and steered ones together, none of them twice."""
    result, asked = until(lambda _: [held("gates.dead_time")], objects, quota)

    assert not result.enough
    assert result.scenarios == len(asked) == quota
    assert len({scenario.to_toml() for scenario in asked}) == quota


def test_an_objection_while_steering_ends_it_as_well():
    """Only what Hypothesis draws objects here: the eighteen planned ones, six a family, pass."""
    count = iter(range(1000))
    result, asked = until(
        lambda scenario: [broken(CLAIM, 1.0) if next(count) >= 20 else held(CLAIM)], objects
    )

    assert result.enough
    assert len(asked) == result.scenarios == 21


def test_the_same_seed_gives_the_same_scenarios():
    """Another seed, others."""
    hold = [held("gates.dead_time")]
    first, again, other = (until(lambda _: hold, objects, seed=seed)[1] for seed in (3, 3, 4))

    assert first == again
    assert first != other


def test_a_firmware_that_cannot_be_run_says_on_which_scenario():
    """Planned or steered, the scenario is kept."""

    def fails(_):
        raise RigError("hangs")

    with pytest.raises(ScenarioFailedError) as raised:
        until(fails, objects)

    assert raised.value.scenario.throttle_us
