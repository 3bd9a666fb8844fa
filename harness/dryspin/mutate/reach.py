"""Which blocks of the control code a scenario gets to.

A change in a block that a scenario never enters changes nothing in it, so it need not be run. To see
that, the firmware is built once more with a store at the head of each block, into memory that no reset
clears. A store takes no virtual time, so everything else is as it was. (With block_cycles the same
holds: a store is no block of its own.)
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import cffi

from dryspin.build import Image
from dryspin.build.workshop import Workshop
from dryspin.mutate.mutations import Source, is_observable, parse_source, walk

Block = tuple[str, int]
"""A block by its file and the place of its opening brace in it."""

_ARRAY = "dryspin_reached"
_SOURCE = "dryspin_reached.c"


class Observation:
    """The firmware of a workshop, built so that blocks entered can be read. Raises BuildError."""

    def __init__(self, workshop: Workshop, place: Path) -> None:
        sources = [parse_source(name, workshop.text.files[name]) for name in workshop.text.sources]
        self._blocks: list[Block] = [
            (source.name, node.start_byte)
            for source in sources
            for node in walk(source.tree.root_node)
            if node.type == "compound_statement" and is_observable(node)
        ]
        numbers = {block: k for k, block in enumerate(self._blocks)}
        changed = {source.name: _observed(source, numbers) for source in sources}
        array = (
            f"extern unsigned char {_ARRAY}[];\n"
            f'__attribute__((visibility("default"), section(".{_ARRAY}")))\n'
            f"unsigned char {_ARRAY}[{len(numbers) + 1}] = {{1}};\n"
        )
        self.image: Image = workshop.whole_image(changed | {_SOURCE: array.encode()}, place, (_ARRAY,))
        self._size = len(numbers) + 1

    def forget(self) -> None:
        """As if nothing had been entered."""
        self._memory()[:] = bytes(self._size)

    def reached(self) -> frozenset[Block]:
        """Blocks entered since `forget`."""
        seen = bytes(self._memory())
        return frozenset(block for block, flag in zip(self._blocks, seen, strict=False) if flag)

    def _memory(self) -> Any:
        ffi = cffi.FFI()
        ffi.cdef(f"extern unsigned char {_ARRAY}[{self._size}];")
        self._library = ffi.dlopen(str(self.image.path))
        return ffi.buffer(getattr(self._library, _ARRAY))


def _observed(source: Source, numbers: Mapping[Block, int]) -> bytes:
    content = source.content
    places = sorted((start for name, start in numbers if name == source.name), reverse=True)
    for start in places:
        mark = f" {_ARRAY}[{numbers[source.name, start]}] = 1;".encode()
        content = content[: start + 1] + mark + content[start + 1 :]
    return f"extern unsigned char {_ARRAY}[];\n".encode() + content
