"""Every small mistake in arming, commutation, reversal and calibration: which of them a check would miss.

    python tests/long/mutation.py [--each N] [--scenarios N] [--workers N] [--journal FILE] [--results DIR]

Each change of these sources is built and put to the tests of single functions (tests/functions), then to
the scenarios of a check until a claim objects. What is judged goes into a journal at once, so a run that was
broken off goes on where it was; a journal of another firmware, harness or budget is left alone. Survivors
found by hand to change nothing that anybody could see stand in `equivalent.toml`, each with its
reason. `.ci/long` runs this.
"""

import argparse
import hashlib
import json
import sys
import time
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

from dryspin.findings import Subject, load_subject
from dryspin.mutate import Campaign, Mutant, Mutation, mutate
from dryspin.mutate.campaign import KILLED, NOT_BUILT, SAME_CODE, SURVIVED, TWIN
from dryspin.search.plan import versions

ROOT = Path(__file__).parents[2]
FIRMWARE = ROOT / "firmware_under_test" / "bow_thruster"
OWN_TESTS = ROOT / "tests" / "functions"
REVIEWED = Path(__file__).parent / "equivalent.toml"

SUBJECTS: Mapping[str, tuple[str, ...]] = {
    "arming": ("arming.c", "throttle.c", "median.c"),
    "commutation": ("commutation.c", "crossing.c", "timing.c", "steps.c"),
    "reversal": ("stopping.c", "standstill.c", "catching.c"),
    "calibration": ("calibration.c", "range.c", "record.c"),
}
FILES = tuple(name for names in SUBJECTS.values() for name in names)

ONLY: Mapping[str, tuple[str, ...]] = {
    "throttle.c": ("await", "throttle_start", "on_throttle_edge", "throttle_last", "throttle_is_neutral"),
    "median.c": ("median_fill",),
}
"""Of these files, what arming takes its pulses from; the rest maps the stick to a duty."""

SCENARIOS = 440
"""Those of a check: what it misses, this shows."""

GOAL = 0.85
"""Share of changes that are not equivalent and must be killed."""


@dataclass(frozen=True)
class Reason:
    """Why changes of one function are equivalent, from the reviewed list: lines before and after, and why."""

    file: str
    function: str
    why: str
    changes: tuple[tuple[str, str], ...]

    def covers(self, mutation: Mutation) -> bool:
        """Whether it speaks of this change."""
        lines = (mutation.old_line, mutation.new_line)
        return (self.file, self.function) == (mutation.file, mutation.function) and lines in self.changes


def reviewed(path: Path = REVIEWED) -> list[Reason]:
    """The reviewed list."""
    rows = tomllib.loads(path.read_text(encoding="utf-8"))["equivalent"]
    return [Reason(**(row | {"changes": tuple(map(tuple, row["changes"]))})) for row in rows]


def is_of_subject(mutation: Mutation) -> bool:
    """Whether a change belongs to arming, commutation, reversal or calibration."""
    return mutation.file not in ONLY or mutation.function in ONLY[mutation.file]


class Journal:
    """Mutants judged so far, a line each; the first line says of what, and others are not mixed in."""

    def __init__(self, path: Path, of: str) -> None:
        self._path, self._of = path, of

    def read(self) -> dict[Mutation, Mutant]:
        """What an earlier run of the same has judged; a last line that was cut off is judged again."""
        if not self._path.exists():
            return {}
        first, *rows = self._path.read_text(encoding="utf-8").splitlines() or [""]
        if first != self._of:
            raise SystemExit(
                f"{self._path} is the journal of another firmware, drive, claims or budget; remove it, or "
                "give another with --journal"
            )
        found = {}
        for row in rows:
            try:
                data = json.loads(row)
            except json.JSONDecodeError:
                continue
            mutant = Mutant(**(data | {"mutation": Mutation(**data["mutation"])}))
            found[mutant.mutation] = mutant
        return found

    def add(self, mutant: Mutant) -> None:
        """One more."""
        new = not self._path.exists()
        with self._path.open("a", encoding="utf-8") as file:
            file.write(f"{self._of}\n" * new + json.dumps(asdict(mutant)) + "\n")


def journal_key(subject: Subject, scenarios: int, seed: int) -> str:
    """Names all that a verdict depends on."""
    known = {**versions(), **subject.hashes, "scenarios": scenarios, "seed": seed, "harness": _harness()}
    return json.dumps(known, sort_keys=True)


def _harness() -> str:
    mix = hashlib.blake2b(digest_size=16)
    parts = ("core", "monitors", "mutate", "recording", "rig", "search")
    for folder in (*(ROOT / "harness" / "dryspin" / part for part in parts), OWN_TESTS):
        for path in sorted(folder.glob("*.[chp]*")):
            mix.update(path.name.encode() + b"\0" + path.read_bytes())
    return mix.hexdigest()


def summary(campaign: Campaign, reasons: Iterable[Reason]) -> tuple[list[str], float]:
    """The table by file, every survivor by itself, and the share killed of what is not equivalent."""
    reasons = list(reasons)
    equal = {m for m in campaign.of(SURVIVED) if any(reason.covers(m.mutation) for reason in reasons)}
    head = ("changes", "dropped", "equivalent", "killed", "not reached", "survived", "share")
    lines = [f"{'':28}" + "".join(f"{word:>13}" for word in head)]
    for name, files in (*SUBJECTS.items(), ("all", FILES)):
        for group in [(name, files), *((f"  {file}", (file,)) for file in files if name != "all")]:
            lines.append(_row(group[0], [m for m in campaign.mutants if m.mutation.file in group[1]], equal))
    lines += [
        "",
        "dropped: does not build, or the same machine code as another change. equivalent: the firmware's own",
        "machine code at -O2, or survived and reviewed. not reached: by no scenario; counts as survived.",
        "",
    ]
    for mutant in campaign.of(SURVIVED):
        if mutant not in equal:
            lines += _survivor(mutant)
    for mutant in campaign.of(SURVIVED):
        if mutant in equal:
            why = next(reason.why for reason in reasons if reason.covers(mutant.mutation))
            lines += [*_survivor(mutant, "equivalent"), f"    {why}"]
    return lines, _share(campaign.mutants, equal)


def _share(mutants: Iterable[Mutant], equal: set[Mutant]) -> float:
    judged = [m for m in mutants if m.verdict in (KILLED, SURVIVED) and m not in equal]
    return sum(m.verdict == KILLED for m in judged) / len(judged) if judged else 1.0


def _row(name: str, mutants: list[Mutant], equal: set[Mutant]) -> str:
    left = [m for m in mutants if m.verdict == SURVIVED and m not in equal]
    numbers = (
        len(mutants),
        sum(m.verdict in (NOT_BUILT, TWIN) for m in mutants),
        sum(m.verdict == SAME_CODE or m in equal for m in mutants),
        sum(m.verdict == KILLED for m in mutants),
        sum(not m.reached for m in left),
        len(left),
    )
    share = f"{100.0 * _share(mutants, equal):.1f} %" if numbers[3] or left else "-"
    return f"{name:28}" + "".join(f"{number:13}" for number in numbers) + f"{share:>13}"


def _survivor(mutant: Mutant, word: str = "survived") -> list[str]:
    mutation = mutant.mutation
    how = "" if mutant.differs else "; no recording differs" if mutant.reached else "; not reached"
    where = f"{mutation.file}:{mutation.line} in {mutation.function or 'the file'}"
    return [
        f"{word}  {where}: {mutation.kind}{how}",
        f"    - {mutation.old_line}",
        f"    + {mutation.new_line}",
    ]


def _tell(what: str, done: int, total: int) -> None:
    print(f"\r{what}: {done}/{total} ", end="", file=sys.stderr, flush=True)


def main(arguments: list[str] | None = None) -> int:
    """Judge, print, write the dated result; 1 where the goal is missed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--each", type=int, help="a sample of so many changes of each file; by default all")
    parser.add_argument("--file", action="append", choices=FILES, help="this file only; may be repeated")
    parser.add_argument("--scenarios", type=int, default=SCENARIOS, help="(default %(default)s)")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--journal", type=Path, default=ROOT / "build" / "mutation.jsonl")
    parser.add_argument("--results", type=Path, default=Path(__file__).parent / "results")
    options = parser.parse_args(arguments)
    begun_s = time.monotonic()
    subject = load_subject(FIRMWARE)
    options.journal.parent.mkdir(parents=True, exist_ok=True)
    journal = Journal(options.journal, journal_key(subject, options.scenarios, options.seed))
    known = journal.read()
    campaign = mutate(
        subject,
        files=options.file or FILES,
        which=is_of_subject,
        each=options.each,
        scenarios=options.scenarios,
        tests=[OWN_TESTS],
        seed=options.seed,
        workers=options.workers,
        known=known,
        done=journal.add,
        notice=lambda what, done, total: print(
            f"\r{what}: {done}/{total} ", end="", file=sys.stderr, flush=True
        ),
    )
    print(file=sys.stderr)
    table, share = summary(campaign, reviewed())
    whole = "all changes" if options.each is None else f"a sample of {options.each} changes of each file"
    named = {**versions(), "compiler": subject.compiler, **subject.hashes}
    lines = [
        "Mutants of the bow thruster, " + ", ".join(f"{k} {v}" for k, v in named.items()),
        "",
        f"{whole}, up to {campaign.scenarios} scenarios each and {campaign.kept} kept, seed {campaign.seed}",
        "",
        *table,
        "",
        f"{100.0 * share:.1f} % of the changes that are not equivalent are killed; goal {100.0 * GOAL:.0f} %",
    ]
    text = "\n".join(lines) + "\n"
    print(text)
    options.results.mkdir(parents=True, exist_ok=True)
    path = options.results / f"{datetime.now(UTC):%Y-%m-%d}-mutation{'-sample' if options.each else ''}.txt"
    path.write_text(text, encoding="utf-8")
    print(f"written to {path}, {time.monotonic() - begun_s:.0f} s, {len(known)} judged by an earlier run")
    return 0 if share >= GOAL else 1


if __name__ == "__main__":
    sys.exit(main())
