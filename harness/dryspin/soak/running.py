"""A soak: batches in worker processes, each written down when it is done, what broke kept at once."""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from itertools import islice
from pathlib import Path

from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from dryspin.errors import DryspinError, FindingError
from dryspin.findings import BROKEN, Finding, file_stem, findings_folder, read_finding, save_finding
from dryspin.search import Checked, families_to_search
from dryspin.search.plan import require_rites
from dryspin.search.rehearsing import rehearse
from dryspin.search.scratch import hypothesis_leaves_no_files
from dryspin.search.workers import cores, run_tasks
from dryspin.soak.batch import Batch, BatchResult, Failed, batches, kind_of, run_batch
from dryspin.soak.journal import Journal, free_name, opened

ROUND = 8
"""Batches between two looks at the budget of simulated time; never a matter of workers or speed."""


@dataclass(frozen=True)
class Soaked:
    """What a soak has come to, earlier parts of it included.

    claims: full name -> (held, broken, neither, least margin or None). findings: claim, line and file of
    each; failed: what was said, and the scenario's file. resumed: scenarios that earlier runs had done.
    """

    scenarios: int
    simulated_s: float
    resumed: int
    claims: dict[str, tuple[int, int, int, float | None]]
    findings: tuple[tuple[str, str, str], ...]
    failed: tuple[tuple[str, str], ...]
    set_aside: tuple[str, ...]
    declared: tuple[str, ...]

    @property
    def unproven(self) -> tuple[str, ...]:
        """Declared claims that nothing exercised."""
        return tuple(c for c in self.declared if sum(self.claims.get(c, (0, 0, 0, None))[:2]) == 0)

    @property
    def passed(self) -> bool:
        """Nothing broke or failed, and everything declared was exercised."""
        return not (self.findings or self.failed or self.unproven)


def soak(
    subject: Checked,
    *,
    scenarios: int,
    seed: int = 0,
    simulated_s: float | None = None,
    only: Sequence[str] = (),
    workers: int | None = None,
    folder: Path | None = None,
    save: Path | None = None,
    notice: Callable[[str, int, int], None] = lambda what, done, total: None,
) -> Soaked:
    """Run so many scenarios, or until so much time is simulated, counting what `folder` says was done.

    The result depends on subject, scenarios, seed and budget; not on workers, nor on how often it was
    killed. A crash of the firmware, or of a worker, is kept with its scenario and is not the end.
    Raises UsageError where a second soak works in the folder, FindingError where nothing can be written.
    """
    families = families_to_search(subject.claims, only)
    require_rites(subject.drive, families)
    folder = folder or subject.directory / "soak"
    found_in = findings_folder(subject.directory, save)
    key = journal_key(subject, families, seed)
    with opened(folder, key) as journal, hypothesis_leaves_no_files():
        keeper = _Keeper(subject, journal, found_in, folder)
        resumed = keeper.counted
        _read_modules_once()
        rehearsal = rehearse(subject, families, workers or cores())
        every = batches(families, scenarios, seed, rehearsal)
        while chosen := list(islice(every, None if simulated_s is None else ROUND)):
            waiting = [b for b in chosen if not journal.is_done(b.number, b.task.quota)]
            _run_round(subject, waiting, keeper, workers or cores(), scenarios, notice)
            so_far = sum(
                entry["simulated_s"] for n, entry in journal.entries.items() if n <= chosen[-1].number
            )
            if simulated_s is not None and so_far >= simulated_s:
                break
        return keeper.summary(resumed, families)


def _read_modules_once() -> None:
    """Hypothesis reads the source of every loaded module when it first draws, half a second of it.

    Done here, the workers that are forked from this process need not; it changes nothing that they draw.
    """
    quiet = settings(max_examples=10, database=None, phases=(Phase.generate,), deadline=None)
    quiet(given(st.integers())(lambda _: None))()


def journal_key(subject: Checked, families: Sequence[str], seed: int) -> str:
    """Names the journal: with another firmware, drive, set of claims or seed a soak begins anew."""
    parts = [*(f"{name}={text}" for name, text in sorted(subject.hashes.items())), *families, str(seed)]
    return blake2b("\n".join(parts).encode(), digest_size=8).hexdigest()


def _run_round(
    subject: Checked,
    waiting: Sequence[Batch],
    keeper: "_Keeper",
    workers: int,
    scenarios: int,
    notice: Callable[[str, int, int], None],
) -> None:
    before = keeper.counted

    def work(batch: Batch, progress: Callable[[int], None]) -> BatchResult:
        return run_batch(subject, batch, keeper.known, keeper.under_way(batch.number), progress)

    def lost(batch: Batch, how: str) -> BatchResult:
        under_way = keeper.under_way(batch.number)
        scenario = under_way.read_text(encoding="utf-8") if under_way.exists() else ""
        result = BatchResult(batch.number, batch.task.family, batch.task.quota)
        result.failed.append(Failed(how, scenario))
        return result

    # In the order of their numbers, so that of two that find the same it is always the same that is kept.
    early: dict[int, tuple[Batch, BatchResult]] = {}
    order = iter([batch.number for batch in waiting])
    next_number = next(order, None)

    def keep(batch: Batch, result: BatchResult) -> None:
        nonlocal next_number
        early[batch.number] = batch, result
        while next_number in early:
            keeper.keep(*early.pop(next_number))
            next_number = next(order, None)

    def tell(done: int) -> None:
        notice("scenarios", before + done, scenarios)

    run_tasks(work, waiting, workers, tell, lost, keep)


class _Keeper:
    """Writes down what batches bring: findings first, then the journal, so that neither is ever missing."""

    def __init__(self, subject: Checked, journal: Journal, found_in: Path, folder: Path) -> None:
        self._subject, self._journal, self._found_in, self._folder = subject, journal, found_in, folder
        self.known: set[tuple[str, str]] = set()
        self._failed = {kind_of(text) for entry in journal.entries.values() for text, _ in entry["failed"]}
        for claim, line, file in [f for entry in journal.entries.values() for f in entry["findings"]]:
            self._look_after(claim, line, file)

    @property
    def counted(self) -> int:
        """Scenarios done so far."""
        return sum(entry["scenarios"] for entry in self._journal.entries.values())

    def under_way(self, number: int) -> Path:
        """Where a worker writes the scenario it is about to run."""
        return self._folder / f".under-way-{number}.scenario"

    def keep(self, batch: Batch, result: BatchResult) -> None:
        """Save what is new of a finished batch, then count it."""
        findings = []
        for found in result.found:
            where = found.outcome.claim, found.outcome.source_line
            if where in self.known:
                continue
            finding = Finding(
                expected=BROKEN,
                outcome=found.outcome,
                scenario=found.scenario,
                firmware=self._subject.directory,
                drive=self._subject.drive.path,
                hashes=dict(self._subject.hashes),
                digest=found.digest,
                search_seed=batch.task.seed,
            )
            findings.append((*where, str(save_finding(self._found_in, finding))))
            self.known.add(where)
        failed = [
            (f.text, self._keep_failed(f)) for f in result.failed if kind_of(f.text) not in self._failed
        ]
        self._journal.add(
            {
                "batch": result.number,
                "family": result.family,
                "quota": result.quota,
                "scenarios": result.scenarios,
                "simulated_s": result.simulated_s,
                "claims": result.claims,
                "broken_at": result.broken_at,
                "findings": findings,
                "failed": failed,
            }
        )
        self._failed |= {kind_of(text) for text, _ in failed}
        self.under_way(result.number).unlink(missing_ok=True)

    def _keep_failed(self, failed: Failed) -> str:
        if not failed.scenario:
            return ""
        try:
            self._found_in.mkdir(parents=True, exist_ok=True)
            path = free_name(self._found_in / "could-not-run.scenario")
            scratch = path.with_name(f".{path.name}.{os.getpid()}")
            scratch.write_text(failed.scenario, encoding="utf-8")
            scratch.replace(path)
        except OSError as error:
            raise FindingError(
                f"{self._found_in}: cannot be written ({error.strerror}); make room and give the same "
                "command again"
            ) from None
        return str(path)

    def _look_after(self, claim: str, line: str, file: str) -> None:
        """A finding of an earlier run: known if its file is whole, else looked for again."""
        path = Path(file)
        try:
            read_finding(path)
        except DryspinError as error:
            if path.is_file() and path.name.startswith(file_stem(claim)):
                aside = free_name(path.with_name(f"{path.name}.damaged"))
                path.rename(aside)
                self._journal.set_aside.append(f"{error}; set aside as {aside.name}, and looked for again")
            else:
                self._journal.set_aside.append(f"{file} is gone; {claim} is looked for again")
            self._forget(claim, line)
        else:
            self.known.add((claim, line))

    def _forget(self, claim: str, line: str) -> None:
        """Batches that broke the claim there are run again: one of them finds it once more."""
        again = [
            number
            for number, entry in self._journal.entries.items()
            if [claim, line] in [list(pair) for pair in entry["broken_at"]]
        ]
        for number in again:
            del self._journal.entries[number]

    def summary(self, resumed: int, families: Sequence[str]) -> Soaked:
        """The sum over all batches, from the journal alone."""
        claims: dict[str, tuple[int, int, int, float | None]] = {}
        findings: dict[tuple[str, str], str] = {}
        failed: list[tuple[str, str]] = []
        entries = [entry for _, entry in sorted(self._journal.entries.items())]
        for entry in entries:
            for claim, (held, broken, neither, margin) in entry["claims"].items():
                h, b, n, least = claims.get(claim, (0, 0, 0, None))
                least = margin if least is None else least if margin is None else min(least, margin)
                claims[claim] = h + held, b + broken, n + neither, least
            findings |= {(claim, line): file for claim, line, file in entry["findings"]}
            failed += [(text, file) for text, file in entry["failed"]]
        declared = self._subject.claims.declared
        return Soaked(
            scenarios=sum(entry["scenarios"] for entry in entries),
            simulated_s=sum(entry["simulated_s"] for entry in entries),
            resumed=resumed,
            claims={claim: claims[claim] for claim in declared if claim in claims},
            findings=tuple((claim, line, file) for (claim, line), file in findings.items()),
            failed=tuple(failed),
            set_aside=tuple(self._journal.set_aside),
            declared=tuple(c for c in declared if c.partition(".")[0] in families),
        )
