"""The families of a check searched by workers, and what else is looked at while they are."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol

from dryspin.drive import Drive
from dryspin.findings import Trial, Tries, trial_of
from dryspin.scenario import Scenario
from dryspin.search.code_cycles import AtFactor
from dryspin.search.family import FamilySearch, Task, search_family
from dryspin.search.handlers import HandlerWatch
from dryspin.search.strategies import Draft
from dryspin.search.workers import run_tasks


class Searched(Protocol):
    """What is searched."""

    def search_trial(self, scenario: Scenario, shared_s: float | None) -> Trial:
        """Run and judge one scenario, without a digest; others begin alike up to `shared_s`, where given."""


class Marked(Protocol):
    """The subject's firmware has marks in its code; `coverage.Covering` tells which were reached."""

    def forget(self) -> None:
        """As if nothing had been reached."""

    def reached(self) -> frozenset[Any]:
        """Marks reached since, in this process."""


def search_families(
    subject: Searched,
    drive: Drive,
    tasks: Sequence[Task],
    workers: int,
    *,
    marked: Marked | None,
    handlers: HandlerWatch | None,
    charged: Mapping[float, Tries],
    notice: Callable[[int, int], None],
) -> list[FamilySearch]:
    """Every task's search. `handlers` runs the scenarios in the subject's place; `charged`: by factor, the
    subject with other cycles, which runs them once more. `notice` is told runs done, of how many.
    """

    def work(task: Task, progress: Callable[[int], None]) -> FamilySearch:
        if marked:
            marked.forget()
        if handlers:
            handlers.forget()
        run: list[Scenario] = []

        def try_draft(draft: Draft) -> Trial:
            run.append(draft.scenario)
            return trial_of(lambda: (handlers or subject).search_trial(draft.scenario, draft.shared_s))

        found = search_family(try_draft, drive, task, progress)
        if marked:
            found.covered = marked.reached()
        if handlers:
            found.handlers = handlers.times
        done = found.scenarios
        for factor, other in charged.items():
            at_factor = AtFactor(factor)
            for scenario in run:
                at_factor.run(other, scenario)
                done += 1
                progress(done)
            found.at_factors.append(at_factor)
        return found

    total = sum(task.quota for task in tasks) * (1 + len(charged))
    return run_tasks(work, tasks, workers, lambda done: notice(done, total))
