"""The families of a check searched by workers, and what else is looked at while they are."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol

from dryspin.drive import Drive
from dryspin.findings import Trial, Tries, tried
from dryspin.scenario import Scenario
from dryspin.search.code_cycles import AtFactor
from dryspin.search.family import FamilySearch, Task, search_family
from dryspin.search.handlers import HandlerWatch
from dryspin.search.workers import run_tasks


class Marked(Protocol):
    """The subject's firmware has marks in its code; `coverage.Covering` tells which were reached."""

    def forget(self) -> None:
        """As if nothing had been reached."""

    def reached(self) -> frozenset[Any]:
        """Marks reached since, in this process."""


def search_families(
    subject: Tries,
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

        def try_out(scenario: Scenario) -> Trial:
            run.append(scenario)
            return tried(handlers or subject, scenario)

        found = search_family(try_out, drive, task, progress)
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
