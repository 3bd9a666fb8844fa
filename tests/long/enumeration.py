"""Every sequence of throttle frames, to the full length: `python tests/long/enumeration.py [FOLDER]`.

The shipped firmware must show no counterexample, and arm; each of three that are wrong must show the
shortest. Writes a dated text into tests/long/results, or FOLDER. Exits with 1 if anything is otherwise.
"""

import sys
import time
from datetime import date
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "harness"), str(ROOT)]

from dryspin.enumerate import Enumeration, enumerate_rites, words  # noqa: E402
from dryspin.findings import load_subject  # noqa: E402
from dryspin.report.enumerate import enumeration_lines  # noqa: E402

UNDER_TEST = ROOT / "firmware_under_test"
SEEDED = {
    "arms_with_the_stick_up": "24 neutral, 1 high",
    "forgives_a_bad_pulse": "24 neutral, 1 below range, 1 neutral",
    "arms_after_loss_with_the_stick_up": "25 neutral, 13 none, 1 neutral",
}
"""Firmware -> shortest counterexample, as a person would write it down: the rite, and what must not count."""


def told(name: str, directory: Path) -> tuple[Enumeration, list[str]]:
    """The enumeration of one firmware, and a page on it."""
    subject, begun_s = load_subject(directory), time.process_time()
    result = enumerate_rites(subject)
    lines = [f"== {name}", *enumeration_lines(result, subject.drive, None)]
    return result, [*lines, f"{time.process_time() - begun_s:.0f} s of CPU", ""]


def main() -> int:
    """Run all, write the text, say whether all is as it must be."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "tests" / "long" / "results"
    shipped, lines = told("bow_thruster", UNDER_TEST / "bow_thruster")
    as_expected = shipped.passed
    for name, shortest in SEEDED.items():
        result, page = told(name, UNDER_TEST / "known_bad" / name)
        lines += page
        as_expected &= result.objection is not None and words(result.objection.kinds) == shortest
    lines.append("all as expected" if as_expected else "NOT as expected")
    (folder / f"{date.today():%Y-%m-%d}-enumeration.txt").write_text("\n".join(lines) + "\n")
    print("\n".join(lines))
    return 0 if as_expected else 1


if __name__ == "__main__":
    sys.exit(main())
