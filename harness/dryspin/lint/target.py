"""The firmware compiled for the part, to hear its compiler's warnings and to keep its objects."""

import re
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from dryspin.build.compiling import lay_out, object_name
from dryspin.build.register_level import needs_sketch
from dryspin.build.sources import FirmwareText
from dryspin.drive import Drive
from dryspin.errors import BuildError
from dryspin.target.program import PARTS
from dryspin.target.sources import CPP, NO_WAIT, SKETCH_SOURCES, given_to_part, language, lay_out_sketch

WARNINGS = ("-Wall", "-Wextra", "-Wconversion")

_GCC = (
    "-Os",  # as usual where flash is short; some warnings need the optimiser's view
    *WARNINGS,
    "-gdwarf-2",
    "-fstack-usage",
    "-ffunction-sections",  # a section a function: whose call is whose
    "-fno-jump-tables",
)

_CLANG = ("--target=avr", "-ffreestanding", *WARNINGS, "-fsyntax-only")

_WARNING = re.compile(
    r"^(?P<file>[^\s:][^:\n]*):(?P<line>\d+):(?:\d+:)? warning: (?P<text>.*)$", re.MULTILINE
)
_ERROR = re.compile(
    r"^(?P<file>[^\s:][^:\n]*):(?P<line>\d+):(?:\d+:)? (?:fatal )?error: (?P<text>.*)$", re.MULTILINE
)


@dataclass(frozen=True, slots=True)
class Warned:
    """A warning of the part's compiler: "duty.c:12", its text with the option that asks for it."""

    line: str
    text: str


@dataclass(frozen=True)
class Compiled:
    """`compiler`: its version, "" where none is installed; objects are there only with GCC."""

    compiler: str
    warnings: tuple[Warned, ...]
    objects: tuple[Path, ...]


def compile_for_part(drive: Drive, text: FirmwareText, folder: Path) -> Compiled:
    """Compile every source in the empty `folder`. Raises BuildError for what the part's compiler refuses.

    Firmware written for registers meets its compiler's own headers, or the rig's where there is but clang.
    """
    if shutil.which("avr-gcc"):
        command = ["avr-gcc", f"-mmcu={PARTS[drive.controller.part]}", *_GCC]
    elif shutil.which("clang"):
        command = ["clang", *_CLANG]
    else:
        return Compiled("", (), ())
    has_objects = command[0] == "avr-gcc"
    given = given_to_part(drive, text, own_headers=has_objects)
    stage = folder / "src"
    lay_out(given.files, stage)
    found: dict[Warned, None] = {}
    objects = []
    for name in given.sources:
        target = folder / object_name(name)
        keep = ["-c", "-o", str(target)] if has_objects else []
        said = _said([*command, *given.options, *language(drive, name), *keep, name], stage, name)
        found |= {
            Warned(f"{match['file']}:{match['line']}", match["text"]): None
            for match in _WARNING.finditer(said)
            if _is_of_the_source(match, text)
        }
        objects += [target] if keep else []
    if has_objects and needs_sketch(text):
        objects += _sketch_objects(command, given.options, folder)
    return Compiled(_version(command[0]), tuple(found), tuple(objects))


def _is_of_the_source(found: re.Match[str], text: FirmwareText) -> bool:
    """Not of a header that comes with the rig, nor of a function without a frame to be measured."""
    return found["file"] in text.files and "stack usage computation" not in found["text"]


def _sketch_objects(command: Sequence[str], options: Sequence[str], folder: Path) -> list[Path]:
    """The functions that sketches call, for what they take of stack and memory."""
    stage = lay_out_sketch(folder)
    made = []
    for name in SKETCH_SOURCES:
        target = folder / f"sketch__{object_name(name)}"
        # a busy wait takes no stack
        own = ["-w", NO_WAIT, "-c", "-o", str(target)]
        _said([*command, *options, *CPP, *own, name], stage, name)
        made.append(target)
    return made


def _said(command: Sequence[str], stage: Path, name: str) -> str:
    done = subprocess.run(
        command, cwd=stage, capture_output=True, text=True, errors="replace", timeout=120, check=False
    )
    if done.returncode != 0:
        first = _ERROR.search(done.stderr)
        place = f"{first['file']}:{first['line']}: " if first else ""
        what = first["text"] if first else (done.stderr.splitlines() or ["no message"])[0]
        raise BuildError(
            f"{place or f'{name}: '}{command[0]} refuses for the part what the host's compiler takes: {what}"
        )
    return done.stderr


def _version(command: str) -> str:
    answer = subprocess.run([command, "--version"], capture_output=True, text=True, check=False)
    return (answer.stdout.splitlines() or [command])[0]
