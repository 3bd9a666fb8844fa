"""What the measures must know of a firmware: which handlers make a step, and how long its loops last.

Object code does not say how often a loop is passed. A TOML file named after the firmware says it, loop
by loop, with the reason; a loop found on the way and not named there is refused.
"""

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firmware_under_test.targets.counted import counted_jumps
from firmware_under_test.targets.errors import TargetError
from firmware_under_test.targets.image import Image
from firmware_under_test.targets.paths import Bound, BoundOf

TICK_CYCLES = 8
"""drive_port.h: a tick is 8 CPU cycles."""


@dataclass(frozen=True, slots=True)
class Loop:
    """A loop by its source line, and its bound.

    As many jumps back as passes are counted, whether or not the test stands at the end, which saves one.
    `passes_in_short_step` is given where it is less in the drive's shortest steps. A loop that waits
    for a moment lasts `waits_ticks` and the rest of one pass.
    """

    file: str
    line: str
    passes: int
    passes_in_short_step: int
    waits_ticks: int


@dataclass(frozen=True)
class Steps:
    """The functions that make a step, and the bounds of the loops in handlers.

    Once a step `crossing` finds the crossing and `compare` runs when the step is due; one of the
    two calls `commutation`. `also` are handlers that run in a step besides. `never` are functions
    that are not called in the drive's shortest steps, `never_why` says why not.
    """

    path: Path
    crossing: str
    compare: str
    commutation: str
    also: tuple[str, ...]
    never: tuple[str, ...]
    never_why: str
    loops: tuple[Loop, ...]

    def bounds(self, texts: dict[str, list[str]], *, short_step: bool) -> BoundOf:
        """Bounds of loops by the source lines (`texts`: lines of each file) of their jumps back."""

        def bound_of(image: Image, head: int, back: tuple[int, ...]) -> Bound:
            if (jumps := counted_jumps(image, head, back)) is not None:
                return Bound(jumps)
            for address in (*back, head):
                file, _, line = image.place(address).partition(":")
                if file not in texts or not line.isdigit():
                    continue
                text = texts[file][int(line) - 1].strip()
                for loop in self.loops:
                    if loop.file == file and loop.line == text:
                        passes = loop.passes_in_short_step if short_step else loop.passes
                        return Bound(passes, loop.waits_ticks * TICK_CYCLES)
            places = ", ".join(dict.fromkeys(image.place(address) for address in (*back, head)))
            raise TargetError(
                f"{places}: a loop without a known bound, in a handler; write it into {self.path} as "
                "[[loop]] with file, line (the text of its for or while), passes and why"
            )

        return bound_of


def read_steps(path: Path, texts: dict[str, list[str]]) -> Steps:
    """Read the file. Raises TargetError for a mistake, and for a loop that the sources do not have."""
    try:
        document = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise TargetError(
            f"{path} is missing; it names the handlers of a step and bounds the loops of the firmware"
        ) from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise TargetError(f"{path}: {problem}; correct the file") from None
    step = document.get("step", {})
    names = [_text(path, step, key, "[step]") for key in ("crossing", "compare", "commutation")]
    also, never = (_names(path, step, key) for key in ("also", "never"))
    whole = "\n".join(line for lines in texts.values() for line in lines)
    for name in (*names, *also, *never):
        if not re.search(rf"\b{re.escape(name)}\s*\(", whole):
            raise TargetError(
                f"{path}: [step] names {name}, which the firmware has not; follow its latest text"
            )
    why = _text(path, step, "never_why", "[step] with never") if never else ""
    loops = document.get("loop", [])
    if not isinstance(loops, list):
        raise TargetError(f"{path}: write [[loop]], one table for each loop")
    return Steps(
        path=path,
        crossing=names[0],
        compare=names[1],
        commutation=names[2],
        also=also,
        never=never,
        never_why=why,
        loops=tuple(_loop(path, loop, texts) for loop in loops),
    )


def _names(path: Path, step: dict[str, Any], key: str) -> tuple[str, ...]:
    names = step.get(key, [])
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise TargetError(f"{path}: [step] {key} = {names!r} is no list of functions")
    return tuple(names)


def _text(path: Path, table: Any, key: str, where: str) -> str:
    value = table.get(key) if isinstance(table, dict) else None
    if not isinstance(value, str) or not value.strip():
        raise TargetError(f"{path}: {where} needs {key}, a text; it is {value!r}")
    return value.strip()


def _loop(path: Path, table: Any, texts: dict[str, list[str]]) -> Loop:
    file, line = (_text(path, table, key, "[[loop]]") for key in ("file", "line"))
    where = f"[[loop]] {file}, {line!r}"
    _text(path, table, "why", where)
    if line not in [text.strip() for text in texts.get(file, [])]:
        raise TargetError(
            f"{path}: {where} is no line of the firmware; follow its latest text, or take it out"
        )
    passes = _count(path, table, "passes", where, 1)
    least = _count(path, table, "passes_in_short_step", where, passes)
    return Loop(file, line, passes, least, _count(path, table, "waits_ticks", where, 0))


def _count(path: Path, table: dict[str, Any], key: str, where: str, default: int) -> int:
    value = table.get(key, default)
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= 65535:
        raise TargetError(f"{path}: {where} has {key} = {value!r}; give a whole number from 0 to 65535")
    return value
