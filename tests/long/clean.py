"""No false alarm: the shipped firmware, unchanged, on every drive that a user would put it on.

    python tests/long/clean.py [--scenarios N] [--seed N] [--drive NAME ...] [--workers N]
                               [--journals DIR] [--found DIR] [--results DIR]

N scenarios in all, split evenly over `DRIVES`; the drive with number k, from 0, is searched with seed
100 `--seed` + k. Each drive is a soak: killed, the same command goes on from there. Writes a dated text:
per drive its scenarios and simulated seconds, how often each family was exercised, the least margin of each
claim and what broke. Exits with 1 where anything broke, could not be run or was not exercised. `.ci/long`
runs this.
"""

import argparse
import hashlib
import resource
import sys
import time
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "harness"), str(ROOT)]

import dryspin.monitors  # noqa: E402
from dryspin.build.cache import cache_root  # noqa: E402
from dryspin.findings import Subject, load_subject  # noqa: E402
from dryspin.search.plan import versions  # noqa: E402
from dryspin.soak import Soaked, soak  # noqa: E402

FIRMWARE = ROOT / "firmware_under_test" / "bow_thruster"
DRIVES: Mapping[str, Path] = {
    "pack": FIRMWARE / "drive.toml",
    **{path.stem: path for path in sorted((FIRMWARE / "drives").glob("*.toml"))},
}
"""In the order of their numbers. Not among them: drive_lab_supply.toml and drive_unequal_phases.toml, on
which the firmware has findings that are true; they are named in its README and in the file."""

SCENARIOS = 20_000


def shares(scenarios: int, drives: int) -> list[int]:
    """`scenarios` split evenly; the first drives get what is left over."""
    return [scenarios // drives + (k < scenarios % drives) for k in range(drives)]


def judges() -> str:
    """Names the monitors and their limits: a hash of their sources, by which two results can be compared."""
    mix = hashlib.blake2b(digest_size=16)
    for path in sorted(Path(dryspin.monitors.__file__).parent.glob("*.py")):
        mix.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return mix.hexdigest()


def exercised(result: Soaked) -> dict[str, int]:
    """Family -> scenarios that exercised its least-exercised declared claim."""
    counts: dict[str, int] = {}
    for claim in result.declared:
        held, broken, _, _ = result.claims.get(claim, (0, 0, 0, None))
        family = claim.partition(".")[0]
        counts[family] = min(counts.get(family, held + broken), held + broken)
    return counts


def page(name: str, subject: Subject, seed: int, result: Soaked) -> list[str]:
    """What came of one drive."""
    least = {claim: margin for claim, (*_, margin) in result.claims.items() if margin is not None}
    lines = [
        f"== {name}: {subject.drive.name}, {subject.drive.path.relative_to(ROOT)}",
        f"seed {seed}, drive {subject.hashes['drive']}, claims {subject.hashes['claims']}",
        f"{result.scenarios} scenarios, {result.simulated_s:.0f} s simulated; "
        f"{len(result.findings)} findings, {len(result.failed)} that could not be run, "
        f"{len(result.unproven)} claims not exercised",
        "exercised: " + ", ".join(f"{family} {count}" for family, count in exercised(result).items()),
        f"  {'claim':30}{'held':>8}{'broken':>8}   least margin",
    ]
    for claim, (held, broken, _, _) in result.claims.items():
        margin = f"   {least[claim]:+.3f}" if claim in least else ""
        lines.append(f"  {claim:30}{held:8}{broken:8}{margin}")
    lines += [f"  broken  {claim} at {line}: {Path(file).name}" for claim, line, file in result.findings]
    lines += [f"  could not run  {text}" for text, _ in result.failed]
    lines += [f"  not exercised  {claim}" for claim in result.unproven]
    return [*lines, ""]


def summary(results: Mapping[str, Soaked]) -> list[str]:
    """All drives in one sentence, and the least margin of each claim with its drive."""
    findings = sum(len(result.findings) for result in results.values())
    lines = [
        f"{sum(result.scenarios for result in results.values())} scenarios on {len(results)} drives, "
        f"{sum(result.simulated_s for result in results.values()):.0f} s simulated: {findings} findings, "
        f"{sum(len(result.failed) for result in results.values())} that could not be run",
    ]
    claims = dict.fromkeys(claim for result in results.values() for claim in result.claims)
    for claim in claims:
        margins = [
            (result.claims[claim][3], name) for name, result in results.items() if claim in result.claims
        ]
        known = [(margin, name) for margin, name in margins if margin is not None]
        if known:
            margin, name = min(known)
            lines.append(f"  {claim:30} {margin:+.3f} on {name}")
    return lines


def main(arguments: Sequence[str] | None = None) -> int:
    """Soak drive after drive, write the dated result; 1 where it is not clean."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--scenarios", type=int, default=SCENARIOS, help="in all (default %(default)s)")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--drive", action="append", choices=DRIVES, help="this only; may be repeated")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--journals", type=Path, default=cache_root() / "clean", help="where it goes on from")
    parser.add_argument("--found", type=Path, help="where findings go (default: beside the journals)")
    parser.add_argument("--results", type=Path, default=Path(__file__).parent / "results")
    options = parser.parse_args(arguments)
    begun_s, cpu_s = time.monotonic(), sum(_cpu_s())
    # A journal knows firmware, drive and claims; what other monitors have judged does not count.
    journals = options.journals / judges()
    results: dict[str, Soaked] = {}
    pages: list[str] = []
    heads = [f"{k} {v}" for k, v in versions().items()]
    for number, (name, share) in enumerate(zip(DRIVES, shares(options.scenarios, len(DRIVES)), strict=True)):
        if options.drive and name not in options.drive:
            continue
        subject = load_subject(FIRMWARE, DRIVES[name])
        seed = 100 * options.seed + number

        def tell(what: str, done: int, total: int, name: str = name) -> None:
            if sys.stderr.isatty():
                print(f"\r{name}: {what} {done}/{total} ", end="", file=sys.stderr, flush=True)

        results[name] = soak(
            subject,
            scenarios=share,
            seed=seed,
            workers=options.workers,
            folder=journals / name,
            save=options.found or journals / "found" / name,
            notice=tell,
        )
        if sys.stderr.isatty():
            print(file=sys.stderr)
        pages += page(name, subject, seed, results[name])
        if len(results) == 1:
            heads += [f"compiler {subject.compiler}", f"firmware {subject.hashes['firmware']}"]
    fresh = sum(result.scenarios - result.resumed for result in results.values())
    head = f"The bow thruster on its drives, {', '.join(heads)}, monitors {judges()}"
    text = "\n".join([head, "", *pages, *summary(results), ""])
    options.results.mkdir(parents=True, exist_ok=True)
    path = options.results / f"{datetime.now(UTC):%Y-%m-%d}-clean.txt"
    path.write_text(text, encoding="utf-8")
    print(text)
    print(
        f"written to {path}; {fresh} scenarios by this command, {sum(_cpu_s()) - cpu_s:.0f} s of CPU, "
        f"{time.monotonic() - begun_s:.0f} s"
    )
    return 0 if all(result.passed for result in results.values()) else 1


def _cpu_s() -> tuple[float, float]:
    """CPU time of this process and of the workers that have ended."""
    own, workers = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return own.ru_utime + own.ru_stime, workers.ru_utime + workers.ru_stime


if __name__ == "__main__":
    sys.exit(main())
