"""Where the control code gets to in a scenario, and which changes make a difference there.

A change in a block that a scenario never enters changes nothing in it, nor does one whose expression comes
out as before (telling.py); neither need be run. To see that, the firmware is built once more with a store at
the head of each block and beside each expression, into memory that no reset clears. A store takes no virtual
time, so everything else is as it was.
"""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import cffi

from dryspin.build import Image
from dryspin.build.workshop import Workshop
from dryspin.mutate.mutations import Mutation, Source, is_observable, parse_source, walk
from dryspin.mutate.telling import Insertion, insertions, with_insertions

Block = tuple[str, int]
"""A block by its file and the place of its opening brace in it."""

_ARRAY = "dryspin_reached"
_SOURCE = "dryspin_reached.c"


class Observation:
    """The firmware of a workshop, built so that blocks entered can be read. Raises BuildError.

    changes: those whose difference is to be seen as well; `told` are the ones of which it can be. A source
    that cannot be built so shows its blocks only.
    """

    def __init__(self, workshop: Workshop, place: Path, changes: Iterable[Mutation] = ()) -> None:
        sources = [parse_source(name, workshop.text.files[name]) for name in workshop.text.sources]
        self._blocks: list[Block] = [
            (source.name, node.start_byte)
            for source in sources
            for node in walk(source.tree.root_node)
            if node.type == "compound_statement" and is_observable(node)
        ]
        self._changes = list(changes)
        blocks = {block: k for k, block in enumerate(self._blocks)}
        numbers = {change: len(blocks) + k for k, change in enumerate(self._changes)}
        self._size = len(blocks) + len(numbers) + 1
        told: set[Mutation] = set()
        changed: dict[str, bytes] = {}
        for source in sources:
            heads = _heads(source, blocks)
            more, mine = insertions(source, numbers, _ARRAY)
            content = _observed(source, [*heads, *more])
            if mine and not _compiles(workshop, source.name, content, place):
                content, mine = _observed(source, heads), set()
            changed[source.name] = content
            told |= mine
        self.told = frozenset(told)
        array = (
            f"extern unsigned char {_ARRAY}[];\n"
            f'__attribute__((visibility("default"), section(".{_ARRAY}")))\n'
            f"unsigned char {_ARRAY}[{self._size}] = {{1}};\n"
        )
        self.image: Image = workshop.whole_image(changed | {_SOURCE: array.encode()}, place, (_ARRAY,))

    def forget(self) -> None:
        """As if nothing had been entered."""
        self._memory()[:] = bytes(self._size)

    def reached(self) -> frozenset[Block]:
        """Blocks entered since `forget`."""
        seen = bytes(self._memory())
        return frozenset(block for block, flag in zip(self._blocks, seen, strict=False) if flag)

    def different(self) -> frozenset[Mutation]:
        """Changes of `told` that would have made a difference since `forget`."""
        seen = bytes(self._memory())[len(self._blocks) :]
        return frozenset(change for change, flag in zip(self._changes, seen, strict=False) if flag)

    def _memory(self) -> Any:
        ffi = cffi.FFI()
        ffi.cdef(f"extern unsigned char {_ARRAY}[{self._size}];")
        self._library = ffi.dlopen(str(self.image.path))
        return ffi.buffer(getattr(self._library, _ARRAY))


def _heads(source: Source, numbers: Mapping[Block, int]) -> list[Insertion]:
    mine = ((start, number) for (name, start), number in numbers.items() if name == source.name)
    return [Insertion(start + 1, 0, f" {_ARRAY}[{number}] = 1;") for start, number in mine]


def _observed(source: Source, found: Iterable[Insertion]) -> bytes:
    return f"extern unsigned char {_ARRAY}[];\n".encode() + with_insertions(source.content, found)


def _compiles(workshop: Workshop, name: str, content: bytes, place: Path) -> bool:
    trial = place / f"trial-{len(list(place.glob('trial-*')))}"
    return workshop.machine_code(name, content, trial) is not None
