"""The check: kept findings replayed, every family searched, what broke shrunk and saved."""

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Protocol

from dryspin.drive import Claims, Drive
from dryspin.errors import UsageError
from dryspin.findings import (
    BROKEN,
    CODE,
    Finding,
    Inspected,
    Inspects,
    Outcome,
    Replay,
    Trial,
    Tries,
    findings_folder,
    kept_findings,
    replay_on,
    require_writable,
    save_finding,
    tried,
)
from dryspin.recording import Recording
from dryspin.scenario import Scenario
from dryspin.search.code_cycles import save_breaking, together
from dryspin.search.envelope import Reached
from dryspin.search.family import FamilySearch
from dryspin.search.handlers import HandlerTimes, HandlerWatch
from dryspin.search.highest_speed import balanced_rpm
from dryspin.search.inspecting import inspect
from dryspin.search.plan import families_to_search, require_rites, require_ways, tasks_of, versions
from dryspin.search.rehearsing import rehearse
from dryspin.search.result import CheckResult, ClaimResult, KeptResult, SavedFinding
from dryspin.search.scratch import hypothesis_leaves_no_files
from dryspin.search.searching import Marked, search_families
from dryspin.search.shrink import Shrunk, shrink
from dryspin.search.strategies import Draft
from dryspin.search.tally import Tally
from dryspin.search.unknowns import effects
from dryspin.search.varying import TRIALS as VARIED_TRIALS
from dryspin.search.varying import vary
from dryspin.search.workers import cores, run_tasks

SHRINK_TRIALS = 400
"""Trials granted for shrinking in one check, shared by the claims that broke."""

SHRINK_TRIALS_PER_CLAIM = (24, 200)
"""Least and most trials for one claim."""

Notice = Callable[[str, int, int], None]
"""Progress: what is being done, how much of it is done, how much there is."""


class Checked(Protocol):
    """What a check needs of its subject; `findings.Subject` is one."""

    @property
    def directory(self) -> Path:
        """The firmware directory."""

    @property
    def drive(self) -> Drive:
        """The drive, whose file its findings name."""

    @property
    def claims(self) -> Claims:
        """The claims the firmware is held to."""

    @property
    def hashes(self) -> Mapping[str, str]:
        """Content hashes by name: firmware, drive, claims, build."""

    @property
    def compiler(self) -> str:
        """The compiler the firmware was built with, and its version."""

    def record(self, scenario: Scenario) -> Recording:
        """Run one scenario."""

    def try_out(self, scenario: Scenario) -> Trial:
        """Run and judge one scenario."""

    def search_trial(self, scenario: Scenario, shared_s: float | None) -> Trial:
        """The same without a digest; up to `shared_s`, where given, other scenarios begin alike."""


PER_FAMILY = 40
"""Scenarios for each family unless told otherwise: each rest sector once, and sixteen more."""


@dataclass(frozen=True)
class _Hunt:
    """One claim to shrink a scenario for; `line` of the fault, where the checked build judges it."""

    claim: str
    draft: Draft
    cap: int
    line: str = ""


def check(
    subject: Checked,
    *,
    scenarios: int | None = None,
    seed: int = 0,
    only: Sequence[str] = (),
    workers: int | None = None,
    save: Path | None = None,
    inspector: Inspects | None = None,
    marked: Marked | None = None,
    handlers: HandlerWatch | None = None,
    charged: Mapping[float, Tries] | None = None,
    notice: Notice = lambda what, done, total: None,
) -> CheckResult:
    """Search `scenarios` scenarios, split evenly over the declared families, for broken claims.

    By default `PER_FAMILY` for each family.

    The result depends on the subject, `scenarios`, `seed`, `only` and the findings kept so far;
    not on `workers`, nor on the machine's speed. `only` names families to search instead of all.
    `inspector`: a checked build of the same firmware, for faults of the C itself. `marked`: where the
    subject's firmware tells what of its code was reached. `handlers`: the subject, watched for what handlers
    take. `charged`: by factor, the subject with other cycles for its code, which runs all scenarios again.
    Raises UsageError for what cannot be searched, RigError for firmware that cannot be run.
    """
    started_s = time.monotonic()
    families = families_to_search(subject.claims, only)
    if scenarios is None:
        scenarios = PER_FAMILY * len(families)
    if scenarios < len(families):
        raise UsageError(
            f"{scenarios} scenarios for {len(families)} families; give --scenarios at least {len(families)}"
        )
    require_rites(subject.drive, families)
    require_ways(subject.drive, subject.claims)
    workers = workers or cores()
    folder = findings_folder(subject.directory, save)
    require_writable(folder)
    with hypothesis_leaves_no_files():
        kept = _replay_kept(subject, folder, workers, notice)
        rehearsal = rehearse(subject, families, workers)
        tasks = tasks_of(families, scenarios, seed, rehearsal)
        searches = search_families(
            subject,
            subject.drive,
            tasks,
            workers,
            marked=marked,
            handlers=handlers,
            charged=charged or {},
            notice=partial(notice, "scenarios"),
        )
        code, showing = (
            inspect(inspector, subject.drive, tasks, workers, notice, _ended(searches))
            if inspector
            else (None, {})
        )
        tallies = _merged(searches)
        claims = _claim_results(subject.claims, tallies, only, searches)
        hunts = _hunts(claims, searches) + _fault_hunts(showing)
        shrunk = _shrink_all(subject, inspector, hunts, workers, notice)
        unknowns = effects(partial(tried, subject), subject.drive, subject.claims.declared, tasks, workers)
    at_factors = together(search.at_factors for search in searches)
    reached = Reached()
    for search in searches:
        reached.merge(search.reached)
    return CheckResult(
        claims=claims,
        findings=tuple(_save(subject, folder, seed, hunts, shrunk)),
        kept=kept,
        families={
            search.family: (search.scenarios, _exercised(subject.claims, search)) for search in searches
        },
        reached=reached.summary(),
        scenarios=sum(search.scenarios for search in searches),
        simulated_s=sum(search.simulated_s for search in searches),
        shrink_trials=sum(result.trials for result in shrunk if result),
        seed=seed,
        wall_s=time.monotonic() - started_s,
        versions={**versions(), "compiler": subject.compiler},
        visits=tuple(visit for search in searches for visit in search.visits),
        code=code,
        covered=frozenset().union(*(search.covered for search in searches)),
        rite_frames=rehearsal.rite_frames,
        unknowns=unknowns,
        handlers=_handler_times(searches) if handlers else None,
        at_factors=at_factors,
        charged_scenarios=save_breaking(folder, {c.claim: c.verdict for c in claims}, at_factors),
        balanced_rpm=balanced_rpm(subject.drive),
    )


def _replay_kept(subject: Checked, folder: Path, workers: int, notice: Notice) -> tuple[KeptResult, ...]:
    kept = kept_findings(folder, subject.directory, subject.drive.path)

    def work(finding: Finding, progress: Callable[[int], None]) -> Replay:
        replayed = replay_on(subject, finding)
        progress(1)
        return replayed

    def tell(done: int) -> None:
        notice("kept findings", done, len(kept))

    replays = run_tasks(work, [finding for _, finding in kept], workers, tell)
    return tuple(KeptResult(path, replayed) for (path, _), replayed in zip(kept, replays, strict=True))


def _merged(searches: Sequence[FamilySearch]) -> dict[str, Tally]:
    tallies: dict[str, Tally] = {}
    for search in searches:
        for claim, tally in search.tallies.items():
            tallies.setdefault(claim, Tally()).merge(tally)
    return tallies


def _ended(searches: Sequence[FamilySearch]) -> dict[str, list[Draft]]:
    """By family, scenarios whose runs the firmware ended: what led there may lie before, for other eyes."""
    return {
        search.family: [draft for claim, draft in search.breaking.items() if claim.startswith(f"{CODE}.")]
        for search in searches
    }


def _handler_times(searches: Sequence[FamilySearch]) -> HandlerTimes:
    whole = HandlerTimes()
    for search in searches:
        whole.merge(search.handlers)
    return whole


def _claim_results(
    claims: Claims, tallies: Mapping[str, Tally], only: Sequence[str], searches: Sequence[FamilySearch]
) -> tuple[ClaimResult, ...]:
    """Declared claims in declared order; with `only`, those of its families and any that broke.

    Those about runs that the firmware itself ended need no declaration, and stand last.
    """
    results = []
    suppressed = {suppression.claim: suppression.why for suppression in claims.suppressions}
    for claim in claims.declared:
        tally = tallies.get(claim, Tally())
        if only and claim.partition(".")[0] not in only and tally.verdict != BROKEN:
            continue
        worst = tally.worst or Outcome(claim, tally.verdict)
        by_family = {
            search.family: search.tallies[claim].exercised for search in searches if claim in search.tallies
        }
        results.append(
            ClaimResult(
                claim=claim,
                verdict=tally.verdict,
                exercised=tally.exercised,
                worst=worst,
                suppressed=suppressed.get(claim, ""),
                margins=tuple(tally.margins),
                by_family={family: count for family, count in by_family.items() if count},
            )
        )
    for claim, tally in sorted(tallies.items()):
        if claim.startswith(f"{CODE}.") and tally.worst is not None:
            results.append(ClaimResult(claim, tally.verdict, tally.exercised, tally.worst))
    return tuple(results)


def _exercised(claims: Claims, search: FamilySearch) -> int:
    """Scenarios of a family that exercised its least-exercised declared claim."""
    own = [claim for claim in claims.declared if claim.startswith(f"{search.family}.")]
    return min(search.tallies.get(claim, Tally()).exercised for claim in own)


def _hunts(claims: Sequence[ClaimResult], searches: Sequence[FamilySearch]) -> list[_Hunt]:
    """One hunt per broken claim, from the scenario of the family itself where that broke it."""
    broken = [result for result in claims if result.verdict == BROKEN and not result.suppressed]
    least, most = SHRINK_TRIALS_PER_CLAIM
    hunts = []
    for result in broken:
        own_first = sorted(searches, key=lambda search: search.family != result.family)
        draft = next(search.breaking[result.claim] for search in own_first if result.claim in search.breaking)
        hunts.append(_Hunt(result.claim, draft, min(most, max(least, SHRINK_TRIALS // len(broken)))))
    return hunts


def _fault_hunts(showing: Mapping[tuple[str, str], Draft]) -> list[_Hunt]:
    """One hunt per fault that a run of the checked build shows, by claim and line."""
    least, _ = SHRINK_TRIALS_PER_CLAIM
    return [_Hunt(claim, showing[claim, line], least, line) for claim, line in sorted(showing)]


def _shrink_all(
    subject: Checked, inspector: Inspects | None, hunts: Sequence[_Hunt], workers: int, notice: Notice
) -> list[Shrunk | None]:
    def work(hunt: _Hunt, progress: Callable[[int], None]) -> Shrunk | None:
        trials = 0
        checked = (
            Inspected(inspector, hunt.claim, hunt.line, only_there=True) if inspector and hunt.line else None
        )

        def try_out(scenario: Scenario) -> Trial:
            nonlocal trials
            trials += 1
            progress(trials)
            return checked.try_out(scenario) if checked else tried(subject, scenario)

        shrunk = shrink(try_out, subject.drive, hunt.draft, hunt.claim, hunt.cap)
        varied = vary(try_out, shrunk.scenario, hunt.claim) if shrunk else ()
        progress(hunt.cap + VARIED_TRIALS)
        return shrunk and replace(shrunk, varied=varied)

    total = sum(hunt.cap + VARIED_TRIALS for hunt in hunts)

    def tell(done: int) -> None:
        notice("shortening", done, total)

    return run_tasks(work, hunts, workers, tell)


def _save(
    subject: Checked, folder: Path, seed: int, hunts: Sequence[_Hunt], shrunk: Sequence[Shrunk | None]
) -> Iterator[SavedFinding]:
    for result in shrunk:
        if result is None:
            continue
        finding = Finding(
            expected=BROKEN,
            outcome=result.outcome,
            scenario=result.scenario,
            firmware=subject.directory,
            drive=subject.drive.path,
            hashes=dict(subject.hashes),
            digest=result.digest,
            search_seed=seed,
        )
        yield SavedFinding(save_finding(folder, finding), finding, result.varied)
