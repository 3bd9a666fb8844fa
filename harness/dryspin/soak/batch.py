"""One batch of a soak: some twenty scenarios of one family, in a process of its own."""

import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from dryspin.errors import RigError
from dryspin.findings import Outcome, Trial
from dryspin.scenario import Scenario
from dryspin.search import Checked, Draft
from dryspin.search.family import FamilySearch, Task, planned, search_family
from dryspin.search.rehearsal import Rehearsal
from dryspin.search.shrink import shrink

PER_BATCH = 20
"""Scenarios of a batch: what a kill may cost to run again, some seconds."""

SHRINK_TRIALS = 60
"""Trials granted to shorten one finding."""


@dataclass(frozen=True)
class Batch:
    """Batch `number` of a soak; its task follows from the number and the soak's seed alone."""

    number: int
    task: Task


def batches(families: Sequence[str], scenarios: int, seed: int, rehearsal: Rehearsal) -> Iterator[Batch]:
    """So many scenarios in batches, the families in turn."""
    for number in range(-(-scenarios // PER_BATCH)):
        turn, which = divmod(number, len(families))
        quota = min(PER_BATCH, scenarios - number * PER_BATCH)
        # Rows go on from turn to turn; another seed each turn, or Hypothesis would draw the same again.
        first_row = turn * planned(PER_BATCH)
        yield Batch(number, Task(families[which], quota, first_row, seed * 1_000_003 + turn, rehearsal))


@dataclass(frozen=True)
class Found:
    """A broken claim, shortened."""

    outcome: Outcome
    scenario: Scenario
    digest: str


@dataclass(frozen=True)
class Failed:
    """A scenario that could not be run to its end, and what was said."""

    text: str
    scenario: str


@dataclass
class BatchResult:
    """What came of a batch. claims: full name -> (held, broken, neither, least margin or None).

    broken_at: claims that broke, with the line of firmware that acted; found: those that were not known.
    """

    number: int
    family: str
    quota: int
    scenarios: int = 0
    simulated_s: float = 0.0
    claims: dict[str, tuple[int, int, int, float | None]] = field(default_factory=dict)
    broken_at: list[tuple[str, str]] = field(default_factory=list)
    found: list[Found] = field(default_factory=list)
    failed: list[Failed] = field(default_factory=list)


def run_batch(
    subject: Checked,
    batch: Batch,
    known: set[tuple[str, str]],
    under_way: Path,
    progress: Callable[[int], None],
) -> BatchResult:
    """Search one batch and shorten what breaks and is not in `known`, pairs of claim and line.

    under_way: a file that holds the scenario being run, for the case that this process dies of it.
    """
    result = BatchResult(batch.number, batch.task.family, batch.task.quota)

    def watched(scenario: Scenario, run: Callable[[], Trial]) -> Trial:
        with suppress(OSError):  # only of use if this process dies
            under_way.write_text(scenario.to_toml(), encoding="utf-8")
        try:
            return run()
        except RigError as error:
            result.failed.append(Failed(str(error), scenario.to_toml()))
            return Trial((), 0.0)

    def try_out(scenario: Scenario) -> Trial:
        return watched(scenario, lambda: subject.try_out(scenario))

    def try_draft(draft: Draft) -> Trial:
        return watched(draft.scenario, lambda: subject.search_trial(draft.scenario, draft.shared_s))

    search = search_family(try_draft, subject.drive, batch.task, progress)
    result.scenarios, result.simulated_s = search.scenarios, search.simulated_s
    _count(result, search)
    suppressed = {suppression.claim for suppression in subject.claims.suppressions}
    for claim, draft in search.breaking.items():
        if claim in suppressed:
            continue
        _shorten(result, subject, try_out, claim, draft, known)
    under_way.unlink(missing_ok=True)
    result.failed = list({kind_of(failed.text): failed for failed in reversed(result.failed)}.values())
    return result


def _count(result: BatchResult, search: FamilySearch) -> None:
    for claim, tally in search.tallies.items():
        held, broken = tally.counts.get("held", 0), tally.counts.get("broken", 0)
        margin = tally.worst.margin if tally.worst else None
        result.claims[claim] = held, broken, sum(tally.counts.values()) - held - broken, margin


def _shorten(
    result: BatchResult,
    subject: Checked,
    try_out: Callable[[Scenario], Trial],
    claim: str,
    draft: Draft,
    known: set[tuple[str, str]],
) -> None:
    """Shorten where nobody has; where the line is that of a known finding it is one more of the same."""
    line = try_out(draft.scenario).of(claim).source_line
    result.broken_at.append((claim, line))
    if (claim, line) in known:
        return
    shrunk = shrink(try_out, subject.drive, draft, claim, SHRINK_TRIALS)
    if shrunk is not None:
        result.found.append(Found(shrunk.outcome, shrunk.scenario, shrunk.digest))
        result.broken_at[-1] = claim, shrunk.outcome.source_line


def kind_of(text: str) -> str:
    """A message without its numbers but those of lines: the same crash at other moments is one."""
    return re.sub(r"(?<!:)\b\d+(\.\d+)?\b", "#", text)
