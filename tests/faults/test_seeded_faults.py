"""Faults sown into small firmwares are found, each at its line, and nothing else is."""

import shutil

import pytest

from dryspin.faults import Code, Fault, Inspector

from ..small_firmware import Bench, scenario
from .seeded_faults import BUILDS, SEEDED, Sown, compiler, handlers_lines, sown


def code_of(bench: Bench, name: str, build: tuple[str, str], patch: pytest.MonkeyPatch) -> Code:
    """A seeded firmware, built with all checks and run for half a second."""
    made = compiler(*build, patch)
    bench.image((SEEDED / name).read_text(), compiler=made)
    inspector = Inspector(bench.drive, bench.folder, made)
    runs = inspector.evidence([scenario(0.5, throttle_us=((0.0, 1500.0),))])
    return inspector.judge(runs)


def unlike(code: Code, expected: list[Sown]) -> tuple[list[str], list[Sown]]:
    """Faults that no comment announces, and comments that no fault answers."""

    def answers(fault: Fault, announced: Sown) -> bool:
        about = fault.variable if fault.variable and not announced.about[:1].isupper() else ""
        return (
            fault.kind == announced.kind
            and fault.place.line == f"main.c:{announced.line}"
            and (about.startswith(announced.about) or announced.about in fault.text)
        )

    surplus = [
        f"{fault.kind} {fault.variable} {fault.place} {fault.text}"
        for fault in code.faults
        if not any(answers(fault, one) for one in expected)
    ]
    return surplus, [one for one in expected if not any(answers(fault, one) for fault in code.faults)]


@pytest.mark.parametrize("build", BUILDS, ids="".join)
def test_races_are_found_at_their_lines_and_nothing_else_is(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, build: tuple[str, str]
) -> None:
    """Torn reads and writes, lost updates, variables not volatile; sound sharing stands beside them."""
    code = code_of(bench, "races.c", build, monkeypatch)

    assert unlike(code, sown("races.c")) == ([], [])


@pytest.mark.parametrize("build", BUILDS, ids="".join)
def test_in_a_statement_of_several_lines_both_sides_are_where_it_names_the_variable(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, build: tuple[str, str]
) -> None:
    """Compilers tell the line of an operator or of a condition; a read and its write back may be apart."""
    code = code_of(bench, "lines.c", build, monkeypatch)
    against = {fault.variable.partition(".")[0]: fault.against for fault in code.faults}

    assert unlike(code, sown("lines.c")) == ([], [])
    assert {name: place.line if place else "" for name, place in against.items()} == {
        name: f"main.c:{line}" for name, line in handlers_lines("lines.c").items()
    }


@pytest.mark.parametrize("build", BUILDS, ids="".join)
def test_undefined_operations_are_found_with_their_values(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, build: tuple[str, str]
) -> None:
    """Overflow, shift, index, misalignment, bad bool, and steps beyond a variable."""
    code = code_of(bench, "undefined.c", build, monkeypatch)

    assert unlike(code, sown("undefined.c")) == ([], [])


@pytest.mark.skipif(not shutil.which("clang"), reason="its front end has the part's widths; CI has it")
@pytest.mark.parametrize("build", [("gcc", "-O1"), ("clang", "-O0")], ids="".join)
def test_what_the_parts_integers_change_is_found(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, build: tuple[str, str]
) -> None:
    """Overflow of 16 bits by its values, and what merely wraps by what leaves the firmware."""
    bench.image((SEEDED / "widths.c").read_text())
    inspector = Inspector(bench.drive, bench.folder, compiler(*build, monkeypatch))
    codes = [
        inspector.judge(inspector.evidence([scenario(0.08, store=f"{case:02x}")])) for case in range(1, 9)
    ]
    faults = [fault for code in codes for fault in code.faults]

    assert unlike(Code(tuple(faults), (), 8, 0.0), sown("widths.c")) == ([], [])
    assert [len(code.faults) for code in codes] == [1] * 7 + [0]


@pytest.mark.parametrize("build", BUILDS, ids="".join)
def test_loops_without_end_are_found_and_the_next_run_goes_on(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, build: tuple[str, str]
) -> None:
    """Empty, on a flag, with a body, in a handler; the fifth scenario of the same process has none."""
    made = compiler(*build, monkeypatch)
    bench.image((SEEDED / "hangs.c").read_text(), compiler=made)
    inspector = Inspector(bench.drive, bench.folder, made)
    code = inspector.judge(
        inspector.evidence(scenario(0.08, store=f"{case:02x}") for case in (1, 2, 3, 4, 5))
    )

    assert unlike(code, sown("hangs.c")) == ([], [])
    assert len(code.faults) == 4
