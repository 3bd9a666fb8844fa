"""All mutants of a firmware: made, those that change nothing dropped, the rest judged in parallel."""

import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from types import MappingProxyType

from dryspin.build.library import PORT
from dryspin.build.register_workshop import workshop as workshop_of
from dryspin.build.workshop import Workshop
from dryspin.drive.document import suggestion
from dryspin.errors import BuildError, UsageError
from dryspin.findings import Subject
from dryspin.mutate.baseline import bench_of
from dryspin.mutate.judging import CANNOT_RUN, Bench, Judgement, judge_mutant, key
from dryspin.mutate.mutations import Mutation, mutations, neighbours, parse_source
from dryspin.mutate.own_tests import OwnTests, module_of
from dryspin.search.check import Notice
from dryspin.search.scratch import hypothesis_leaves_no_files
from dryspin.search.workers import cores, run_tasks

KILLED, SURVIVED = "killed", "survived"
NOT_BUILT, SAME_CODE, TWIN = "does not build", "same machine code", "same as another"

BATCH = 16
"""After so many mutants, the scenarios that killed most go first; fixed, so that workers change nothing."""


MODULES_FIRST = 3
"""So many modules of tests, those that killed most changes of a source, go before the rest."""


@dataclass(frozen=True)
class Mutant:
    """One change and what became of it. `by`: the test or claim that objected, or why it could not be run.

    scenarios: run for it. reached: some scenario gets to the changed block. differs: some recording is not
    the firmware's own, so that a claim could tell them apart.
    """

    mutation: Mutation
    verdict: str
    by: str = ""
    scenarios: int = 0
    simulated_s: float = 0.0
    reached: bool = True
    differs: bool = True


@dataclass(frozen=True)
class Campaign:
    """Every mutant in the order of the text; `gaps` are lines "file.c:12" that the parser did not understand.

    made: changes there were, of which the mutants may be a sample. scenarios: of the firmware's own check,
    and of each mutant that survives; 0 where only tests were asked.
    """

    mutants: tuple[Mutant, ...]
    gaps: tuple[str, ...]
    made: int
    kept: int
    scenarios: int
    seed: int
    wall_s: float

    def of(self, verdict: str) -> tuple[Mutant, ...]:
        """Mutants with that verdict."""
        return tuple(mutant for mutant in self.mutants if mutant.verdict == verdict)

    @property
    def judged(self) -> int:
        """Mutants whose machine code is theirs alone."""
        return len(self.of(KILLED)) + len(self.of(SURVIVED))


def mutate(
    subject: Subject,
    *,
    files: Sequence[str] = (),
    functions: Sequence[str] = (),
    which: Callable[[Mutation], bool] = lambda mutation: True,
    sample: int | None = None,
    each: int | None = None,
    scenarios: int | None = None,
    tests: Sequence[Path] = (),
    tests_only: bool = False,
    seed: int = 0,
    workers: int | None = None,
    known: Mapping[Mutation, Mutant] = MappingProxyType({}),
    done: Callable[[Mutant], None] = lambda mutant: None,
    notice: Notice = lambda what, done, total: None,
) -> Campaign:
    """Mutate the control code of `subject` and see which claims object.

    files, functions, which: only these; sample: that many, drawn by `seed`; each: that many of each file.
    tests: paths for pytest, put to each mutant before any scenario; `tests_only`: instead of all of them.
    `scenarios` for each mutant at most, besides kept ones. known: mutants judged before, which are not
    judged again; done: is told every other one as it comes. Raises UsageError for names that are not
    there and for a firmware that breaks a claim of its own, RigError where it cannot be run.
    """
    started_s = time.monotonic()
    workers = workers or cores()
    with (
        hypothesis_leaves_no_files(),
        tempfile.TemporaryDirectory(prefix="dryspin-mutants-") as folder,
    ):
        workshop = workshop_of(subject.drive, subject.directory, Path(folder))
        everywhere, gaps = _made(workshop, files, functions)
        made = [mutation for mutation in everywhere if which(mutation)]
        chosen = _sampled(_of_each(made, each, seed), sample, seed)
        screened = _screened(workshop, chosen, workers, notice)
        alive = [mutation for mutation, verdict in screened if not verdict]
        own_tests = OwnTests(subject, tests, Path(tempfile.mkdtemp(dir=folder))) if tests else None
        bench = None if tests_only else bench_of(subject, workshop, alive, scenarios, seed, workers, notice)
        judged = _judged(
            workshop,
            [mutation for mutation in alive if mutation not in known],
            own_tests,
            bench,
            workers,
            done,
            notice,
        )
    mutants = tuple(
        Mutant(mutation, verdict) if verdict else known.get(mutation) or judged[mutation]
        for mutation, verdict in screened
    )
    return Campaign(
        mutants=mutants,
        gaps=tuple(gaps),
        made=len(made),
        kept=bench.kept if bench else 0,
        scenarios=len(bench.scenarios) - bench.kept if bench else 0,
        seed=seed,
        wall_s=time.monotonic() - started_s,
    )


def _made(
    workshop: Workshop, files: Sequence[str], functions: Sequence[str]
) -> tuple[list[Mutation], list[str]]:
    """All changes of the sources asked for, and the places that the parser leaves out."""
    text = workshop.text
    for name in files:
        if name not in text.sources:
            raise UsageError(
                f"--file {name}: no source of the firmware. {suggestion(name, text.sources, 'source')}"
            )
    headers = {name: content for name, content in text.files.items() if name not in text.sources}
    seam = {"drive_port.h": (PORT / "drive_port.h").read_bytes()}
    shared = neighbours(seam | headers)
    made: list[Mutation] = []
    gaps: list[str] = []
    for name in text.sources:
        if files and name not in files:
            continue
        source = parse_source(name, text.files[name])
        beside = shared | neighbours({name: source.content})
        made += mutations(source, beside, functions)
        gaps += [f"{name}:{line}" for line in source.gaps]
    found = {mutation.function for mutation in made}
    for function in functions:
        if function not in found:
            where = f" of {', '.join(files)}" if files else ""
            raise UsageError(
                f"--function {function}: nothing to change in a function of that name{where}. "
                f"{suggestion(function, sorted(found - {''}), 'function')}"
            )
    if not made:
        raise UsageError("there is nothing to change in these sources; name others with --file")
    return made, gaps


def _sampled(made: list[Mutation], sample: int | None, seed: int) -> list[Mutation]:
    if sample is None or sample >= len(made):
        return made
    return [made[k] for k in sorted(Random(seed).sample(range(len(made)), sample))]


def _of_each(made: list[Mutation], each: int | None, seed: int) -> list[Mutation]:
    if each is None:
        return made
    names = dict.fromkeys(mutation.file for mutation in made)
    groups = ([mutation for mutation in made if mutation.file == name] for name in names)
    return [mutation for group in groups for mutation in _sampled(group, each, seed)]


def _screened(
    workshop: Workshop, chosen: list[Mutation], workers: int, notice: Notice
) -> list[tuple[Mutation, str]]:
    """Each mutation with the reason why it is not worth running, or ""."""

    def code(name: str, content: bytes) -> str | None:
        with tempfile.TemporaryDirectory(prefix="screen-", dir=workshop.folder) as place:
            return workshop.machine_code(name, content, Path(place))

    text = workshop.text.files
    known = {(name, code(name, text[name])): SAME_CODE for name in {mutation.file for mutation in chosen}}
    screened: list[tuple[Mutation, str]] = []
    with ThreadPoolExecutor(workers) as pool:
        codes = pool.map(lambda m: code(m.file, m.applied(text[m.file])), chosen)
        for done, (mutation, found) in enumerate(zip(chosen, codes, strict=True), 1):
            notice("compiling mutants", done, len(chosen))
            if found is None:
                screened.append((mutation, NOT_BUILT))
                continue
            screened.append((mutation, known.get((mutation.file, found), "")))
            known.setdefault((mutation.file, found), TWIN)
    return screened


def _judged(
    workshop: Workshop,
    waiting: Sequence[Mutation],
    own_tests: OwnTests | None,
    bench: Bench | None,
    workers: int,
    done: Callable[[Mutant], None],
    notice: Notice,
) -> dict[Mutation, Mutant]:
    """Tests first, then scenarios, batch by batch, those that have killed most so far going first."""
    judged: dict[Mutation, Mutant] = {}
    kills: dict[str, int] = {}
    killers: dict[str, dict[str, int]] = {}
    for begin in range(0, len(waiting), BATCH):
        batch = waiting[begin : begin + BATCH]

        def work(
            mutation: Mutation, progress: Callable[[int], None], bench: Bench | None = bench
        ) -> Judgement | None:
            judgement: Judgement | None = Judgement(
                _failing(workshop, mutation, own_tests, _most_first(killers.get(mutation.file, {}))),
                "",
                0,
                0.0,
            )
            try:
                if bench and judgement and not judgement.by:
                    judgement = judge_mutant(workshop, mutation, bench)
            except BuildError:
                # It compiled, so it is the linker that refuses.
                judgement = None
            progress(1)
            return judgement

        def lost(mutation: Mutation, how: str) -> Judgement:
            # What tramples over the memory of its process could not be run to the end either.
            return Judgement(CANNOT_RUN, "", 0, 0.0)

        def tell(count: int, begin: int = begin) -> None:
            notice("mutants", begin + count, len(waiting))

        def add(mutation: Mutation, judgement: Judgement | None) -> None:
            judged[mutation] = _mutant(mutation, judgement)
            done(judged[mutation])

        for mutation, judgement in zip(batch, run_tasks(work, batch, workers, tell, lost, add), strict=True):
            if judgement is None or not judgement.by:
                continue
            if judgement.scenario:
                kills[judgement.scenario] = kills.get(judgement.scenario, 0) + 1
            if module := module_of(judgement.by):
                of_file = killers.setdefault(mutation.file, {})
                of_file[module] = of_file.get(module, 0) + 1
        bench = bench and _ordered(bench, kills)
    return judged


def _most_first(counts: Mapping[str, int]) -> list[str]:
    return sorted(counts, key=lambda name: -counts[name])[:MODULES_FIRST]


def _failing(workshop: Workshop, mutation: Mutation, own_tests: OwnTests | None, first: Sequence[str]) -> str:
    """The test that objects, or ""; modules that have killed changes of the same source go `first`."""
    if own_tests is None:
        return ""
    with tempfile.TemporaryDirectory(prefix="tests-", dir=workshop.folder) as place:
        content = mutation.applied(workshop.text.files[mutation.file])
        return own_tests.objection(mutation.file, content, Path(place), first)


def _mutant(mutation: Mutation, judgement: Judgement | None) -> Mutant:
    if judgement is None:
        return Mutant(mutation, NOT_BUILT)
    return Mutant(
        mutation,
        KILLED if judgement.by else SURVIVED,
        judgement.by,
        judgement.scenarios,
        judgement.simulated_s,
        judgement.reached,
        judgement.differs,
    )


def _ordered(bench: Bench, kills: dict[str, int]) -> Bench:
    """The same scenarios, those that killed most first, others in their order."""
    return replace(
        bench,
        scenarios=tuple(sorted(bench.scenarios, key=lambda scenario: -kills.get(key(scenario), 0))),
    )
