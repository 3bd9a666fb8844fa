"""Blocks of a host image: from each hook of the compiler to the next, and the source lines in them.

In code that is not optimised a line stands once in its function, in one block or in several, and blocks
lie in the order of the source: the addresses between two hooks are one block.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from elftools.elf.elffile import ELFFile

from dryspin.build.lines import LineTable
from dryspin.errors import BuildError
from dryspin.target.program import symbols_of

HOOK = "__sanitizer_cov_trace_pc"

CALL = b"\xe8"
CALL_BYTES = 5
"""x86: E8 and the distance to the target from the next instruction, four bytes, low first."""


@dataclass(frozen=True)
class Block:
    """`pc`: return address of its hook, an offset into the library. `lines`: bytes of code of each in it."""

    pc: int
    function: int
    lines: Mapping[str, int]


def host_blocks(image: Path) -> list[Block]:
    """All blocks of the firmware in the library at `image`, by address. BuildError where it has none."""
    with image.open("rb") as stream:
        elf = ELFFile(stream)
        section = elf.get_section_by_name(".text")
        code, base = (section.data(), int(section["sh_addr"])) if section is not None else (b"", 0)
        spans: dict[int, int] = {}
        hook = -1
        for symbol in symbols_of(elf):
            if symbol["st_info"]["type"] == "STT_FUNC" and symbol["st_size"]:
                spans[int(symbol["st_value"])] = int(symbol["st_size"])
            if symbol.name == HOOK:
                hook = int(symbol["st_value"])
    calls = _calls(code, base, hook)
    if hook < 0 or not calls:
        raise BuildError(
            f"{image}: the firmware has no hooks to charge its blocks by; build it with gcc or clang"
        )
    table = LineTable(image)
    found = []
    for start, size in sorted(spans.items()):
        first, last = bisect_left(calls, start), bisect_right(calls, start + size - 1)
        here = calls[first:last]
        for k, call in enumerate(here):
            # what a function does before its first hook belongs to its first block
            begin = call + CALL_BYTES
            stop = here[k + 1] if k + 1 < len(here) else start + size
            addresses = [*(range(start, call) if k == 0 else ()), *range(begin, stop)]
            lines: dict[str, int] = {}
            for address in addresses:
                if line := table.line_of(address + 1):
                    lines[line] = lines.get(line, 0) + 1
            found.append(Block(begin, start, lines))
    return found


def _calls(code: bytes, base: int, target: int) -> list[int]:
    """Addresses of all calls of `target`."""
    found = []
    at = code.find(CALL)
    while 0 <= at <= len(code) - CALL_BYTES:
        distance = int.from_bytes(code[at + 1 : at + CALL_BYTES], "little", signed=True)
        if base + at + CALL_BYTES + distance == target:
            found.append(base + at)
        at = code.find(CALL, at + 1)
    return found
