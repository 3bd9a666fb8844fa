"""Coverage of firmware written for registers: C++ and sketches, beside the runs that are judged."""

from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.build.register_workshop import RegisterWorkshop
from dryspin.cli.covering import covering_of
from dryspin.coverage import Coverage, Covering, with_marks
from dryspin.findings import load_subject
from dryspin.rig import Rig

from ..small_firmware import scenario
from .conftest import HEAD, RegisterBench
from .seeded_examples import EXAMPLES, TORN_SKETCH

CPP = """\
constexpr int twice(int n) { return n * 2; }
namespace {
volatile uint8_t n;
struct Counter {
	uint8_t k = 0;
	void add(bool yes)
	{
		if (yes)
			k++;
		else
			k--;
	}
};
Counter counter;
}
ISR(TIMER0_OVF_vect)
{
	if (GPIOR1 == 7)
		n = 0;
	n++;
}
int main()
{
	if constexpr (twice(2) == 4)
		GPIOR0 = 1;
	const uint8_t rows[] = {1, 2, 3};
	for (uint8_t row : rows)
		GPIOR0 = row;
	counter.add(true);
	TIMSK0 = 1;
	TCCR0B = 1;
	sei();
	while (n < 3) {
	}
	for (;;) {
	}
}
"""

SKETCH = """\
// a comment first
int rounds = 0;
void setup() { twice(); }
void loop() {
  rounds++;
  if (rounds > 5)
    twice();
  else if (rounds > 30000)
    rounds = 0;
}
void twice() {
  rounds += 2;
}
"""


def covered(bench: RegisterBench, tmp_path: Path, name: str, text: str, head: str) -> Coverage:
    """Coverage of a tenth of a second of one source."""
    bench.image(text, name, head=head)
    drive = replace(
        bench.drive,
        firmware=replace(bench.drive.firmware, sources=(name,)),
        controller=replace(bench.drive.controller, block_cycles=6),
    )
    covering = Covering(RegisterWorkshop(drive, bench.folder, tmp_path / "plain"), tmp_path / "marked")
    covering.forget()
    Rig(covering.image, drive).run(scenario(0.1))
    return covering.coverage(covering.reached())


def test_what_cpp_has_reached_is_told_by_line_and_branch(bench: RegisterBench, tmp_path: Path) -> None:
    """By hand: members, handlers, loops over ranges; what only the compiler runs has no marks."""
    coverage = covered(bench, tmp_path, "main.cpp", CPP, HEAD)
    first = HEAD.count("\n")

    assert coverage.missed_lines == [f"main.cpp:{first + 11}", f"main.cpp:{first + 19}"]
    assert coverage.missed_branches == [
        f"main.cpp:{first + 8} never false",
        f"main.cpp:{first + 18} never true",
    ]
    assert coverage.lines["main.cpp", first + 28]
    assert ("main.cpp", first + 1) not in coverage.lines


def test_lines_of_a_sketch_are_its_own(bench: RegisterBench, tmp_path: Path) -> None:
    """A function is announced in front of its first use, and the marks are declared in front of that."""
    coverage = covered(bench, tmp_path, "turns.ino", SKETCH, "")

    assert coverage.missed_lines == ["turns.ino:9"]
    assert coverage.missed_branches == ["turns.ino:8 never true"]
    assert {line for file, line in coverage.lines if file == "turns.ino"} == {3, 5, 6, 7, 8, 9, 12}


def test_what_is_judged_is_the_firmware_without_marks() -> None:
    """Marks take blocks, and blocks take time: a finding of a check with --coverage must replay without."""
    subject = load_subject(EXAMPLES / "polling_sketch")
    with covering_of(subject, Path("cover.info")) as covering:
        assert covering is not None
        covering.forget()
        recording = with_marks(subject, covering.image).record(TORN_SKETCH.scenario)
        reached = covering.reached()

    assert recording.digest() == subject.record(TORN_SKETCH.scenario).digest()
    assert 0 < len(reached) < len(covering.marks)
    assert {mark.file for mark in reached} == {"polling_sketch.ino"}


@pytest.mark.slow
def test_a_check_tells_the_coverage_of_a_sketch(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """End to end, into a tracefile."""
    from dryspin.cli.command import exit_code

    file = tmp_path / "cover.info"
    arguments = ["--scenarios", "4", "--only", "gates", "--save", str(tmp_path), "--coverage", str(file)]
    assert exit_code(["check", str(EXAMPLES / "polling_sketch"), *arguments]) in (0, 1)
    out = capsys.readouterr().out

    assert "of the control code" in out
    assert "the C itself: 1 scenarios with the checked build" in out
    assert "polling_sketch.ino" in file.read_text()
