"""One mutant before the claims: kept scenarios, those of a check in turn, and the first objection ends it."""

import tempfile
from dataclasses import dataclass
from pathlib import Path

from dryspin.build.workshop import Workshop
from dryspin.drive import Claims, Drive
from dryspin.errors import RigError
from dryspin.findings import BROKEN, Subject, Trial
from dryspin.mutate.mutations import Mutation
from dryspin.scenario import Scenario
from dryspin.search.family import ScenarioFailedError, Task
from dryspin.search.strategies import Draft
from dryspin.search.until import search_until

KEPT, PLANNED, STEERED, AFTERWARDS = "kept", "planned", "steered", "afterwards"
"""Where an objection came from: a kept scenario, a planned or a steered one, or after all of them."""

CANNOT_RUN = "cannot be run"
NOT_EXERCISED = "no longer exercised: "


@dataclass(frozen=True)
class Bench:
    """What every mutant of a firmware is put to.

    objecting  claims whose breaking kills: declared and not suppressed
    exercised  those that the firmware itself exercises with this budget
    kept       scenarios of kept findings
    planned    drafts with the index of their task, in the order to try
    """

    directory: Path
    drive: Drive
    claims: Claims
    objecting: frozenset[str]
    exercised: frozenset[str]
    kept: tuple[Scenario, ...]
    tasks: tuple[Task, ...]
    planned: tuple[tuple[int, Draft], ...]


@dataclass(frozen=True)
class Judgement:
    """`by` is what objected, "" for a survivor; `source` where from, `which` scenario of those there."""

    by: str
    source: str
    which: int
    scenarios: int
    simulated_s: float


def judge_mutant(workshop: Workshop, mutation: Mutation, bench: Bench) -> Judgement:
    """Build and try one mutant. Raises BuildError where it cannot be linked."""
    with tempfile.TemporaryDirectory(prefix="mutant-", dir=workshop.folder) as place:
        content = mutation.applied(workshop.text.files[mutation.file])
        image = workshop.image_with(mutation.file, content, Path(place))
        return _judged(Subject(bench.directory, bench.drive, bench.claims, image, {}), bench)


def _judged(subject: Subject, bench: Bench) -> Judgement:
    simulated_s = 0.0
    exercised: set[str] = set()
    for k, scenario in enumerate(bench.kept):
        try:
            trial = subject.try_out(scenario)
        except RigError:
            return Judgement(CANNOT_RUN, KEPT, k, k + 1, simulated_s)
        simulated_s += trial.simulated_s
        exercised |= {outcome.claim for outcome in trial.outcomes if outcome.exercised}
        if claim := _broken(trial, bench):
            return Judgement(claim, KEPT, k, k + 1, simulated_s)
    before = len(bench.kept)
    objected: list[str] = []
    tried = 0

    def try_out(scenario: Scenario) -> Trial:
        nonlocal tried
        tried += 1
        return subject.try_out(scenario)

    def enough(trial: Trial) -> bool:
        if claim := _broken(trial, bench):
            objected.append(claim)
        return bool(objected)

    try:
        result = search_until(try_out, bench.drive, bench.tasks, bench.planned, enough)
    except ScenarioFailedError:
        return _found(CANNOT_RUN, tried, bench, simulated_s)
    simulated_s += result.simulated_s
    if objected:
        return _found(objected[0], tried, bench, simulated_s)
    missing = sorted(bench.exercised - exercised - result.exercised)
    if missing:
        return Judgement(NOT_EXERCISED + missing[0], AFTERWARDS, 0, before + tried, simulated_s)
    return Judgement("", AFTERWARDS, 0, before + tried, simulated_s)


def _found(by: str, tried: int, bench: Bench, simulated_s: float) -> Judgement:
    planned = tried <= len(bench.planned)
    return Judgement(by, PLANNED if planned else STEERED, tried - 1, len(bench.kept) + tried, simulated_s)


def _broken(trial: Trial, bench: Bench) -> str:
    return next((o.claim for o in trial.outcomes if o.status == BROKEN and o.claim in bench.objecting), "")
