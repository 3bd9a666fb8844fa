"""Firmwares with faults sown on purpose, and what their comments say must be found."""

import re
import shutil
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import pytest

from dryspin.build import Compiler, find_compiler

SEEDED = Path(__file__).parent / "seeded"

BUILDS = [
    pytest.param(
        (name, level), marks=() if (name, level) in {("gcc", "-O1"), ("clang", "-O0")} else pytest.mark.slow
    )
    for name in ("gcc", "clang")
    for level in ("-O0", "-O1")
]
"""Each compiler and each level once in the default suite, all four with the slow tests."""


class Sown(NamedTuple):
    """A fault that a comment announces: `about` begins the variable's name or the text."""

    kind: str
    line: int
    about: str


def sown(name: str) -> list[Sown]:
    """What the comments `FAULT kind: about; kind: about` of a seeded source announce."""
    found = []
    for number, line in enumerate((SEEDED / name).read_text().splitlines(), 1):
        if comment := re.search(r"/\* FAULT (.*?) \*/", line):
            for part in comment[1].split("; "):
                kind, _, about = part.partition(":")
                found.append(Sown(kind.strip(), number, about.strip()))
    return found


def handlers_lines(name: str) -> dict[str, int]:
    """By variable, the line of a seeded source that a comment `AGAINST variable` marks."""
    lines = enumerate((SEEDED / name).read_text().splitlines(), 1)
    return {found[1]: k for k, line in lines if (found := re.search(r"/\* AGAINST (\w+) \*/", line))}


def compiler(name: str, level: str, monkeypatch: pytest.MonkeyPatch) -> Compiler:
    """That compiler, the firmware at `level`."""
    if not shutil.which(name):
        pytest.skip(f"{name} is not installed; CI has it")
    monkeypatch.setenv("CC", name)
    return replace(find_compiler.__wrapped__(), firmware_level=level)
