"""One mutant before the claims: the scenarios that get to its change, and the first objection ends it."""

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

CANNOT_RUN = "cannot be run"
NOT_EXERCISED = "no longer exercised: "


@dataclass(frozen=True)
class Seen:
    """What the firmware itself does in one scenario: what it enters, what it exercises, what is recorded.

    different: changes of which it can be told, and whose expression would come out otherwise.
    """

    blocks: frozenset[Block]
    different: frozenset[Mutation]
    exercised: frozenset[str]
    digest: str


@dataclass(frozen=True)
class Bench:
    """What every mutant of a firmware is put to.

    objecting  claims whose breaking kills: declared and not suppressed
    exercised  those that the firmware itself exercises with this budget
    told       changes of which `seen` says where they make a difference
    scenarios  of kept findings, then of a check: all families in turn
    kept       how many of them are of kept findings
    seen       by `key` of a scenario
    """

    directory: Path
    drive: Drive
    claims: Claims
    objecting: frozenset[str]
    exercised: frozenset[str]
    told: frozenset[Mutation]
    scenarios: tuple[Scenario, ...]
    kept: int
    seen: Mapping[str, Seen]

    def shows(self, mutation: Mutation, scenario: Scenario) -> bool:
        """Whether a change can make a difference there."""
        if mutation in self.told:
            return mutation in self.seen[key(scenario)].different
        return self.enters(mutation, scenario)

    def enters(self, mutation: Mutation, scenario: Scenario) -> bool:
        """Whether the scenario gets to the block around the change."""
        return mutation.block < 0 or (mutation.file, mutation.block) in self.seen[key(scenario)].blocks


@dataclass(frozen=True)
class Judgement:
    """`by` is what objected, "" for a survivor; `scenario` the `key` of where.

    scenarios: run for it, with their simulated time. reached: some scenario gets to the changed block.
    differs: some recording is not the firmware's own.
    """

    by: str
    scenario: str
    scenarios: int
    simulated_s: float
    reached: bool = True
    differs: bool = True


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
        self._differs = False
        self._exercised: set[str] = set()

    def of(self, mutation: Mutation) -> Judgement:
        bench = self._bench
        shown = [scenario for scenario in bench.scenarios if bench.shows(mutation, scenario)]
        by = ""
        try:
            for scenario in shown:
                if by := self._objection(scenario):
                    break
        except RigError:
            by = CANNOT_RUN
        if not by:
            by = self._missing(mutation)
        differs = self._differs or bool(by)
        reached = bool(shown) or any(bench.enters(mutation, scenario) for scenario in bench.scenarios)
        return Judgement(by, self._last, self._scenarios, self._simulated_s, reached, differs)

    def _objection(self, scenario: Scenario) -> str:
        """The claim that breaks, or ""; what leaves the recording as it is need not be judged."""
        self._scenarios += 1
        self._last = key(scenario)
        before = self._bench.seen[self._last]
        recording = self._subject.record(scenario)
        self._simulated_s += recording.end_s
        if recording.digest() == before.digest:
            self._exercised |= before.exercised
            return ""
        self._differs = True
        trial: Trial = self._subject.judge(recording)
        self._exercised |= {outcome.claim for outcome in trial.outcomes if outcome.exercised}
        broken = (outcome.claim for outcome in trial.outcomes if outcome.status == BROKEN)
        return next((claim for claim in broken if claim in self._bench.objecting), "")

    def _missing(self, mutation: Mutation) -> str:
        """A claim that the firmware exercises and the mutant does not: a check would say so, and fail."""
        bench = self._bench
        passed_over = (scenario for scenario in bench.scenarios if not bench.shows(mutation, scenario))
        as_it_was: set[str] = set()
        for scenario in passed_over:
            as_it_was |= bench.seen[key(scenario)].exercised
        missing = sorted(bench.exercised - self._exercised - as_it_was)
        return NOT_EXERCISED + missing[0] if missing else ""
