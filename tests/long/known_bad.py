"""Every known-bad firmware under up to a thousand scenarios: found by which claim, after how many.

    python tests/long/known_bad.py [--scenarios N] [--seed N] [--only NAME ...] [--results DIR]

One process, one firmware after the other. What is done is noted in DIR/known_bad-SEED.partial.jsonl at
once, with a digest of all it depends on; started again, it goes on behind that. A dated table and the
same as JSON remain. Exits with 1 if a firmware was missed, rare or not, or if one
is listed there as not found and was found. `.ci/long` runs this.
"""

import argparse
import hashlib
import json
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "harness"), str(ROOT)]

from dryspin.findings import load_subject  # noqa: E402
from dryspin.known_bad import Attempts, Variant, read_index, try_all  # noqa: E402
from dryspin.known_bad.trying import SHRINK_TRIALS  # noqa: E402
from dryspin.report.known_bad import attempts_json  # noqa: E402
from dryspin.search.plan import versions  # noqa: E402

FOLDER = ROOT / "firmware_under_test" / "known_bad"
SCENARIOS = 1000
COLUMNS = ("name", "found", "claim", "scenarios", "simulated_s", "events", "rare")


def harness_digest() -> str:
    """Of every source of the harness: a changed claim or flavour makes every row anew."""
    mix = hashlib.blake2b(digest_size=8)
    folder = ROOT / "harness" / "dryspin"
    for path in sorted(p for p in folder.rglob("*") if p.suffix in (".py", ".c", ".h")):
        mix.update(f"{path.relative_to(folder)}\0".encode() + path.read_bytes())
    return mix.hexdigest()


def key_of(variant: Variant, harness: str, scenarios: int, seed: int, trials: int) -> str:
    """What a row depends on; the reason why one is rare is not among it, whether it is is told anew."""
    hashes = load_subject(variant.directory).hashes
    given = [variant.name, variant.claim, harness, scenarios, seed, trials, versions(), hashes]
    return hashlib.blake2b(json.dumps(given, sort_keys=True).encode(), digest_size=16).hexdigest()


def noted(journal: Path) -> dict[str, dict[str, Any]]:
    """Rows done earlier, by key; a last line that was cut off counts as not done."""
    rows: dict[str, dict[str, Any]] = {}
    if journal.is_file():
        for line in journal.read_text(encoding="utf-8").splitlines():
            try:
                entry = json.loads(line)
            except json.JSONDecodeError:
                continue
            rows[entry["key"]] = entry["row"]
    return rows


def tried(
    variants: list[Variant], journal: Path, scenarios: int, seed: int, trials: int
) -> list[dict[str, Any]]:
    """A row of each variant, in order: from the journal, or run and noted there."""
    harness, done, rows = harness_digest(), noted(journal), []
    journal.parent.mkdir(parents=True, exist_ok=True)
    for k, variant in enumerate(variants):
        key = key_of(variant, harness, scenarios, seed, trials)
        if key not in done:
            print(f"{k + 1}/{len(variants)} {variant.name}", file=sys.stderr, flush=True)
            attempts: Attempts = try_all(
                [variant], scenarios=scenarios, seed=seed, workers=1, shrink_trials=trials
            )
            (done[key],) = attempts_json(attempts)
            with journal.open("a", encoding="utf-8") as out:
                out.write(json.dumps({"key": key, "row": done[key]}) + "\n")
        told = {"rare": bool(variant.rare), "why_rare": variant.rare or None}
        rows.append(done[key] | told | {"why_unseen": variant.unseen or None})
    return rows


def table(rows: list[dict[str, Any]], scenarios: int, seed: int) -> str:
    """The rows as text, then how many of each kind."""
    known = ", ".join(f"{name} {version}" for name, version in versions().items())
    lines = [f"Known-bad firmwares, at most {scenarios} scenarios each, seed {seed}, {known}", ""]
    cells = [COLUMNS] + [tuple(_cell(row[name]) for name in COLUMNS) for row in rows]
    widths = [max(len(line[k]) for line in cells) for k in range(len(COLUMNS))]
    lines += [
        "  ".join(f"{cell:<{w}}" for cell, w in zip(line, widths, strict=True)).rstrip() for line in cells
    ]
    unseen = [row["name"] for row in rows if row["why_unseen"] and not row["found"]]
    found = sum(bool(row["found"]) for row in rows)
    lines += ["", f"{found} of {len(rows)} found; {len(read_index(FOLDER))} stand in the folder"]
    lines.append(f"not found, listed as unseen: {', '.join(unseen) or 'none'}")
    return "\n".join([*lines, f"not as the index says: {', '.join(otherwise(rows)) or 'none'}", ""])


def otherwise(rows: list[dict[str, Any]]) -> list[str]:
    """Missed though not unseen, or found though listed as unseen."""
    return [
        row["name"]
        for row in rows
        if (row["why_unseen"] is not None if row["found"] else row["why_unseen"] is None)
    ]


def _cell(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else f"{value:.1f}" if isinstance(value, float) else str(value)


def main(arguments: list[str] | None = None) -> int:
    """Try all, print, write the dated result; 1 where one that is not listed as such was not found."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--scenarios", type=int, default=SCENARIOS, help="of each at most (%(default)s)")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument(
        "--trials", type=int, default=SHRINK_TRIALS, help="to shorten each; 1: not at all (%(default)s)"
    )
    parser.add_argument("--only", nargs="*", default=[], metavar="NAME")
    parser.add_argument("--results", type=Path, default=Path(__file__).parent / "results")
    options = parser.parse_args(arguments)
    begun_s = time.monotonic()
    variants = [v for v in read_index(FOLDER) if not options.only or v.name in options.only]
    journal = options.results / f"known_bad-{options.seed}.partial.jsonl"
    rows = tried(variants, journal, options.scenarios, options.seed, options.trials)
    text = table(rows, options.scenarios, options.seed)
    print(text)
    path = options.results / f"{datetime.now(UTC):%Y-%m-%d}-known_bad.txt"
    path.write_text(text, encoding="utf-8")
    path.with_suffix(".json").write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    wrong = len(otherwise(rows))
    print(f"written to {path}, {time.monotonic() - begun_s:.0f} s, {wrong} not as the index says")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
