"""The deepest stack: the longest chain of calls from main, and one handler on top of it.

Handlers run with interrupts off, so none lands on another. Frames are the compiler's
(-fstack-usage: saved registers, locals and the return address); for functions of the compiler's
library, which it has none for, pushes are counted.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from firmware_under_test.targets.errors import TargetError
from firmware_under_test.targets.image import Image

RETURN_ADDRESS_BYTES = 2
STACK_POINTER = {"0x3d", "0x3e"}
"""I/O addresses of SPL and SPH."""

Frames = Mapping[tuple[str, str], int]
"""Source ("bridge.c") and function to bytes."""


@dataclass(frozen=True, slots=True)
class Chain:
    """Calls one inside the other, and the bytes of stack they take together."""

    bytes: int
    functions: tuple[str, ...]


def read_frames(folder: Path) -> dict[tuple[str, str], int]:
    """Frames from the .su files that the compiler left in `folder` and below.

    Copies of one function that the compiler has made fit for some of its callers (name.suffix) have the
    largest frame among them.
    """
    frames: dict[tuple[str, str], int] = {}
    for file in sorted(folder.rglob("*.su")):
        for line in file.read_text(encoding="utf-8").splitlines():
            place, size, kind = line.split("\t")
            source, function = Path(place.split(":")[0]).name, place.split(":")[-1].partition(".")[0]
            if kind != "static":
                raise TargetError(f"{place}: its frame is {kind}, of no fixed size; use arrays of fixed size")
            frames[source, function] = max(int(size), frames.get((source, function), 0))
    return frames


class Stack:
    """Deepest chains of an image's functions."""

    def __init__(self, image: Image, frames: Frames) -> None:
        self._image = image
        self._frames = frames
        self._known: dict[int, Chain] = {}
        self._open: list[int] = []

    def deepest(self, function: int) -> Chain:
        """The deepest chain that begins with `function`. Raises TargetError for recursion."""
        if function in self._known:
            return self._known[function]
        name = self._image.name(function)
        if function in self._open:
            names = " -> ".join(self._image.name(f) for f in (*self._open, function))
            raise TargetError(f"{names}: recursion has no bound; write it as a loop")
        self._open.append(function)
        below = max(
            (self.deepest(callee) for callee in sorted(self._image.callees(function))),
            key=lambda chain: chain.bytes,
            default=Chain(0, ()),
        )
        self._open.pop()
        chain = Chain(self._frame(function) + below.bytes, (name, *below.functions))
        self._known[function] = chain
        return chain

    def _frame(self, function: int) -> int:
        name = self._image.name(function)
        # of a program compiled as a whole no object is told, and the largest of that name counts
        file = self._image.objects.get(function)
        known = [
            size for (of, what), size in self._frames.items() if what == name and (not file or of == file)
        ]
        if known:
            return max(known)
        pushes = 0
        for address in self._image.body(function):
            instruction = self._image.instructions[address]
            if instruction.name == "out" and instruction.operands[0] in STACK_POINTER:
                raise TargetError(
                    f"{name} moves the stack pointer, and the compiler has left no frame size for it"
                )
            pushes += {"push": 1, "rcall": 2 * instruction.allocates}.get(instruction.name, 0)
        return pushes + RETURN_ADDRESS_BYTES
