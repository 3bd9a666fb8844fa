"""One mutant before the claims: kept scenarios, those of a check in turn, and the first objection ends it."""

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from dryspin.build.workshop import Workshop
from dryspin.drive import Claims, Drive
from dryspin.errors import RigError
from dryspin.findings import BROKEN, Subject, Trial
from dryspin.mutate.mutations import Mutation
from dryspin.mutate.reach import Block
from dryspin.scenario import Scenario
from dryspin.search.family import ScenarioFailedError, Task
from dryspin.search.strategies import Draft
from dryspin.search.until import search_until

CANNOT_RUN = "cannot be run"
NOT_EXERCISED = "no longer exercised: "


@dataclass(frozen=True)
class Seen:
    """What the firmware itself does in one scenario: blocks it gets to, claims it exercises."""

    blocks: frozenset[Block]
    exercised: frozenset[str]


@dataclass(frozen=True)
class Bench:
    """What every mutant of a firmware is put to.

    objecting  claims whose breaking kills: declared and not suppressed
    exercised  those that the firmware itself exercises with this budget
    kept       scenarios of kept findings
    planned    drafts with the index of their task, in the order to try
    seen       by `key` of a kept or planned scenario
    """

    directory: Path
    drive: Drive
    claims: Claims
    objecting: frozenset[str]
    exercised: frozenset[str]
    kept: tuple[Scenario, ...]
    tasks: tuple[Task, ...]
    planned: tuple[tuple[int, Draft], ...]
    seen: Mapping[str, Seen]

    def shows(self, mutation: Mutation, scenario: Scenario) -> bool:
        """Whether a change can make a difference there: code that is never entered makes none."""
        return mutation.block < 0 or (mutation.file, mutation.block) in self.seen[key(scenario)].blocks


@dataclass(frozen=True)
class Judgement:
    """`by` is what objected, "" for a survivor; `scenario` the `key` of where.

    scenarios: run for it, with their simulated time. reached: some kept or planned scenario gets to
    the changed block.
    """

    by: str
    scenario: str
    scenarios: int
    simulated_s: float
    reached: bool = True


def key(scenario: Scenario) -> str:
    """A scenario as a name for itself."""
    return scenario.to_toml()


def judge_mutant(workshop: Workshop, mutation: Mutation, bench: Bench) -> Judgement:
    """Build and try one mutant. Raises BuildError where it cannot be linked."""
    with tempfile.TemporaryDirectory(prefix="mutant-", dir=workshop.folder) as place:
        content = mutation.applied(workshop.text.files[mutation.file])
        image = workshop.image_with(mutation.file, content, Path(place))
        return _Trials(Subject(bench.directory, bench.drive, bench.claims, image, {}), bench).of(mutation)


class _Trials:
    """The scenarios of one mutant, counted, up to the first objection."""

    def __init__(self, subject: Subject, bench: Bench) -> None:
        self._subject, self._bench = subject, bench
        self._scenarios, self._simulated_s, self._last = 0, 0.0, ""
        self._exercised: set[str] = set()

    def of(self, mutation: Mutation) -> Judgement:
        bench = self._bench
        shown = [scenario for scenario in bench.kept if bench.shows(mutation, scenario)]
        by = ""
        try:
            for scenario in shown:
                if by := self._objection(self._try(scenario)):
                    break
            if not by:
                by = self._searched(mutation)
        except (RigError, ScenarioFailedError):
            by = CANNOT_RUN
        if not by:
            by = self._missing(mutation)
        reached = bool(shown) or any(bench.shows(mutation, draft.scenario) for _, draft in bench.planned)
        return Judgement(by, self._last, self._scenarios, self._simulated_s, reached)

    def _searched(self, mutation: Mutation) -> str:
        found: list[str] = []

        def enough(trial: Trial) -> bool:
            if objection := self._objection(trial):
                found.append(objection)
            return bool(found)

        def skip(draft: Draft) -> bool:
            return not self._bench.shows(mutation, draft.scenario)

        bench = self._bench
        search_until(self._try, bench.drive, bench.tasks, bench.planned, enough, skip)
        return found[0] if found else ""

    def _try(self, scenario: Scenario) -> Trial:
        self._scenarios += 1
        self._last = key(scenario)
        trial = self._subject.try_out(scenario)
        self._simulated_s += trial.simulated_s
        self._exercised |= {outcome.claim for outcome in trial.outcomes if outcome.exercised}
        return trial

    def _objection(self, trial: Trial) -> str:
        broken = (outcome.claim for outcome in trial.outcomes if outcome.status == BROKEN)
        return next((claim for claim in broken if claim in self._bench.objecting), "")

    def _missing(self, mutation: Mutation) -> str:
        """A claim that the firmware exercises and the mutant does not: a check would say so, and fail."""
        bench = self._bench
        scenarios = [*bench.kept, *(draft.scenario for _, draft in bench.planned)]
        passed_over = (scenario for scenario in scenarios if not bench.shows(mutation, scenario))
        as_it_was: set[str] = set()
        for scenario in passed_over:
            as_it_was |= bench.seen[key(scenario)].exercised
        missing = sorted(bench.exercised - self._exercised - as_it_was)
        return NOT_EXERCISED + missing[0] if missing else ""
