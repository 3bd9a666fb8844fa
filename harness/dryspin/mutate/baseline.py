"""The firmware itself, before its mutants: where its scenarios get to, and that it breaks no claim."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest
from pathlib import Path

from dryspin.build.workshop import Workshop
from dryspin.errors import UsageError
from dryspin.findings import BROKEN, Subject, Trial, findings_folder, kept_findings
from dryspin.mutate.judging import Bench, Seen, key
from dryspin.mutate.mutations import Mutation
from dryspin.mutate.reach import Observation
from dryspin.scenario import Scenario
from dryspin.search.check import Notice
from dryspin.search.family import FamilySearch, Task, search_family
from dryspin.search.plan import families_to_search, require_rites, tasks_of
from dryspin.search.rehearsing import rehearse
from dryspin.search.workers import run_tasks

SCENARIOS_PER_FAMILY = 8
"""Scenarios for each family unless told otherwise: most mutants fall within the first few."""


@dataclass(frozen=True)
class Look:
    """One scenario of the firmware itself."""

    scenario: Scenario
    trial: Trial
    seen: Seen


def bench_of(
    subject: Subject,
    workshop: Workshop,
    changes: Sequence[Mutation],
    scenarios: int | None,
    seed: int,
    workers: int,
    notice: Notice,
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
    # Where code itself takes time, working out two values would take more of it.
    shown = () if subject.drive.controller.block_cycles else changes
    observation = Observation(workshop, _subfolder(workshop, "observed"), shown)
    watched = replace(subject, image=observation.image)

    def search(task: Task, progress: Callable[[int], None]) -> tuple[FamilySearch, list[Look]]:
        looks: list[Look] = []

        def look(scenario: Scenario) -> Trial:
            looks.append(_look(watched, observation, scenario))
            return looks[-1].trial

        return search_family(lambda draft: look(draft.scenario), subject.drive, task, progress), looks

    def replay(scenario: Scenario, _: Callable[[int], None]) -> Look:
        return _look(watched, observation, scenario)

    searched = run_tasks(search, tasks, workers, lambda done: notice("the firmware itself", done, quota))
    looks = [
        *run_tasks(replay, kept, workers),
        *(look for row in zip_longest(*(found for _, found in searched)) for look in row if look),
    ]
    broken = {o.claim for look in looks for o in look.trial.outcomes if o.status == BROKEN}
    if own := sorted(broken & objecting):
        raise UsageError(
            f"{subject.directory}: breaks {', '.join(own)} as it stands, so nothing can be said of changes; "
            "run dryspin check, and mend it first"
        )
    exercised = frozenset().union(*(look.seen.exercised for look in looks))
    return Bench(
        directory=subject.directory,
        drive=subject.drive,
        claims=subject.claims,
        objecting=objecting,
        exercised=exercised & objecting,
        told=observation.told,
        scenarios=tuple({key(look.scenario): look.scenario for look in looks}.values()),
        kept=len(kept),
        seen={key(look.scenario): look.seen for look in looks},
    )


def _look(watched: Subject, observation: Observation, scenario: Scenario) -> Look:
    observation.forget()
    trial = watched.try_out(scenario)
    exercised = frozenset(outcome.claim for outcome in trial.outcomes if outcome.exercised)
    return Look(
        scenario, trial, Seen(observation.reached(), observation.different(), exercised, trial.digest)
    )


def _subfolder(workshop: Workshop, name: str) -> Path:
    folder = workshop.folder / name
    folder.mkdir()
    return folder
