"""Stretches of code in a host image, each from a hook or a call of the port to the next, and their lines.

In code that is not optimised a line stands once in its function, in one basic block or in several, and blocks
lie in the order of the source: the addresses between two hooks are one block. A call of the port divides
it, so that what stands before the call has passed when the port acts. At register level an access to memory
does, as it may be one to a register, and an instruction that has become a call.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Set
from dataclasses import dataclass
from pathlib import Path

from elftools.elf.elffile import ELFFile

from dryspin.build.lines import LineTable
from dryspin.build.symbols import seam
from dryspin.errors import BuildError
from dryspin.registers.translate import CALLS
from dryspin.target.program import symbols_of
from dryspin.target.sources import SKETCH_FOLDER

HOOK = "__sanitizer_cov_trace_pc"
REGISTER_HOOK = "dryspin_block"
ACCESS = "__tsan_"
INSTRUCTIONS = frozenset({"dryspin_delay", *(f"dryspin_{name}" for name in CALLS)})

CALL = b"\xe8"
CALL_BYTES = 5
"""x86: E8 and the distance to the target from the next instruction, four bytes, low first."""


@dataclass(frozen=True)
class Stretch:
    """`pc`: return address of the hook, port call or access that it follows, an offset into the library.

    function: address of the one it stands in; block: `pc` of the first stretch of its block, which the others
    of it follow without a branch; lines: bytes of code of each line in it.
    """

    pc: int
    function: int
    block: int
    lines: Mapping[str, int]


def host_stretches(image: Path, at_registers: bool = False) -> list[Stretch]:
    """All stretches of the firmware in the library at `image`, by address. BuildError where it has none.

    at_registers: it is written for them, and has the hook of such builds.
    """
    wanted = REGISTER_HOOK if at_registers else HOOK
    with image.open("rb") as stream:
        elf = ELFFile(stream)
        section = elf.get_section_by_name(".text")
        code, base = (section.data(), int(section["sh_addr"])) if section is not None else (b"", 0)
        spans: dict[int, int] = {}
        hook, port = -1, set()
        names = INSTRUCTIONS if at_registers else seam()[0]
        for symbol in symbols_of(elf):
            if symbol["st_info"]["type"] == "STT_FUNC" and symbol["st_size"]:
                spans[int(symbol["st_value"])] = int(symbol["st_size"])
            if symbol.name == wanted:
                hook = int(symbol["st_value"])
            elif symbol.name in names or (at_registers and symbol.name.startswith(ACCESS)):
                port.add(int(symbol["st_value"]))
    calls = _calls(code, base, {hook, *port})
    if hook not in calls.values():
        raise BuildError(
            f"{image}: the firmware has no hooks to charge its blocks by; build it with gcc or clang"
        )
    table = LineTable(image, SKETCH_FOLDER)
    found = []
    order = sorted(calls)
    for start, size in sorted(spans.items()):
        here = order[bisect_left(order, start) : bisect_right(order, start + size - 1)]
        if hook not in {calls[call] for call in here}:
            continue  # no code of the firmware's
        block = here[0] + CALL_BYTES
        for k, call in enumerate(here):
            # what a function does before its first hook belongs to what follows that
            begin = call + CALL_BYTES
            if calls[call] == hook:
                block = begin
            stop = here[k + 1] if k + 1 < len(here) else start + size
            addresses = [*(range(start, call) if k == 0 else ()), *range(begin, stop)]
            lines: dict[str, int] = {}
            for address in addresses:
                if line := table.line_of(address + 1):
                    lines[line] = lines.get(line, 0) + 1
            found.append(Stretch(begin, start, block, lines))
    return found


def _calls(code: bytes, base: int, targets: Set[int]) -> dict[int, int]:
    """Calls of any of the targets: address to target."""
    found = {}
    at = code.find(CALL)
    while 0 <= at <= len(code) - CALL_BYTES:
        distance = int.from_bytes(code[at + 1 : at + CALL_BYTES], "little", signed=True)
        target = base + at + CALL_BYTES + distance
        if target in targets:
            found[base + at] = target
        at = code.find(CALL, at + 1)
    return found
