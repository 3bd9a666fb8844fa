"""Cycles of the part charged to the host's code: what a line costs there, shared among its stretches here.

A line that stands in several stretches (the three parts of a `for`, both sides of `&&`) costs each of them
the share of its code that it has on the host. A line that left code on the part only is charged with the
nearest line above it in its function, or below where there is none.
"""

import json
import tempfile
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryspin.build import Image
from dryspin.build.cache import cached, digest_of
from dryspin.build.compiling import macros_and_folders
from dryspin.build.sources import FirmwareText
from dryspin.drive import Drive
from dryspin.errors import TargetError
from dryspin.target.cycles import LineCycles, line_cycles
from dryspin.target.program import FLAGS, LINKED, PARTS, Owner, link_for_part, read_code, toolchain_version
from dryspin.target.sources import SKETCH_FOLDER
from dryspin.target.stretches import Stretch, host_stretches

UNITS = 16
"""Of a cycle: shares are no whole cycles, and the core carries the rest."""

JUMP_BYTES = (2, 5)
"""x86, `jmp`: EB and a distance of one byte, E9 and one of four."""

VERSION = "3"
"""Counts up when the same program is charged otherwise."""

_PUSH, _POP, _CALL, _IN, _OUT, _CLEAR = 2, 2, 4, 1, 1, 1
_SAVED = 14
"""r0, r1, r18 to r27, r30, r31: what a call may change (calling convention of the part's compiler)."""

VECTOR_IN_CYCLES = _SAVED * _PUSH + _IN + _PUSH + _CLEAR + _CALL
"""Of the routine behind a vector, before the handler: registers and SREG saved, r1 cleared, the call."""

VECTOR_OUT_CYCLES = _POP + _OUT + _SAVED * _POP
"""After the handler; its `reti` is what a return from a handler costs anyway."""


@dataclass(frozen=True)
class CodeCosts:
    """What the code of one image costs on the part. `digest` tells it apart; `compiler` is the part's.

    pcs: return addresses of hooks and port calls, rising; cycles: of the stretch behind each, at factor 1.
    assumed: places whose loops the code gives no count for, see `cycles.ASSUMED_PASSES`.
    """

    pcs: NDArray[np.int64]
    cycles: NDArray[np.float64]
    assumed: tuple[str, ...]
    digest: str
    compiler: str

    @cached_property
    def first(self) -> int:
        """Offset into the library to which the first row of `table` belongs."""
        return int(self.pcs[0])

    def table(self, factor: float) -> NDArray[np.uint32]:
        """Sixteenths of a cycle by offset from `first`, times `factor`; 0 where no stretch begins."""
        found = np.zeros(int(self.pcs[-1]) - self.first + 1, np.uint32)
        found[self.pcs - self.first] = np.floor(self.cycles * (UNITS * factor) + 0.5).astype(np.uint32)
        return found


def code_costs(drive: Drive, image: Image) -> CodeCosts:
    """Compile what `image` was built from for the drive's part, and charge its code.

    Cached by content. Raises TargetError where the part's compiler is missing or objects.
    """
    text = image.text
    if text is None:
        raise TargetError(f"{image.path}: the sources of this image are not at hand; build it anew")
    compiler = toolchain_version()
    part, at_registers = PARTS[drive.controller.part], drive.pins is not None
    options = (part, *FLAGS, *LINKED, *macros_and_folders(drive))
    digest = digest_of((VERSION, compiler, " ".join(options), image.digest))

    def make(folder: Path) -> None:
        with tempfile.TemporaryDirectory(prefix="part-", dir=folder) as place:
            lines = line_cycles(read_code(link_for_part(drive, text, Path(place)), at_registers))
        stretches = host_stretches(image.path, at_registers)
        if at_registers:
            stretches = [replace(each, lines=_of_firmware(each.lines, text)) for each in stretches]
        cycles = charged(stretches, lines)
        rows = np.array([(stretch.pc, each) for stretch, each in zip(stretches, cycles, strict=True)], _ROW)
        np.save(folder / "stretches.npy", rows[np.argsort(rows["pc"])])
        (folder / "told.json").write_text(json.dumps({"assumed": lines.assumed}), encoding="utf-8")

    folder = cached("costs", digest, make)
    rows = np.load(folder / "stretches.npy")
    told: dict[str, Any] = json.loads((folder / "told.json").read_text(encoding="utf-8"))
    return CodeCosts(
        np.ascontiguousarray(rows["pc"]),
        np.ascontiguousarray(rows["cycles"]),
        tuple(told["assumed"]),
        digest,
        compiler,
    )


def _of_firmware(lines: Mapping[str, int], text: FirmwareText) -> dict[str, int]:
    """Lines of its own and of the functions of sketches: what a header of the part comes to is no line's.

    Its accesses the rig charges, and its waits; the rest of it is not charged.
    """
    own = {*text.files, "sketch.h"}
    return {
        line: size
        for line, size in lines.items()
        if _parted(line)[0] in own or line.startswith(f"{SKETCH_FOLDER}/")
    }


_ROW = np.dtype([("pc", "<i8"), ("cycles", "<f8")])


def charged(stretches: Sequence[Stretch], lines: LineCycles) -> list[float]:
    """Cycles of each stretch; they are given by address.

    What the part does before a loop is charged at the end of the block in which its line begins: behind the
    calls of the port and the accesses that stand before the loop. The first line of a loop is shared among
    its stretches in the loop.
    """
    seen = {line for stretch in stretches for line in stretch.lines}
    cost, entering = _moved(lines.of_line, lines.owners, seen), _moved(lines.entering, lines.owners, seen)
    places: dict[tuple[int, str], list[Stretch]] = defaultdict(list)
    blocks: dict[int, list[Stretch]] = defaultdict(list)
    for stretch in stretches:
        blocks[stretch.block].append(stretch)
        for line in stretch.lines:
            places[stretch.function, line].append(stretch)
    cycles: dict[int, float] = defaultdict(float)
    for (_, line), passed in places.items():
        block = blocks[passed[0].block]
        cycles[block[-1].pc] += entering.get(line, 0.0)
        if line in lines.heads and _enters(block, line):
            passed = [stretch for stretch in passed if stretch not in block] or passed
        whole = sum(stretch.lines[line] for stretch in passed)
        for stretch in passed:
            cycles[stretch.pc] += cost.get(line, 0.0) * stretch.lines[line] / whole
    return [cycles[stretch.pc] for stretch in stretches]


def _enters(block: Sequence[Stretch], line: str) -> bool:
    """Whether the block in which the first line of a loop begins stands before the loop, or is in it.

    Code that is not optimised comes to a loop with the beginning of a `for` or, gcc's, a jump to the
    condition, alone or behind what stands above. What begins with the loop begins a block.
    """
    file, number = _parted(line)
    found = {each for stretch in block for each in stretch.lines}
    above = any(_parted(each)[0] == file and _parted(each)[1] < number for each in found)
    return above or sum(stretch.lines.get(line, 0) for stretch in block) in JUMP_BYTES


def _moved(cycles: Mapping[str, float], owners: Mapping[str, Owner], seen: set[str]) -> dict[str, float]:
    """Costs by lines of the host: those that it lacks go to a neighbour of their function."""
    by_file: dict[str, list[int]] = defaultdict(list)
    for line in seen:
        file, number = _parted(line)
        by_file[file].append(number)
    for numbers in by_file.values():
        numbers.sort()
    found: dict[str, float] = defaultdict(float)
    for line in sorted(cycles):
        file, number = _parted(line)
        numbers = by_file.get(file, [])
        if not numbers:
            continue  # of a function that nothing on the host calls
        if line not in seen:
            k = bisect_right(numbers, number) - 1
            above = k >= 0 and numbers[k] >= owners[line][1]
            number = numbers[k] if above or k + 1 == len(numbers) else numbers[k + 1]
        found[f"{file}:{number}"] += cycles[line]
    return found


def _parted(line: str) -> tuple[str, int]:
    file, _, number = line.rpartition(":")
    return file, int(number)
