"""The file that bounds a firmware's loops is read strictly: a stale bound would be a wrong number."""

from pathlib import Path

import pytest

from firmware_under_test.targets.errors import TargetError
from firmware_under_test.targets.steps import Loop, read_steps

TEXTS = {"a.c": ["void x(void)", "{", "\tfor (;;) {", "\t}", "}", "void y(void);", "void z(void);"]}
STEP = '[step]\ncrossing = "x"\ncompare = "y"\ncommutation = "z"\n'
LOOP = '[[loop]]\nfile = "a.c"\nline = "for (;;) {"\nwhy = "three legs"\n'


def read(folder: Path, text: str) -> tuple[Loop, ...]:
    """The loops of such a file."""
    path = folder / "steps.toml"
    path.write_text(text, encoding="utf-8")
    return read_steps(path, TEXTS).loops


def test_a_loop_is_passed_once_where_nothing_else_is_said(tmp_path: Path) -> None:
    """A loop that waits has its ticks besides."""
    assert read(tmp_path, STEP + LOOP) == (Loop("a.c", "for (;;) {", 1, 1, 0),)
    assert read(tmp_path, STEP + LOOP + "passes = 11\npasses_in_short_step = 3\nwaits_ticks = 2\n") == (
        Loop("a.c", "for (;;) {", 11, 3, 2),
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[step", "correct the file"),
        ('[step]\ncrossing = "x"\n', r"\[step\] needs compare, a text; it is None"),
        (STEP.replace('"x"', '"gone"'), "names gone, which the firmware has not"),
        (STEP + 'never = ["x"]\n', "with never needs never_why"),
        (STEP + 'also = "x"\n', "no list of functions"),
        (STEP + LOOP.replace("why", "because"), "needs why"),
        (STEP + LOOP.replace("for (;;)", "while (1)"), "no line of the firmware"),
        (STEP + LOOP + "passes = -1\n", "whole number from 0 to 65535"),
        (STEP + LOOP + "passes = true\n", "whole number from 0 to 65535"),
        (STEP + "loop = 3\n", r"write \[\[loop\]\]"),
    ],
)
def test_a_mistake_is_refused_with_the_remedy(tmp_path: Path, text: str, message: str) -> None:
    """File and key stand in the message."""
    with pytest.raises(TargetError, match=message):
        read(tmp_path, text.replace(STEP + "loop", "loop = 3\n" + STEP + "#") if "loop = 3" in text else text)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    """A firmware of one's own needs one."""
    with pytest.raises(TargetError, match=r"own\.toml is missing; it names the handlers of a step"):
        read_steps(tmp_path / "own.toml", TEXTS)
