"""The part's compiler: what needs it says so, and where it must be there its absence is a failure."""

import os
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_under_test.targets.errors import ToolchainError
from firmware_under_test.targets.image import Image
from firmware_under_test.targets.toolchain import FLAGS, PART, PORT, SEAM, require_toolchain

REQUIRED = "DRYSPIN_REQUIRE_AVR"


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip a test marked needs_avr where the compiler is missing; fail it where it is required."""
    if item.get_closest_marker("needs_avr") is None:
        return
    try:
        require_toolchain()
    except ToolchainError as problem:
        if os.environ.get(REQUIRED) == "1":
            pytest.fail(f"{REQUIRED}=1, but {problem}", pytrace=False)
        pytest.skip(str(problem))


def _linked(folder: Path, file: str, text: str, flags: list[str]) -> Image:
    source = folder / "src" / file
    source.parent.mkdir(exist_ok=True)
    source.write_text(text, encoding="utf-8")
    elf = folder / "program.elf"
    command = ["avr-gcc", f"-mmcu={PART}", *flags, file, "-o", str(elf)]
    done = subprocess.run(command, cwd=source.parent, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return Image(elf)


Assemble = Callable[[str], Image]
Compile = Callable[[str], Image]


@pytest.fixture
def assemble(tmp_path: Path) -> Assemble:
    """Text of functions in assembly to an image, nothing linked to it."""

    def link(text: str) -> Image:
        return _linked(tmp_path, "snippet.S", text, ["-nostdlib", "-Wl,-e,0"])

    return link


@pytest.fixture
def compiled(tmp_path: Path) -> Compile:
    """Text of a C program on the target port to an image, flags as for the firmware."""

    def link(text: str) -> Image:
        flags = [flag for flag in FLAGS if flag not in ("-ffunction-sections", "-Wextra")]
        include = [f"-I{PORT}", f"-I{SEAM}"]
        return _linked(tmp_path, "snippet.c", text, [*flags, *include, "-fstack-usage", "-nostartfiles"])

    return link
