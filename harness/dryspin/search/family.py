"""The search of one family: the covering plan first, then Hypothesis, with margins as targets."""

import hashlib
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import hypothesis
from hypothesis import HealthCheck, Phase, Verbosity

from dryspin.drive import Drive
from dryspin.errors import DryspinError, RigError
from dryspin.findings import BROKEN, Trial
from dryspin.scenario import Scenario
from dryspin.search.beginnings import SHARED_SLOTS
from dryspin.search.code_cycles import AtFactor
from dryspin.search.envelope import SECTORS, Reached, Visit
from dryspin.search.handlers import HandlerTimes
from dryspin.search.rehearsal import UNREHEARSED, Rehearsal
from dryspin.search.shrink import size
from dryspin.search.strategies import PLANNED_KINDS, Draft, covering_draft, drafts, explored
from dryspin.search.tally import Tally

TryDraft = Callable[[Draft], Trial]
"""Runs and judges a draft's scenario; raises RigError."""

PLANNED_SHARE = 0.6
"""Share of a family's scenarios that follow the covering plan, up to one per rest sector."""


ASIDE_ONE_IN = 8
"""Of the scenarios explored, at most one in so many tells a rare story.

Hypothesis climbs around one example; around a rare one it would leave the rest unexercised.
"""


@dataclass(frozen=True)
class Task:
    """What to search: `quota` scenarios of a family; its planned rows are numbered from `first_row`."""

    family: str
    quota: int
    first_row: int
    seed: int
    rehearsal: Rehearsal = UNREHEARSED

    @property
    def planned(self) -> int:
        """Scenarios that follow the covering plan."""
        return planned(self.quota)


def planned(quota: int) -> int:
    """Of `quota` scenarios, those that follow the covering plan."""
    return min(math.ceil(PLANNED_SHARE * quota), SECTORS)


@dataclass
class FamilySearch:
    """What came of it. `exercised` counts the family's own scenarios by claim, `breaking` keeps
    the most readable scenario that broke each claim. `covered`: marks of the code that were reached.
    `handlers`: what they took. `at_factors`: the same scenarios with other cycles for the code.
    """

    family: str
    scenarios: int = 0
    simulated_s: float = 0.0
    seen: set[str] = field(default_factory=set)
    tallies: dict[str, Tally] = field(default_factory=dict)
    breaking: dict[str, Draft] = field(default_factory=dict)
    reached: Reached = field(default_factory=Reached)
    visits: list[Visit] = field(default_factory=list)
    covered: frozenset[Any] = frozenset()
    handlers: HandlerTimes = field(default_factory=HandlerTimes)
    at_factors: list[AtFactor] = field(default_factory=list)

    def add(self, draft: Draft, trial: Trial, drive: Drive) -> None:
        """Count one trial."""
        self.scenarios += 1
        self.seen.add(draft.scenario.to_toml())
        self.simulated_s += trial.simulated_s
        self.reached.add(draft.scenario, drive)
        self.visits.append(Visit.of(draft.scenario, drive, trial.speeds_rpm))
        for outcome in trial.outcomes:
            self.tallies.setdefault(outcome.claim, Tally()).add(outcome)
            if outcome.status == BROKEN:
                kept = self.breaking.get(outcome.claim)
                if kept is None or size(draft.scenario) < size(kept.scenario):
                    self.breaking[outcome.claim] = draft


class ScenarioFailedError(RigError):
    """The firmware could not be run to the end of a scenario, which is kept here."""

    def __init__(self, text: str, scenario: Scenario) -> None:
        super().__init__(text, scenario)
        self.text = text
        self.scenario = scenario

    def __str__(self) -> str:
        return self.text


def search_family(
    try_draft: TryDraft, drive: Drive, task: Task, progress: Callable[[int], None] = lambda _: None
) -> FamilySearch:
    """Run exactly `task.quota` scenarios of one family. `progress` gets the number run so far.

    Same task, same scenarios, in every process. Raises ScenarioFailedError.
    """
    found = FamilySearch(task.family)
    for draft in planned_drafts(drive, task):
        attempt(try_draft, drive, draft, found)
        progress(found.scenarios)
    explore(try_draft, drive, task, found, progress)
    return found


def explore(
    try_draft: TryDraft,
    drive: Drive,
    task: Task,
    found: FamilySearch,
    progress: Callable[[int], None] = lambda _: None,
) -> None:
    """What remains of the quota after the planned scenarios, which `found` has counted: steered by margins.

    Raises ScenarioFailedError, and whatever else `try_draft` raises of DryspinError.
    """

    def run(draft: Draft) -> Trial:
        trial = attempt(try_draft, drive, draft, found)
        progress(found.scenarios)
        return trial

    _explore(run, drive, task, found)
    # Other choices may give the same scenario, which is not run twice; the budget is a promise.
    while found.scenarios < task.quota:
        run(planned_draft(drive, task, found.scenarios))


def attempt(try_draft: TryDraft, drive: Drive, draft: Draft, found: FamilySearch) -> Trial:
    """Try one draft and count it. Raises ScenarioFailedError where it cannot be run to the end."""
    try:
        trial = try_draft(draft)
    except RigError as error:
        raise ScenarioFailedError(str(error), draft.scenario) from error
    found.add(draft, trial, drive)
    return trial


def planned_draft(drive: Drive, task: Task, k: int) -> Draft:
    """Row `k` of a task's covering plan."""
    return covering_draft(drive, task.family, task.first_row + k, task.seed, task.rehearsal)


def usual_draft(drive: Drive, task: Task) -> Draft:
    """The first row of it that tells the family's usual story, none of the rare ones that stand before it."""
    kinds = PLANNED_KINDS.get(task.family, (0,))
    k = next(k for k in range(len(kinds)) if kinds[(task.first_row + k) % len(kinds)] == 0)
    return planned_draft(drive, task, k)


def planned_drafts(drive: Drive, task: Task) -> list[Draft]:
    """All rows of it; a beginning have those of which explored scenarios make use."""
    rows = [planned_draft(drive, task, k) for k in range(task.planned)]
    lent = [k for k, row in enumerate(rows) if row.beginning][: SHARED_SLOTS.get(task.family, 0)]
    return [row if k in lent else row.alone() for k, row in enumerate(rows)]


def _explore(attempt: Callable[[Draft], Trial], drive: Drive, task: Task, found: FamilySearch) -> None:
    """One Hypothesis run that drives the smallest margins down; raises what `attempt` raises."""
    failures: list[DryspinError] = []

    asides = 0

    def explore(draft: Draft) -> None:
        nonlocal asides
        if found.scenarios >= task.quota or failures or draft.scenario.to_toml() in found.seen:
            return
        asides += draft.aside
        if draft.aside and ASIDE_ONE_IN * asides > task.quota - task.planned:
            return
        try:
            trial = attempt(draft)
        except DryspinError as error:
            # Not through Hypothesis, which would begin to shrink it.
            failures.append(error)
            return
        for outcome in trial.outcomes:
            if outcome.margin is not None and math.isfinite(outcome.margin):
                hypothesis.target(-outcome.margin, label=outcome.claim)

    if found.scenarios >= task.quota:
        return
    beginnings = [row.beginning for row in planned_drafts(drive, task) if row.beginning]
    strategy = drafts(drive, task.family, task.rehearsal)
    if beginnings:
        strategy = explored(drive, task.family, task.rehearsal, beginnings)
    run = hypothesis.settings(
        database=None,
        phases=(Phase.generate, Phase.target),
        max_examples=task.quota - found.scenarios,
        deadline=None,
        derandomize=False,
        print_blob=False,
        verbosity=Verbosity.quiet,
        suppress_health_check=list(HealthCheck),
    )(hypothesis.given(strategy)(explore))
    hypothesis.seed(family_seed(task.seed, task.family))(run)()
    if failures:
        raise failures[0]


def family_seed(seed: int, family: str) -> int:
    """Hypothesis's seed for one family: a hash, so that families do not run alike."""
    return int.from_bytes(hashlib.blake2b(f"{seed}/{family}".encode(), digest_size=8).digest(), "big")
