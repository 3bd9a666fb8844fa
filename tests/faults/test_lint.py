"""`dryspin lint`: the part's compiler is heard, its stack added up, and what is missing is said."""

import json
import shutil
from pathlib import Path

import pytest

from dryspin.cli.command import exit_code
from dryspin.lint import look
from dryspin.report.json import json_text
from dryspin.report.lint import lint_json

from ..small_firmware import BOW_THRUSTER, Bench

needs_avr = pytest.mark.skipif(not shutil.which("avr-gcc"), reason="avr-gcc is not installed; CI has it")

DEEP = """
    #include "say.h"
    static volatile uint8_t sink;
    static volatile uint8_t table[100];
    __attribute__((noinline)) static void inner(uint8_t k)
    {
        volatile uint8_t here[20];
        here[k] = k;
        sink = here[k];
    }
    __attribute__((noinline)) static void outer(uint8_t k)
    {
        volatile uint8_t here[30];
        here[k] = k;
        inner(here[k]);
        sink = here[k];
    }
    void on_wrap(void)
    {
        volatile uint8_t here[40];
        here[sink] = sink;
        sink = here[3];
    }
    int main(void)
    {
        table[sink] = 1;
        outer(sink);
        SLEEP_FOREVER
    }
"""


def test_the_shipped_firmware_is_clean(capsys: pytest.CaptureFixture[str]) -> None:
    """No warning, and variables and stack together have room."""
    assert exit_code(["lint", str(BOW_THRUSTER)]) == 0
    assert "at least" not in capsys.readouterr().out, "its stack is bounded"
    assert "fault" not in capsys.readouterr().out


@needs_avr
def test_the_deepest_chain_is_added_up_from_the_compilers_frames(bench: Bench) -> None:
    """20 and 30 bytes of arrays in a chain, 40 in the handler on top; saved registers come to them."""
    bench.image(DEEP)
    stack = look(bench.drive, bench.folder).stack

    assert stack is not None
    size, chain = stack.deepest["main"]
    assert chain[:3] == ("main", "outer", "inner")
    assert 50 + 3 * 2 <= size <= 50 + 3 * 2 + 3 * 18
    assert 40 + 2 <= stack.deepest["on_wrap"][0] <= 40 + 2 + 18
    assert stack.stack == size + stack.deepest["on_wrap"][0] + 19
    assert 101 <= stack.variables <= 110


@needs_avr
@pytest.mark.parametrize(
    ("body", "unknown"),
    [
        ("if (n == 0) return 1; int k = again(n - kept); return kept + k * kept;", "again is a recursion"),
        ("action(); return n;", "again() calls through a pointer"),
    ],
)
def test_what_cannot_be_bounded_is_said(bench: Bench, body: str, unknown: str) -> None:
    """Recursion, and calls through a pointer: the figure is a lower bound then."""
    bench.image(
        f"""
        #include "say.h"
        static volatile int kept;
        static void (*volatile action)(void);
        void (*volatile *borrowed)(void) = &action;
        int again(int n);
        __attribute__((noinline)) int again(int n) {{ {body} }}
        int main(void)
        {{
            kept = again(kept);
            SLEEP_FOREVER
        }}
    """
    )
    stack = look(bench.drive, bench.folder).stack

    assert stack is not None
    assert unknown in stack.unknown


@needs_avr
def test_the_parts_compiler_warns_of_what_only_16_bits_lose(bench: Bench, capsys) -> None:
    """1 << 15 is positive here and negative there; 40000 needs 16 bits without sign."""
    bench.image(
        """
        #include "say.h"
        static volatile int kept;
        int main(void)
        {
            kept = 1 << 16;
            kept = 300 * 300;
            SLEEP_FOREVER
        }
    """
    )
    (bench.folder / "drive.toml").write_text(f'[firmware]\nbase = "{BOW_THRUSTER}"\n')
    warned = {warned.line: warned.text for warned in look(bench.drive, bench.folder).warnings}

    assert set(warned) == {"main.c:5", "main.c:6"}
    assert "shift" in warned["main.c:5"]
    assert "overflow" in warned["main.c:6"]


def test_without_the_parts_compiler_it_says_what_is_missing(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Nothing is claimed that was not looked at."""
    bench.image('#include "say.h"\nint main(void) { SLEEP_FOREVER }\n')
    which = shutil.which
    monkeypatch.setattr(shutil, "which", lambda name: None if name in ("avr-gcc", "clang") else which(name))
    looked = look(bench.drive, bench.folder)

    assert (looked.compiler, looked.stack) == ("", None)
    assert "apt-get install gcc-avr" in looked.left_out


def test_json_has_the_same(bench: Bench) -> None:
    """For machines."""
    bench.image('#include "say.h"\nint main(void) { SLEEP_FOREVER }\n')
    looked = look(bench.drive, bench.folder)
    data = json.loads(json_text(lint_json(looked)))

    assert data["schema"] == 1
    assert data["warnings"] == []
    assert (data["memory"] is None) == (looked.stack is None)
