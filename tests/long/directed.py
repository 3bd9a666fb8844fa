"""Whether the search is worth its trouble: known-bad firmwares, directed search against uniform scenarios.

    python tests/long/directed.py [--variants NAME ...] [--rare] [--seeds N] [--limit N] [--beyond TIMES]
                                  [--workers N] [--results DIR]

For each firmware and seed: scenarios until the claim that it was made for objects, by the search of a check
(covering plan, moments aimed at by a rehearsal, margins as targets), families in turn, and by uniform.py.
--rare: those that the index calls rare. --beyond: uniform searches of a firmware end at so many times the
median of the directed ones, which is enough to tell whether they need as many. What is done is noted in
DIR/directed.partial.jsonl at once, with a digest of all it depends on; started again, it goes on behind that.
A dated table, every run as JSON and a plot remain. The rare ones, --beyond 3, take an hour or two of one
core, all of it days.
"""

import argparse
import hashlib
import json
import math
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from itertools import chain, cycle, islice, repeat
from pathlib import Path
from random import Random

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "harness"), str(ROOT)]

from dryspin.errors import RigError  # noqa: E402
from dryspin.findings import BROKEN, Subject, Trial, load_subject, trial_of  # noqa: E402
from dryspin.known_bad import Variant, read_index  # noqa: E402
from dryspin.scenario import Scenario  # noqa: E402
from dryspin.search.plan import families_to_search, require_rites, tasks_of, versions  # noqa: E402
from dryspin.search.rehearsal import Rehearsal  # noqa: E402
from dryspin.search.rehearsing import rehearse  # noqa: E402
from dryspin.search.scratch import hypothesis_leaves_no_files  # noqa: E402
from dryspin.search.until import planned_in_turn, search_until  # noqa: E402
from dryspin.search.workers import run_tasks  # noqa: E402
from tests.long.comparison import DIRECTED, UNIFORM, Run, middle, plot, rows_of, table  # noqa: E402
from tests.long.known_bad import FOLDER, harness_digest, noted  # noqa: E402
from tests.long.uniform import uniform_scenario  # noqa: E402

SEEDS, LIMIT = 20, 440
"""The limit is what a check runs."""


def directed(subject: Subject, claim: str, families: Sequence[str], limit: int, seed: int,
             rehearsal: Rehearsal) -> int | None:  # fmt: skip
    """Scenarios of a check's search, families in turn, until `claim` is broken."""
    tasks = tasks_of(families, limit, seed, rehearsal)
    planned = planned_in_turn(subject.drive, tasks)
    # Margins of other claims steer what is explored, and nothing of what is planned.
    judges = chain([_held_to(subject, claim)] * len(planned), repeat(subject))
    with hypothesis_leaves_no_files():
        result = search_until(
            lambda draft: _trial(lambda: next(judges).search_trial(draft.scenario, draft.shared_s)),
            *(subject.drive, tasks, planned),
            lambda trial: trial.of(claim).status == BROKEN,
        )
    return result.scenarios if result.enough else None


def uniform(subject: Subject, claim: str, families: Sequence[str], limit: int, seed: int,
            _: Rehearsal) -> int | None:  # fmt: skip
    """The same with uniform scenarios."""
    subject = _held_to(subject, claim)
    for k, scenario in enumerate(uniform_scenarios(subject, families, limit, str(seed))):
        if shows(subject, claim, scenario):
            return k + 1
    return None


def _held_to(subject: Subject, claim: str) -> Subject:
    """The same, of whom nothing else is asked, which takes half of the time."""
    return replace(subject, claims=replace(subject.claims, declared=(claim,)))


def shows(subject: Subject, claim: str, scenario: Scenario) -> bool:
    """The claim objects to this firmware."""
    return _trial(lambda: subject.search_trial(scenario)).of(claim).status == BROKEN


def uniform_scenarios(subject: Subject, families: Sequence[str], limit: int, seed: str) -> Iterable[Scenario]:
    """So many, as long as those of the families in turn."""
    for k, family in enumerate(islice(cycle(families), limit)):
        yield uniform_scenario(subject.drive, family, Random(f"{seed}/{family}/{k}"))


WAYS = {DIRECTED: directed, UNIFORM: uniform}


def _trial(run: Callable[[], Trial]) -> Trial:
    """What the rig cannot follow, such as a comparator that toggles without end, shows nothing."""
    try:
        return trial_of(run)
    except RigError:
        return Trial((), 0.0)


@dataclass(frozen=True)
class Extent:
    """How much is run: searches of either kind, their scenarios at most, and of the uniform ones at most
    `beyond` times the median of the directed; None: as many."""

    seeds: int
    limit: int
    beyond: float | None = None

    def of_uniform(self, directed_found: Sequence[int | None]) -> int:
        """Scenarios of a uniform search at most."""
        if self.beyond is None or math.isinf(middle(directed_found)):
            return self.limit
        return min(math.ceil(self.beyond * middle(directed_found)), self.limit)


def compared(variants: Sequence[Variant], extent: Extent, workers: int, journal: Path) -> list[Run]:
    """All runs: from the journal, or run and noted there, one firmware after the other."""
    journal.parent.mkdir(parents=True, exist_ok=True)
    done, harness, runs = noted(journal), uniform_digest(), []
    for n, variant in enumerate(variants):
        subject = load_subject(variant.directory)
        families = families_to_search(subject.claims)
        require_rites(subject.drive, families)

        def all_of(way: str, limit: int, variant=variant, subject=subject, families=families) -> list[Run]:
            keys = {seed: _key(subject, variant, harness, limit, way, seed) for seed in range(extent.seeds)}
            left = [seed for seed, key in keys.items() if key not in done]

            def note(seed: int, found: int | None) -> None:
                run = Run(variant.name, variant.claim, way, seed, limit, found)
                done[keys[seed]] = asdict(run)
                with journal.open("a", encoding="utf-8") as out:
                    out.write(json.dumps({"key": keys[seed], "row": asdict(run)}) + "\n")

            if left:
                rehearsal = rehearse(subject, families, workers)

                def search(seed: int, _: Callable[[int], None]) -> int | None:
                    return WAYS[way](subject, variant.claim, families, limit, seed, rehearsal)

                run_tasks(search, left, workers, done=note)
            return [Run(**done[key]) for key in keys.values()]

        print(f"{n + 1}/{len(variants)} {variant.name}", file=sys.stderr, flush=True)
        directed_runs = all_of(DIRECTED, extent.limit)
        runs += directed_runs
        runs += all_of(UNIFORM, extent.of_uniform([run.found for run in directed_runs]))
    return runs


def uniform_digest() -> str:
    """Of the harness, and of what draws uniform scenarios."""
    own = (Path(__file__).parent / "uniform.py").read_bytes()
    return hashlib.blake2b(harness_digest().encode() + own, digest_size=8).hexdigest()


def _key(subject: Subject, variant: Variant, harness: str, limit: int, way: str, seed: int) -> str:
    given = [variant.name, variant.claim, harness, limit, way, seed, versions(), subject.hashes]
    return hashlib.blake2b(json.dumps(given, sort_keys=True).encode(), digest_size=16).hexdigest()


def main(arguments: list[str] | None = None) -> int:
    """Compare, print, write the dated results."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--variants", nargs="*", default=[], metavar="NAME", help="these only (default: all)")
    parser.add_argument("--rare", action="store_true", help="those only that the index calls rare")
    parser.add_argument(
        "--beyond", type=float, metavar="TIMES", help="uniform searches end at so many directed medians"
    )
    parser.add_argument("--seeds", type=int, default=SEEDS, help="searches of either kind (%(default)s)")
    parser.add_argument("--limit", type=int, default=LIMIT, help="scenarios of each search (%(default)s)")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--results", type=Path, default=Path(__file__).parent / "results")
    options = parser.parse_args(arguments)
    begun_s = time.monotonic()
    # What the checked build names, and what nothing objects to, no scenario finds.
    sought = [v for v in read_index(FOLDER) if not v.fault_kind and not v.unseen]
    if unknown := set(options.variants) - {v.name for v in sought}:
        parser.error(f"no such firmware, or none that a scenario finds: {', '.join(sorted(unknown))}")
    chosen = [v for v in sought if not options.variants or v.name in options.variants]
    chosen = [v for v in chosen if v.rare or not options.rare]
    journal = options.results / "directed.partial.jsonl"
    extent = Extent(options.seeds, options.limit, options.beyond)
    runs = compared(chosen, extent, options.workers, journal)
    rows = rows_of(runs, options.limit)
    text = table(rows, options.limit)
    print(text)
    path = options.results / f"{datetime.now(UTC):%Y-%m-%d}-directed.txt"
    path.write_text(text, encoding="utf-8")
    path.with_suffix(".json").write_text(json.dumps([asdict(run) for run in runs], indent=1) + "\n")
    plot(rows, options.limit, path.with_suffix(".svg"))
    print(f"written to {path}, {time.monotonic() - begun_s:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
