"""How seldom uniform scenarios show each known-bad firmware: which are rare.

    python tests/long/odds.py [--variants NAME ...] [--workers N] [--results DIR]

Of each firmware 150 scenarios of uniform.py, in three seeds that no comparison uses, until the claim that it
was made for has objected three times. Rare is what shows fewer than three times: less than once in 50. A
scenario in which the claim objects to the good firmware, too, does not count. Done firmwares are noted in
DIR/odds.partial.jsonl; started again, it goes on behind that. Takes some 20 minutes of one core.
"""

import argparse
import hashlib
import json
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "harness"), str(ROOT)]

from dryspin.findings import load_subject  # noqa: E402
from dryspin.known_bad import Variant, read_index  # noqa: E402
from dryspin.search.plan import families_to_search, versions  # noqa: E402
from dryspin.search.workers import run_tasks  # noqa: E402
from tests.long.directed import shows, uniform_digest, uniform_scenarios  # noqa: E402
from tests.long.known_bad import FOLDER, noted  # noqa: E402

SEEDS = ("pilot 0", "pilot 1", "pilot 2")
EACH, ENOUGH = 50, 3
GOOD = ROOT / "firmware_under_test" / "bow_thruster"


@dataclass(frozen=True)
class Odds:
    """`hits` of `scenarios` showed the firmware; `shared` more were objected to in the good one, too."""

    variant: str
    claim: str
    hits: int
    scenarios: int
    shared: int

    @property
    def rare(self) -> bool:
        """Less than once in 50."""
        return self.hits < ENOUGH


def odds(variant: Variant) -> Odds:
    """Run the pilot of one firmware."""
    subject, good = load_subject(variant.directory), load_subject(GOOD)
    families = families_to_search(subject.claims)
    hits = scenarios = shared = 0
    for seed in SEEDS:
        for scenario in uniform_scenarios(subject, families, EACH, seed):
            scenarios += 1
            if not shows(subject, variant.claim, scenario):
                continue
            if shows(good, variant.claim, scenario):
                shared += 1
                continue
            hits += 1
            if hits == ENOUGH:
                return Odds(variant.name, variant.claim, hits, scenarios, shared)
    return Odds(variant.name, variant.claim, hits, scenarios, shared)


def all_odds(variants: Sequence[Variant], workers: int, journal: Path) -> list[Odds]:
    """Of each, from the journal, or run and noted there."""
    journal.parent.mkdir(parents=True, exist_ok=True)
    done = noted(journal)
    keys = {variant.name: _key(variant) for variant in variants}
    left = [variant for variant in variants if keys[variant.name] not in done]

    def work(variant: Variant, _: Callable[[int], None]) -> Odds:
        return odds(variant)

    def note(variant: Variant, row: Odds) -> None:
        done[keys[variant.name]] = asdict(row)
        print(row, file=sys.stderr, flush=True)
        with journal.open("a", encoding="utf-8") as out:
            out.write(json.dumps({"key": keys[variant.name], "row": asdict(row)}) + "\n")

    run_tasks(work, left, workers, done=note)
    return [Odds(**done[keys[variant.name]]) for variant in variants]


def _key(variant: Variant) -> str:
    hashes = load_subject(variant.directory).hashes
    given = [variant.name, variant.claim, uniform_digest(), versions(), hashes, SEEDS, EACH, ENOUGH]
    return hashlib.blake2b(json.dumps(given, sort_keys=True).encode(), digest_size=16).hexdigest()


def table(rows: Sequence[Odds]) -> str:
    """The rare ones, the seldomest first, then the others."""
    ordered = sorted(rows, key=lambda row: (row.hits / row.scenarios, row.variant))
    known = ", ".join(f"{name} {version}" for name, version in versions().items())
    width = max(len(row.variant) for row in rows)
    lines = [f"Uniform scenarios that show each known-bad firmware, {known}", ""]
    lines += [
        f"{row.variant:<{width}}  {row.hits} of {row.scenarios:<3}  {'rare' if row.rare else ''}".rstrip()
        for row in ordered
    ]
    return "\n".join([*lines, "", f"{sum(row.rare for row in rows)} of {len(rows)} are rare", ""])


def main(arguments: list[str] | None = None) -> int:
    """Run, print, write the dated result."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--variants", nargs="*", default=[], metavar="NAME", help="these only (default: all)")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--results", type=Path, default=Path(__file__).parent / "results")
    options = parser.parse_args(arguments)
    begun_s = time.monotonic()
    sought = [v for v in read_index(FOLDER) if not v.fault_kind and not v.unseen]
    chosen = [v for v in sought if not options.variants or v.name in options.variants]
    if not chosen:
        parser.error("no such firmware, or none that a scenario finds")
    rows = all_odds(chosen, options.workers, options.results / "odds.partial.jsonl")
    text = table(rows)
    print(text)
    path = options.results / f"{datetime.now(UTC):%Y-%m-%d}-odds.txt"
    path.write_text(text, encoding="utf-8")
    path.with_suffix(".json").write_text(json.dumps([asdict(row) for row in rows], indent=1) + "\n")
    print(f"written to {path}, {time.monotonic() - begun_s:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
