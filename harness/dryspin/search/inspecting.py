"""The checked build in a check: some of its scenarios once more, and where each fault showed first."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from dryspin.drive import Drive
from dryspin.faults import Code, Evidence
from dryspin.findings import SHOWN_BY_A_RUN, Inspects, claim_of
from dryspin.search.family import Task, planned_draft
from dryspin.search.shrink import size
from dryspin.search.strategies import Draft
from dryspin.search.workers import run_tasks

INSPECTED_ONE_IN = 5
"""Of a family's planned scenarios, one in so many is run with the checked build as well."""

At = tuple[str, str]
"""Claim and line of a fault."""


@dataclass
class Inspection:
    """What checked runs have shown; `showing`: by fault, the most readable scenario that showed it."""

    evidence: Evidence = field(default_factory=Evidence)
    showing: dict[At, Draft] = field(default_factory=dict)

    def run(self, inspector: Inspects, draft: Draft) -> None:
        """One scenario more."""
        seen = inspector.evidence([draft.scenario])
        self.evidence.add(seen)
        for fault in inspector.judge(seen).open_faults:
            if (claim := claim_of(fault.kind)) in SHOWN_BY_A_RUN and fault.place.line:
                self._keep((claim, fault.place.line), draft)

    def merge(self, other: "Inspection") -> None:
        """The scenarios of another, which came later."""
        self.evidence.add(other.evidence)
        for at, draft in other.showing.items():
            self._keep(at, draft)

    def _keep(self, at: At, draft: Draft) -> None:
        known = self.showing.get(at)
        if known is None or size(draft.scenario) < size(known.scenario):
            self.showing[at] = draft


def inspect(
    inspector: Inspects,
    drive: Drive,
    tasks: Sequence[Task],
    workers: int,
    notice: Callable[[str, int, int], None],
    besides: Mapping[str, Sequence[Draft]] | None = None,
) -> tuple[Code, dict[At, Draft]]:
    """Every so many of the planned scenarios of each family: faults, and a scenario for each a run shows.

    besides: by family, scenarios to be run as well.
    """

    def work(task: Task, progress: Callable[[int], None]) -> Inspection:
        found = Inspection()
        planned = [planned_draft(drive, task, k) for k in range(0, task.planned, INSPECTED_ONE_IN)]
        known = {draft.scenario.to_toml() for draft in planned}
        more = (besides or {}).get(task.family, ())
        for draft in (*planned, *(each for each in more if each.scenario.to_toml() not in known)):
            found.run(inspector, draft)
        progress(1)
        return found

    def tell(done: int) -> None:
        notice("families with the checked build", done, len(tasks))

    whole = Inspection()
    for found in run_tasks(work, tasks, workers, tell):
        whole.merge(found)
    return inspector.judge(whole.evidence), whole.showing
