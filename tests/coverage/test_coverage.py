"""Lines and branches of the control code: what a run has reached, and the files for other tools."""

import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from dryspin.build.workshop import Workshop
from dryspin.coverage import Coverage, Covering, cobertura_text, lcov_text
from dryspin.rig import Rig

from ..small_firmware import Bench, scenario

CODE = """\
#include "say.h"
static volatile uint8_t one = 1;
static uint8_t pick(uint8_t k)
{
    switch (k) {
    case 1:
        return 10;
    case 2:
        return 20;
    default:
        return 0;
    }
}
static void unused_here(void)
{
    one = 3;
    one = 4;
}
void (*keep)(void) = unused_here;
int main(void)
{
    uint8_t sum = 0;
    for (uint8_t k = 0; k < 3; k++)
        sum = (uint8_t)(sum + pick(1));
    if (one == 1)
        sum++;
    else
        sum--;
    while (sum > 40)
        sum--;
    do { sum--; } while (sum > 29);
    port_mark(sum);
    SLEEP_FOREVER
}
"""


def covered(bench: Bench, tmp_path: Path) -> tuple[Coverage, str, str]:
    """Coverage of one run, and the digests of the run with marks and without."""
    plain = Rig(bench.image(CODE), bench.drive).run(scenario())
    covering = Covering(Workshop(bench.drive, bench.folder, tmp_path / "plain"), tmp_path / "marked")
    covering.forget()
    recording = Rig(covering.image, bench.drive).run(scenario())
    return covering.coverage(covering.reached()), recording.digest(), plain.digest()


def test_lines_and_branches_are_those_that_were_reached(bench: Bench, tmp_path: Path) -> None:
    """Told by hand: case 1 only, the condition true only, the while never, the do three times."""
    coverage, marked, plain = covered(bench, tmp_path)

    assert marked == plain
    assert [text for text in coverage.missed_lines if text.startswith("main.c")] == [
        "main.c:9-11", "main.c:16-17", "main.c:28", "main.c:30",
    ]  # fmt: skip
    assert [text for text in coverage.missed_branches if text.startswith("main.c")] == [
        "main.c:8 no case 2", "main.c:10 no default", "main.c:25 never false", "main.c:29 never true",
    ]  # fmt: skip
    assert coverage.lines["main.c", 24]


def test_lines_keep_their_numbers(bench: Bench, tmp_path: Path) -> None:
    """A mark must not move the line of a finding."""
    bench.image(CODE)
    covering = Covering(Workshop(bench.drive, bench.folder, tmp_path / "plain"), tmp_path / "marked")
    recording = Rig(covering.image, bench.drive).run(scenario())

    assert bench.place("port_mark(sum)") in {recording.line_of(row) for row in range(len(recording.edges))}


def test_the_files_for_other_tools_say_the_same(bench: Bench, tmp_path: Path) -> None:
    """The tracefile's own totals, and Cobertura's counts, made by a library from it."""
    pytest.importorskip("lcov_cobertura", reason="an extra; CI has it")
    coverage, _, _ = covered(bench, tmp_path)
    text = lcov_text(coverage, "thruster")
    root = ET.fromstring(cobertura_text(coverage, "thruster"))

    lines = coverage.lines
    assert text.count("\nDA:") == len(lines)
    assert sum(line.endswith(",1") for line in text.splitlines() if line.startswith("DA:")) == sum(
        lines.values()
    )
    assert root.get("lines-valid") == str(len(lines))
    assert root.get("lines-covered") == str(sum(lines.values()))
    assert root.get("branches-valid") == str(len(coverage.branches))
    assert root.get("branches-covered") == str(sum(coverage.branches.values()))
