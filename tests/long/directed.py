"""Whether the search is worth its trouble: known-bad firmwares, directed search against uniform scenarios.

    python tests/long/directed.py [--variants NAME ...] [--seeds N] [--limit N] [--workers N] [--results DIR]

For each firmware and seed: scenarios until the claim that it was made for objects, by the search of a check
(covering plan, moments aimed at by a rehearsal, margins as targets) and by uniform.py, families in turn in
either. What is done is noted in DIR/directed.partial.jsonl at once, with a digest of all it depends on;
started again, it goes on behind that. A dated table, every run as JSON and a plot remain. All of it takes
days of one core.
"""

import argparse
import hashlib
import json
import math
import statistics
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from itertools import cycle, islice
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
from tests.long.known_bad import FOLDER, harness_digest, noted  # noqa: E402
from tests.long.uniform import uniform_scenario  # noqa: E402

DIRECTED, UNIFORM = "directed", "uniform"
SEEDS, LIMIT = 20, 440
"""The limit is what a check runs."""


@dataclass(frozen=True)
class Run:
    """One search: `found` is the number of the scenario that was objected to, None where none was."""

    variant: str
    claim: str
    way: str
    seed: int
    found: int | None


def directed(subject: Subject, claim: str, families: Sequence[str], limit: int, seed: int,
             rehearsal: Rehearsal) -> int | None:  # fmt: skip
    """Scenarios of a check's search, families in turn, until `claim` is broken."""
    tasks = tasks_of(families, limit, seed, rehearsal)
    with hypothesis_leaves_no_files():
        result = search_until(
            lambda draft: _trial(lambda: subject.search_trial(draft.scenario, draft.shared_s)),
            *(subject.drive, tasks, planned_in_turn(subject.drive, tasks)),
            lambda trial: trial.of(claim).status == BROKEN,
        )
    return result.scenarios if result.enough else None


def uniform(subject: Subject, claim: str, families: Sequence[str], limit: int, seed: int,
            _: Rehearsal) -> int | None:  # fmt: skip
    """The same with uniform scenarios."""
    for k, scenario in enumerate(uniform_scenarios(subject, families, limit, str(seed))):
        if shows(subject, claim, scenario):
            return k + 1
    return None


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


def middle(found: Sequence[int | None]) -> float:
    """The median, infinite where half of the searches or more did not find it."""
    return statistics.median(math.inf if n is None else float(n) for n in found) if found else math.nan


def gain(directed_at: float, uniform_at: float, limit: int) -> tuple[float, bool]:
    """How many times as many scenarios uniform search takes, and whether it is that or more (True).

    A search that ran out counts as one that would have found it with the next scenario, so against the one
    that did find: below 1 where it is the directed one. nan where neither found it.
    """
    if math.isinf(directed_at) and math.isinf(uniform_at):
        return math.nan, False
    ratio = min(uniform_at, limit + 1.0) / min(directed_at, limit + 1.0)
    return ratio, math.isinf(uniform_at)


@dataclass(frozen=True)
class Row:
    """One firmware over all seeds: medians, how many of them found it, gain, whether it is at least that."""

    variant: str
    claim: str
    directed: float
    uniform: float
    directed_found: int
    uniform_found: int
    seeds: int
    gain: float
    at_least: bool


def rows_of(runs: Sequence[Run], limit: int) -> list[Row]:
    """A row for each firmware, in the order they come in."""
    rows = []
    for variant, claim in dict.fromkeys((run.variant, run.claim) for run in runs):
        found = {
            way: [r.found for r in runs if (r.variant, r.claim, r.way) == (variant, claim, way)]
            for way in WAYS
        }
        at = {way: middle(found[way]) for way in WAYS}
        hits = {way: sum(n is not None for n in found[way]) for way in WAYS}
        ratio = gain(at[DIRECTED], at[UNIFORM], limit)
        rows.append(
            Row(variant, claim, at[DIRECTED], at[UNIFORM], hits[DIRECTED], hits[UNIFORM],
                len(found[DIRECTED]), *ratio)
        )  # fmt: skip
    return rows


def table(rows: Sequence[Row], limit: int) -> str:
    """The rows as text, and what they say together."""
    known = ", ".join(f"{name} {version}" for name, version in versions().items())
    cells = [("firmware", "claim", "directed", "found", "uniform", "found", "gain")]
    cells += [
        (
            *(row.variant, row.claim, _at(row.directed, limit), f"{row.directed_found}/{row.seeds}"),
            *(_at(row.uniform, limit), f"{row.uniform_found}/{row.seeds}", _times(row)),
        )
        for row in rows
    ]
    widths = [max(len(line[k]) for line in cells) for k in range(len(cells[0]))]
    told = [row for row in rows if not math.isnan(row.gain)]
    lines = [
        f"Scenarios until the claim objects, median over the seeds, at most {limit}, {known}",
        "",
        *("  ".join(f"{cell:<{w}}" for cell, w in zip(line, widths, strict=True)).rstrip() for line in cells),
        "",
        f"directed takes fewer in {sum(row.gain > 1.0 for row in told)} of {len(rows)}, as many in "
        f"{sum(row.gain == 1.0 for row in told)}, more in {sum(row.gain < 1.0 for row in told)}, "
        f"neither finds {len(rows) - len(told)}",
    ]
    if told:
        lines.append(f"median gain {statistics.median(row.gain for row in told):.2g} times")
    return "\n".join([*lines, ""])


def _at(scenarios: float, limit: int) -> str:
    return f"> {limit}" if math.isinf(scenarios) else f"{scenarios:g}"


def _times(row: Row) -> str:
    return "" if math.isnan(row.gain) else f"{'>= ' if row.at_least else ''}{row.gain:.2g}"


def plot(rows: Sequence[Row], limit: int, path: Path) -> None:
    """Both medians of each firmware on one line; an open mark at the limit was not found by half."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(figsize=(8.0, 1.5 + 0.22 * len(rows)), layout="constrained")
    ordered = sorted(rows, key=lambda row: (min(row.directed, limit), min(row.uniform, limit)))
    for way, colour, marker in ((DIRECTED, "tab:blue", "o"), (UNIFORM, "tab:orange", "s")):
        for k, row in enumerate(ordered):
            at = getattr(row, way)
            face = "none" if math.isinf(at) else colour
            label = way if k == 0 else None
            axes.plot(min(at, limit), k, marker, markerfacecolor=face, markeredgecolor=colour, color=colour,
                      linestyle="none", label=label)  # fmt: skip
    for k, row in enumerate(ordered):
        axes.plot([min(row.directed, limit), min(row.uniform, limit)], [k, k], color="0.7", zorder=0)
    axes.set(xscale="log", xlim=(0.8, limit * 1.25), xlabel="scenarios until the claim objects (median)")
    axes.set_yticks(range(len(ordered)), [row.variant for row in ordered], fontsize=7)
    axes.legend(loc="upper left", title=f"open: not within {limit}")
    figure.savefig(path)
    pyplot.close(figure)


def compared(variants: Sequence[Variant], seeds: int, limit: int, workers: int, journal: Path) -> list[Run]:
    """All runs: from the journal, or run and noted there, one firmware after the other."""
    journal.parent.mkdir(parents=True, exist_ok=True)
    done, harness, runs = noted(journal), uniform_digest(), []
    for n, variant in enumerate(variants):
        subject = load_subject(variant.directory)
        families = families_to_search(subject.claims)
        require_rites(subject.drive, families)
        asked = [(way, seed) for seed in range(seeds) for way in WAYS]
        keys = {each: _key(subject, variant, harness, limit, *each) for each in asked}
        left = [each for each in asked if keys[each] not in done]
        if left:
            print(
                f"{n + 1}/{len(variants)} {variant.name}: {len(left)} searches", file=sys.stderr, flush=True
            )
            rehearsal = rehearse(subject, families, workers)

            def search(
                each: tuple[str, int], _: Callable[[int], None], subject=subject, claim=variant.claim,
                families=families, rehearsal=rehearsal
            ) -> int | None:  # fmt: skip
                return WAYS[each[0]](subject, claim, families, limit, each[1], rehearsal)

            def note(each: tuple[str, int], found: int | None, variant=variant, keys=keys) -> None:
                run = Run(variant.name, variant.claim, *each, found)
                done[keys[each]] = asdict(run)
                with journal.open("a", encoding="utf-8") as out:
                    out.write(json.dumps({"key": keys[each], "row": asdict(run)}) + "\n")

            run_tasks(search, left, workers, done=note)
        runs += [Run(**done[keys[each]]) for each in asked]
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
    journal = options.results / "directed.partial.jsonl"
    runs = compared(chosen, options.seeds, options.limit, options.workers, journal)
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
