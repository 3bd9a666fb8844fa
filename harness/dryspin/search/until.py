"""The scenarios of a check until something objects: every family in turn, and no more than needed.

A check wants to know all about one firmware and runs its whole budget. Here the question is only
whether a firmware would be found out, asked of many; so the planned scenarios of all families come
first, one of each in turn, then those that are steered by margins, and the first objection ends it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from dryspin.drive import Drive
from dryspin.errors import DryspinError
from dryspin.findings import Trial
from dryspin.search.family import FamilySearch, Task, TryDraft, attempt, explore, planned_draft
from dryspin.search.strategies import Draft


@dataclass
class Until:
    """What came of it: scenarios run and their simulated time, drafts by the claim they broke.

    `enough`: something objected; else the whole budget went by. `exercised`: claims judged at all.
    """

    scenarios: int = 0
    simulated_s: float = 0.0
    enough: bool = False
    breaking: dict[str, Draft] = field(default_factory=dict)
    exercised: set[str] = field(default_factory=set)


class _EnoughError(DryspinError):
    """Something objected; a DryspinError, because a family's search lets those through."""


def planned_in_turn(drive: Drive, tasks: Sequence[Task]) -> list[tuple[int, Draft]]:
    """The planned drafts of all tasks with the task's index, one of each task in turn."""
    rows = max((task.planned for task in tasks), default=0)
    return [
        # Alone: with all families in turn, a beginning would be dropped before anyone makes use of it.
        (index, planned_draft(drive, task, k).alone())
        for k in range(rows)
        for index, task in enumerate(tasks)
        if k < task.planned
    ]


def search_until(
    try_draft: TryDraft,
    drive: Drive,
    tasks: Sequence[Task],
    planned: Sequence[tuple[int, Draft]],
    enough: Callable[[Trial], bool],
) -> Until:
    """Run `planned` in this order, then what remains of each task's quota, until `enough` says so.

    Without an objection the scenarios are those of a check with the same tasks. Raises ScenarioFailedError
    where the firmware cannot be run to the end.
    """
    result = Until()
    searches = [FamilySearch(task.family) for task in tasks]

    def judged(draft: Draft) -> Trial:
        trial = try_draft(draft)
        result.scenarios += 1
        result.simulated_s += trial.simulated_s
        result.exercised |= {outcome.claim for outcome in trial.outcomes if outcome.exercised}
        result.enough = enough(trial)
        return trial

    def until_enough(draft: Draft) -> Trial:
        if result.enough:
            raise _EnoughError
        return judged(draft)

    try:
        for index, draft in planned:
            attempt(until_enough, drive, draft, searches[index])
        for task, search in zip(tasks, searches, strict=True):
            explore(until_enough, drive, task, search)
    except _EnoughError:
        pass
    for search in searches:
        for claim, draft in search.breaking.items():
            result.breaking.setdefault(claim, draft)
    return result
