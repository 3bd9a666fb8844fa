"""Beginnings that scenarios share: what is drawn behind them does not move them, and enough begin anew."""

from random import Random

import pytest

from dryspin.drive import load_drive
from dryspin.findings import Subject, load_subject
from dryspin.search.beginnings import AHEAD_S, SHARED_SLOTS, SLOTS
from dryspin.search.course import RUN_UP_S
from dryspin.search.draws import SeededDraws
from dryspin.search.family import Task, planned_drafts, search_family
from dryspin.search.scratch import hypothesis_leaves_no_files
from dryspin.search.shrink import cut
from dryspin.search.strategies import build, covering_draft, retold

from .subject import BOW_THRUSTER, StandIn


@pytest.fixture(scope="module")
def subject() -> Subject:
    """The shipped firmware."""
    return load_subject(BOW_THRUSTER)


def until(scenario, end_s):
    """What a run shows of a scenario up to a moment: its pulses, and all that is cut there."""
    shown = cut(scenario, end_s)
    return (
        shown.rest_deg,
        shown.frame_ms,
        shown.parts,
        shown.faults,
        [(t_s, us) for t_s, us in scenario.pulses() if t_s <= end_s],
    )


@pytest.mark.parametrize("family", SHARED_SLOTS)
def test_other_choices_behind_it_leave_a_beginning_as_it_is(family, subject):
    """Forty endings to each: stick, pulses, faults, parts and start values are the same until then."""
    rows = planned_drafts(subject.drive, Task(family, 40, 0, 0))
    for row in [row for row in rows if row.beginning][:3]:
        for k in range(40):
            told = build(SeededDraws(Random(k), row.beginning.chosen), subject.drive, family)
            assert until(told.scenario, row.shared_s) == until(row.scenario, row.shared_s)
            if told.beginning:
                assert told.beginning.until_s == row.beginning.until_s
                assert told.scenario.supply_v[0] == row.scenario.supply_v[0]
                assert told.scenario.load_factor[0] == row.scenario.load_factor[0]


@pytest.mark.parametrize("family", SHARED_SLOTS)
def test_a_beginning_ends_before_anything_parts(family, subject):
    """In a reversal after a second at high throttle; everywhere so long ahead that no plan reaches beyond."""
    for row in range(48):
        draft = covering_draft(subject.drive, family, row, 0)
        if draft.beginning is None:
            continue
        events_s = [t_s for t_s, _ in draft.scenario.throttle_us] + [f.at_s for f in draft.scenario.faults]
        assert any(t_s < draft.shared_s for t_s in events_s if t_s > 0.0)
        assert not any(draft.shared_s < t_s < draft.shared_s + AHEAD_S - 1e-4 for t_s in events_s)
        if family == "reversal":
            # A stick that could not make up its mind has asked before.
            demand_s = max(t_s for t_s, _ in draft.scenario.throttle_us if t_s < draft.shared_s)
            assert draft.shared_s == pytest.approx(demand_s + RUN_UP_S - AHEAD_S)


def test_a_scenario_from_a_beginning_is_told_again_by_its_choices(subject):
    """Shrinking knows choices only, not where they came from."""
    row = next(row for row in planned_drafts(subject.drive, Task("reversal", 40, 0, 0)) if row.beginning)
    told = build(SeededDraws(Random(5), row.beginning.chosen), subject.drive, "reversal")

    assert retold(subject.drive, told, told.choices).scenario == told.scenario


@pytest.mark.parametrize("family", ["reversal", "arming"])
def test_the_share_that_begins_anew_is_kept(family):
    """A quarter in reversals, three quarters in arming, and what fills the budget up: they stay diverse.

    Without margins nothing climbs around one example, so that what is drawn is seen as it is drawn.
    """
    stand_in = StandIn(BOW_THRUSTER, lambda _: [], ())
    tried = []

    def trial(draft):
        tried.append(draft)
        return stand_in.search_trial(draft.scenario)

    task = Task(family, 84, 0, 3)
    with hypothesis_leaves_no_files():
        search_family(trial, stand_in.drive, task)
    lent = [row.beginning.chosen.items() for row in tried[: task.planned] if row.beginning]
    explored = tried[task.planned :]
    continued = sum(any(chosen <= named(draft).items() for chosen in lent) for draft in explored)

    assert len(explored) == 60
    assert len(lent) == SHARED_SLOTS[family]
    share = SHARED_SLOTS[family] / SLOTS
    assert share == (0.75 if family == "reversal" else 0.25)
    assert 0.0 < continued / len(explored) <= share


def named(draft):
    """The choices of a draft by name."""
    draws = Named(draft.choices)
    build(draws, load_drive(BOW_THRUSTER / "drive.toml"), draft.family)
    return draws.named


class Named(SeededDraws):
    """The choices of a note, by name."""

    def __init__(self, noted):
        super().__init__(Random(0))
        self._noted = iter(noted)

    def _choose(self, n):
        return next(self._noted)


@pytest.mark.slow
def test_a_search_goes_on_from_beginnings_and_judges_as_if_it_did_not(subject):
    """Some reversals, warm and from power-on: the same scenarios, the same outcomes, margins to the bit."""
    task = Task("reversal", 18, 0, 0)
    told = []
    for shared in (True, False):
        trials = []

        def trial(draft, shared=shared, trials=trials):
            found = subject.search_trial(draft.scenario, draft.shared_s if shared else None)
            trials.append((draft.scenario, found))
            return found

        with hypothesis_leaves_no_files():
            search_family(trial, subject.drive, task)
        told.append(trials)

    assert told[0] == told[1]
    assert subject._starts.continued > 0
