"""Each known-bad firmware under the scenarios of a check, until the claim made for it objects."""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from dryspin.drive import Claims
from dryspin.errors import DryspinError, UsageError
from dryspin.faults import Inspector
from dryspin.findings import BROKEN, Subject, Trial, load_subject
from dryspin.known_bad.index import Variant
from dryspin.search.check import PER_FAMILY, Notice
from dryspin.search.family import ScenarioFailedError, Task
from dryspin.search.plan import families_to_search, require_rites, tasks_of
from dryspin.search.rehearsing import rehearse
from dryspin.search.scratch import hypothesis_leaves_no_files
from dryspin.search.shrink import shrink
from dryspin.search.until import planned_in_turn, search_until
from dryspin.search.workers import cores, run_tasks

SHRINK_TRIALS = 60
"""Trials granted to shorten the scenario of one firmware."""


@dataclass(frozen=True)
class Attempt:
    """How one firmware fared.

    found        the claim made for it objected
    objected     all claims that did, up to then
    scenarios    run until then, or all there were; `simulated_s` of them
    events       of the shortest scenario found that breaks the claim; None if not found
    trials       run to shorten it, which count as nothing else
    """

    variant: Variant
    found: bool
    objected: tuple[str, ...]
    scenarios: int
    simulated_s: float
    events: int | None
    trials: int


@dataclass(frozen=True)
class Attempts:
    """All of a folder, in the index's order, with what they were tried with."""

    rows: tuple[Attempt, ...]
    scenarios: int | None
    seed: int
    wall_s: float

    @property
    def missed(self) -> tuple[Attempt, ...]:
        """Firmwares that were not found, though the index does not call them unseen."""
        return tuple(row for row in self.rows if not (row.found or row.variant.unseen))

    @property
    def seen_after_all(self) -> tuple[Attempt, ...]:
        """Firmwares that were found, though the index lists them as unseen: it is to be mended."""
        return tuple(row for row in self.rows if row.found and row.variant.unseen)


def try_all(
    variants: Sequence[Variant],
    *,
    scenarios: int | None = None,
    seed: int = 0,
    workers: int | None = None,
    shrink_trials: int = SHRINK_TRIALS,
    notice: Notice = lambda what, done, total: None,
) -> Attempts:
    """Try every variant on its own, with at most `scenarios` scenarios each; by default as a check.

    shrink_trials: granted to shorten the scenario of each; 1 leaves it as it was found. What is kept in
    a firmware's `found` is not looked at. The result depends on variants, `scenarios`, `seed` and
    `shrink_trials` only. Raises what building raises, and RigError for firmware that cannot be run.
    """
    started_s = time.monotonic()

    def work(variant: Variant, progress: Callable[[int], None]) -> Attempt:
        row = _try(variant, scenarios, seed, shrink_trials)
        progress(1)
        return row

    def tell(done: int) -> None:
        notice("known-bad firmwares", done, len(variants))

    with hypothesis_leaves_no_files():
        rows = run_tasks(work, variants, workers or cores(), tell)
    return Attempts(tuple(rows), scenarios, seed, time.monotonic() - started_s)


def _try(variant: Variant, scenarios: int | None, seed: int, shrink_trials: int) -> Attempt:
    subject = load_subject(variant.directory)
    families = _families(subject.claims, variant, scenarios)
    require_rites(subject.drive, families)
    quota = PER_FAMILY * len(families) if scenarios is None else scenarios
    tasks = tasks_of(families, quota, seed, rehearse(subject, families, workers=0))
    if variant.fault_kind:
        return _inspect(variant, subject, tasks)
    objected: dict[str, None] = {}

    def enough(trial: Trial) -> bool:
        objected.update((outcome.claim, None) for outcome in trial.outcomes if outcome.status == BROKEN)
        return variant.claim in objected

    try:
        result = search_until(
            lambda draft: subject.search_trial(draft.scenario, draft.shared_s),
            *(subject.drive, tasks, planned_in_turn(subject.drive, tasks), enough),
        )
    except ScenarioFailedError as error:
        raise _failed(variant, error) from None
    shrunk = None
    if result.enough:
        draft = result.breaking[variant.claim]
        shrunk = shrink(subject.try_out, subject.drive, draft, variant.claim, shrink_trials)
    return Attempt(
        variant=variant,
        found=shrunk is not None,
        objected=tuple(objected),
        scenarios=result.scenarios,
        simulated_s=result.simulated_s,
        events=shrunk.scenario.events if shrunk else None,
        trials=shrunk.trials if shrunk else 0,
    )


def _inspect(variant: Variant, subject: Subject, tasks: Sequence[Task]) -> Attempt:
    """The planned scenarios with the checked build, which needs no shortening: it names the line."""
    inspector = Inspector(subject.drive, variant.directory)
    runs, simulated_s = 0, 0.0
    for _, draft in planned_in_turn(subject.drive, tasks):
        code = inspector.judge(inspector.evidence([draft.scenario]))
        runs, simulated_s = runs + code.runs, simulated_s + code.simulated_s
        kinds = {fault.kind for fault in code.open_faults}
        if variant.fault_kind in kinds:
            events = draft.scenario.events
            return Attempt(variant, True, (variant.claim,), runs, simulated_s, events, 0)
    return Attempt(variant, False, (), runs, simulated_s, None, 0)


def _families(claims: Claims, variant: Variant, scenarios: int | None) -> list[str]:
    families = families_to_search(claims)
    if variant.claim not in claims.declared and not variant.fault_kind:
        raise UsageError(
            f"{claims.path} does not declare {variant.claim}, which must object to {variant.name}; declare it"
        )
    if scenarios is not None and scenarios < len(families):
        raise UsageError(
            f"{scenarios} scenarios for {len(families)} families; give --scenarios at least {len(families)}"
        )
    return families


def _failed(variant: Variant, error: ScenarioFailedError) -> DryspinError:
    return UsageError(
        f"{variant.directory}: {error}; mend it, so that it is wrong in the way it is meant to be"
    )
