"""Shrinking: what it ends with, and what it costs at most."""

from pathlib import Path

import pytest

from dryspin.errors import RigError
from dryspin.search.shrink import cut, shrink
from dryspin.search.strategies import covering_draft

from .subject import StandIn, broken, held, reversal_at_s

CLAIM = "reversal.claim"


def first_breaking(judge, family="reversal"):
    """The first planned scenario that the judge breaks."""
    subject = StandIn(Path(), judge, (CLAIM,))
    row = 0
    while (
        subject.try_out(covering_draft(subject.drive, family, row, 0).scenario).of(CLAIM).status != "broken"
    ):
        row += 1
    return subject, covering_draft(subject.drive, family, row, 0)


def on_reversal(scenario):
    """Broken by a reversal."""
    at_s = reversal_at_s(scenario)
    return [held(CLAIM) if at_s is None else broken(CLAIM, at_s)]


@pytest.mark.parametrize("cap", [1, 2, 10, 40])
def test_the_cap_counts_trials(cap):
    """Deterministic on every machine, and the smallest so far is kept whatever Hypothesis thinks."""
    subject, draft = first_breaking(on_reversal)
    tried = []

    def try_out(scenario):
        tried.append(scenario)
        return subject.try_out(scenario)

    shrunk = shrink(try_out, subject.drive, draft, CLAIM, cap)

    assert shrunk.trials == len(tried) <= cap
    assert shrunk.scenario in tried
    assert shrunk.outcome.status == "broken"


def test_the_needed_part_stays_and_the_others_go():
    """A finding that needs a weak supply must show it, and only it."""

    def judge(scenario):
        at_s = reversal_at_s(scenario)
        weak = bool(scenario.supply_v) and scenario.supply_v[0][1] <= 10.0
        return [broken(CLAIM, at_s) if at_s is not None and weak else held(CLAIM)]

    subject, draft = first_breaking(judge)
    shrunk = shrink(subject.try_out, subject.drive, draft, CLAIM, 100)

    assert len(shrunk.scenario.supply_v) == 1
    assert shrunk.scenario.supply_v[0][1] <= 10.0
    assert shrunk.scenario.events == 2
    assert shrunk.scenario.load_factor == ()
    assert shrunk.scenario.parts == {}


def test_a_trial_that_cannot_be_run_is_no_shorter_case():
    """A hang on the way is another bug."""

    def judge(scenario):
        if scenario.rest_deg == 0.0:
            raise RigError("hangs")
        return on_reversal(scenario)

    def only_reversal(scenario):
        return on_reversal(scenario)

    subject, draft = first_breaking(only_reversal)
    subject._judge = judge
    shrunk = shrink(subject.try_out, subject.drive, draft, CLAIM, 60)

    assert shrunk.scenario.rest_deg > 0.0
    assert shrunk.scenario.events == 2


def test_a_draft_that_does_not_break_again_is_given_up():
    """Otherwise the finding would show a scenario that breaks nothing."""
    subject, draft = first_breaking(on_reversal)
    subject._judge = lambda scenario: [held(CLAIM)]

    assert shrink(subject.try_out, subject.drive, draft, CLAIM, 50) is None


def test_a_cut_scenario_loses_what_comes_after():
    """Points after the end would be refused by the scenario itself."""
    _, draft = first_breaking(on_reversal)
    at_s = reversal_at_s(draft.scenario)

    short = cut(draft.scenario, at_s)

    assert short.end_s == at_s
    assert all(t_s < at_s for t_s, _ in short.throttle_us)
