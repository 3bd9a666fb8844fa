"""`dryspin lint` of firmware written for registers: the part's compiler, its stack, what is not volatile."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.cli.command import exit_code
from dryspin.errors import BuildError
from dryspin.lint import Looked, look
from dryspin.lint.target import compile_for_part

from .conftest import RegisterBench
from .seeded_examples import EXAMPLES, SKETCH, TORN_SKETCH

SHARED = """
    static volatile uint8_t marked;
    static uint8_t plain, guarded, at_start;
    ISR(TIMER0_OVF_vect) { marked++; plain++; guarded++; GPIOR0 = at_start; }
    int main(void)
    {
        at_start = 3;
        TIMSK0 = 1; TCCR0B = 1; sei();
        while (plain < 3) { }
        cli(); GPIOR0 = guarded; sei();
        GPIOR0 = marked;
        stop();
    }
"""


def looked_at(bench: RegisterBench, text: str, name: str = "main.c") -> Looked:
    """What is said of one source."""
    bench.image(text, name)
    drive = replace(bench.drive, firmware=replace(bench.drive.firmware, sources=(name,)))
    return look(drive, bench.folder)


def test_a_shared_variable_that_is_not_volatile_is_named_without_a_run(bench: RegisterBench) -> None:
    """At its line in the main line. Behind cli(), before the first sei(), and volatile ones are right."""
    line = 1 + next(
        k for k, text in enumerate((bench.image(SHARED), bench.sources["main.c"])[1].splitlines())
        if "while (plain" in text
    )  # fmt: skip
    found = looked_at(bench, SHARED).unmarked

    assert [(each.line, each.variable, each.handler) for each in found] == [
        (f"main.c:{line}", "plain", "TIMER0_OVF_vect")
    ]


def test_a_handler_that_a_sketch_attaches_is_one(tmp_path: Path) -> None:
    """attachInterrupt(..., stickChanged, ...) makes stickChanged a handler."""
    found = look(TORN_SKETCH.drive, EXAMPLES / "polling_sketch").unmarked

    assert {(each.variable, each.handler) for each in found} == {("pulses", "stickChanged")}
    assert all(each.line.startswith(f"{SKETCH}:") for each in found)


@pytest.mark.parametrize(
    ("call", "name", "why"),
    [
        ("volatile char *p = (char *)malloc(3); *p = 1;", "malloc()", "the heap outlives a run"),
        ("GPIOR0 = (uint8_t)rand();", "rand()", "keep a state of your own"),
        ("volatile int *p = new int; *p = 1;", "new", "the heap outlives a run"),
    ],
)
def test_what_the_rig_cannot_put_back_is_refused_with_its_line(
    bench: RegisterBench, call: str, name: str, why: str
) -> None:
    """File, line, the call, and what to do instead."""
    text = f"#include <stdlib.h>\nint main()\n{{\n\t{call}\n\tfor (;;) {{ }}\n}}\n"
    with pytest.raises(BuildError) as raised:
        looked_at(bench, text, "main.cpp")
    place = 1 + next(k for k, row in enumerate(bench.sources["main.cpp"].splitlines()) if call in row)

    assert f"main.cpp:{place}: calls {name}, which" in str(raised.value)
    assert why in str(raised.value)


@pytest.mark.needs_avr
def test_the_parts_compiler_names_lines_of_the_sketch_only(capsys: pytest.CaptureFixture[str]) -> None:
    """Not of the C++ that it becomes, nor of the rig's headers; the stack goes on in the rig's functions."""
    assert exit_code(["lint", str(EXAMPLES / "polling_sketch"), "--json"]) == 1
    said = json.loads(capsys.readouterr().out)

    assert said["compiler"].startswith("avr-gcc")
    assert said["warnings"]
    assert all(warning["line"].startswith(f"{SKETCH}:") for warning in said["warnings"])
    assert said["memory"]["deepest"]["main"]["chain"][:3] == ["main", "loop", "run"]
    assert said["memory"]["fits"]
    assert "INT0_vect() calls through a pointer" in said["memory"]["unknown"]


@pytest.mark.needs_avr
def test_the_stack_of_handlers_in_cpp_is_added_up(capsys: pytest.CaptureFixture[str]) -> None:
    """By vector; a handler of the firmware is the vector's own, so nothing comes to it."""
    exit_code(["lint", str(EXAMPLES / "two_way_interrupts")])
    out = capsys.readouterr().out

    assert "TIMER1_COMPA_vect -> take_step -> drive -> open_legs" in out
    assert "of its vector" not in out
    assert "look  not volatile: thruster.cpp:368: duty_now, which TIMER1_COMPA_vect() uses as well" in out


def test_clang_alone_reads_the_firmware_with_16_bit_int(
    bench: RegisterBench, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Against the rig's headers: an overflow of constants that the host's int does not have."""
    from dryspin.build import firmware_text

    if not shutil.which("clang"):
        pytest.skip("clang is not installed; CI has it")
    bench.image("int main(void) { OCR1A = (uint16_t)(300 * 300 / 9); stop(); }")
    drive = replace(bench.drive, firmware=replace(bench.drive.firmware, sources=("main.c",)))
    which = shutil.which
    monkeypatch.setattr(shutil, "which", lambda name: None if name == "avr-gcc" else which(name))
    compiled = compile_for_part(drive, firmware_text(drive, bench.folder), tmp_path)

    assert "clang" in compiled.compiler
    assert any("overflow" in warning.text for warning in compiled.warnings)
