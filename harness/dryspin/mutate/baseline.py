"""The firmware itself, before its mutants: where its scenarios get to, and that it breaks no claim."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from dryspin.build.workshop import Workshop
from dryspin.errors import UsageError
from dryspin.findings import BROKEN, Subject, Trial, findings_folder, kept_findings
from dryspin.mutate.judging import Bench, Seen, key
from dryspin.mutate.reach import Observation
from dryspin.scenario import Scenario
from dryspin.search.check import Notice
from dryspin.search.family import FamilySearch, Task, attempt, explore, planned_draft
from dryspin.search.plan import families_to_search, require_rites, tasks_of
from dryspin.search.rehearsing import rehearse
from dryspin.search.until import planned_in_turn
from dryspin.search.workers import run_tasks

SCENARIOS_PER_FAMILY = 8
"""Scenarios for each family unless told otherwise: most mutants fall within the first few."""


def bench_of(
    subject: Subject, workshop: Workshop, scenarios: int | None, seed: int, workers: int, notice: Notice
) -> Bench:
    """The firmware itself before its claims: where it gets to, what it exercises, that it breaks none."""
    families = families_to_search(subject.claims)
    require_rites(subject.drive, families)
    quota = SCENARIOS_PER_FAMILY * len(families) if scenarios is None else scenarios
    if quota < len(families):
        raise UsageError(
            f"{quota} scenarios for {len(families)} families; give --scenarios at least {len(families)}"
        )
    tasks = tasks_of(families, quota, seed, rehearse(subject, families, workers))
    objecting = frozenset(subject.claims.declared) - {s.claim for s in subject.claims.suppressions}
    folder = findings_folder(subject.directory)
    kept = [found.scenario for _, found in kept_findings(folder, subject.directory, subject.drive.path)]
    observation = Observation(workshop, _subfolder(workshop, "observed"))
    watched = replace(subject, image=observation.image)
    seen: dict[str, Seen] = {}

    def look(scenario: Scenario) -> Trial:
        observation.forget()
        trial = watched.try_out(scenario)
        exercised = frozenset(outcome.claim for outcome in trial.outcomes if outcome.exercised)
        seen[key(scenario)] = Seen(observation.reached(), exercised)
        return trial

    def search(task: Task, progress: Callable[[int], None]) -> tuple[FamilySearch, dict[str, Seen]]:
        found = FamilySearch(task.family)
        for k in range(task.planned):
            attempt(look, subject.drive, planned_draft(subject.drive, task, k), found)
            progress(found.scenarios)
        explore(subject.try_out, subject.drive, task, found, progress)
        return found, seen

    def replay(scenario: Scenario, _: Callable[[int], None]) -> tuple[Trial, dict[str, Seen]]:
        return look(scenario), seen

    searched = run_tasks(search, tasks, workers, lambda done: notice("the firmware itself", done, quota))
    replayed = run_tasks(replay, kept, workers)
    broken = {claim for found, _ in searched for claim in found.breaking}
    broken |= {o.claim for trial, _ in replayed for o in trial.outcomes if o.status == BROKEN}
    if own := sorted(broken & objecting):
        raise UsageError(
            f"{subject.directory}: breaks {', '.join(own)} as it stands, so nothing can be said of changes; "
            "run dryspin check, and mend it first"
        )
    exercised = {claim for found, _ in searched for claim, tally in found.tallies.items() if tally.exercised}
    exercised |= {o.claim for trial, _ in replayed for o in trial.outcomes if o.exercised}
    return Bench(
        directory=subject.directory,
        drive=subject.drive,
        claims=subject.claims,
        objecting=objecting,
        exercised=frozenset(exercised) & objecting,
        kept=tuple(kept),
        tasks=tuple(tasks),
        planned=tuple(planned_in_turn(subject.drive, tasks)),
        seen={name: what for _, part in (*searched, *replayed) for name, what in part.items()},
    )


def _subfolder(workshop: Workshop, name: str) -> Path:
    folder = workshop.folder / name
    folder.mkdir()
    return folder
