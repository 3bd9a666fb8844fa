"""The firmware compiled and linked for the part, and read back: instructions, lines, who was inlined where.

Functions of the seam are empty here. Only the code around their calls counts: what a call of the seam itself
takes stands in drive_port.h. At register level what an access takes is left to the virtual part, which lets
it pass at its moment: accesses.py.
"""

import re
import shutil
import subprocess
from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from elftools.dwarf.ranges import BaseAddressEntry
from elftools.elf.elffile import ELFFile
from elftools.elf.sections import Symbol, SymbolTableSection

from dryspin.build.compiling import lay_out, object_name
from dryspin.build.lines import LineTable
from dryspin.build.register_level import needs_sketch
from dryspin.build.sources import FirmwareText
from dryspin.build.symbols import seam
from dryspin.drive import Drive
from dryspin.errors import TargetError
from dryspin.target.accesses import told_apart
from dryspin.target.instructions import Instruction, parse
from dryspin.target.sources import (
    CPP,
    SKETCH_FOLDER,
    SKETCH_SOURCES,
    given_to_part,
    language,
    lay_out_sketch,
    without_waits,
)

PARTS = {"mega168": "atmega168"}
"""The part's name in drive.toml and in its compiler's options."""

TOOLS = ("avr-gcc", "avr-objdump")
INSTALL = "apt-get install gcc-avr avr-libc binutils-avr"

FLAGS = (
    "-Os",  # as usual where flash is short
    "-gdwarf-4",
    "-ffunction-sections",
    "-fno-partial-inlining",  # else half a function is here and half there, and neither is one
    "-ffp-contract=off",
    "-w",  # dryspin lint tells the warnings
)

LINKED = ("-nostartfiles", "-Wl,-e,0", "-lm")

STUBS = "dryspin_seam.c"

TIMEOUT_S = 120

Owner = tuple[str, int, str]
"""A function by source file, line of its declaration, and name."""


@dataclass(frozen=True)
class Code:
    """A program of the part.

    lines: address of an instruction to "file.c:88", of the firmware's own code only. copies: address to the
    copy of a function that it belongs to (each place into which one was inlined is a copy). owners: copy to
    function. functions: addresses at which functions of the firmware begin; stubs: those of the seam.
    names: address of any function or label to its name.
    """

    instructions: Mapping[int, Instruction]
    lines: Mapping[int, str]
    copies: Mapping[int, int]
    owners: Mapping[int, Owner]
    functions: frozenset[int]
    stubs: frozenset[int]
    names: Mapping[int, str]
    apart: Mapping[int, int] = field(default_factory=dict)


def toolchain_version() -> str:
    """What the part's compiler says it is. Raises TargetError where a tool is missing."""
    for tool in TOOLS:
        if shutil.which(tool) is None:
            raise TargetError(
                f'[controller] code_cycles = "object code" needs {tool}, which is not installed: {INSTALL}; '
                'or write "flat"'
            )
    return _run([TOOLS[0], "--version"], Path.cwd()).splitlines()[0]


def link_for_part(drive: Drive, text: FirmwareText, folder: Path) -> Path:
    """Compile every source in the empty `folder` and link them; the program's path.

    Raises TargetError for what the part's compiler or linker refuses.
    """
    toolchain_version()
    stage = folder / "src"
    given = without_waits(given_to_part(drive, text))
    lay_out(given.files, stage)
    part = f"-mmcu={PARTS[drive.controller.part]}"
    options = [part, *FLAGS, *given.options]
    objects = [] if drive.pins is not None else [_stubs(folder, part)]

    def compile_one(name: str) -> Path:
        target = folder / object_name(name)
        _run([TOOLS[0], *options, *language(drive, name), "-c", name, "-o", str(target)], stage)
        return target

    with ThreadPoolExecutor(2) as pool:
        objects += pool.map(compile_one, given.sources)
    if drive.pins is not None and needs_sketch(text):
        sketch = lay_out_sketch(folder)
        for name in SKETCH_SOURCES:
            objects.append(folder / f"sketch__{object_name(name)}")
            _run([TOOLS[0], *options, *CPP, "-c", name, "-o", str(objects[-1])], sketch)
    elf = folder / "program.elf"
    _run([TOOLS[0], part, *LINKED, *map(str, objects), "-o", str(elf)], stage)
    return elf


def _stubs(folder: Path, part: str) -> Path:
    """The seam with nothing in it, compiled; no header: what is declared there with arguments is empty."""
    source, target = folder / "stubs" / STUBS, folder / object_name(STUBS)
    source.parent.mkdir()
    source.write_text("".join(f"void {name}(void) {{}}\n" for name in sorted(seam()[0])), encoding="utf-8")
    _run([TOOLS[0], part, "-Os", "-ffunction-sections", "-w", "-c", STUBS, "-o", str(target)], source.parent)
    return target


def read_code(path: Path, at_registers: bool = False) -> Code:
    """The program at `path`, as `link_for_part` has made it; at_registers: written for these."""
    instructions = parse(_run([TOOLS[1], "-d", "-j", ".text", str(path)], path.parent))
    table = LineTable(path, SKETCH_FOLDER)
    lines = {at: line for at in instructions if (line := table.line_of(at + 1))}
    names: dict[int, str] = {}
    functions: set[int] = set()
    with path.open("rb") as stream:
        elf = ELFFile(stream)
        code = elf.get_section_index(".text")
        for symbol in symbols_of(elf):
            kind, address = symbol["st_info"]["type"], int(symbol["st_value"])
            if symbol["st_shndx"] == code and symbol.name:
                if kind == "STT_FUNC":
                    names[address] = symbol.name
                    functions.add(address)
                else:
                    names.setdefault(address, symbol.name)
        copies, owners = _copies(elf.get_dwarf_info(), sorted(instructions))
    seam_names = seam()[0]
    stubs = {address for address in functions if names[address] in seam_names and address not in lines}
    own = {address for address in functions if address in lines}
    apart = told_apart(instructions, functions) if at_registers else {}
    return Code(instructions, lines, copies, owners, frozenset(own), frozenset(stubs), names, apart)


def symbols_of(elf: ELFFile) -> Iterator[Symbol]:
    """All symbols of a file; none where it was stripped."""
    table = elf.get_section_by_name(".symtab")
    return table.iter_symbols() if isinstance(table, SymbolTableSection) else iter(())


def _copies(dwarf: Any, addresses: Sequence[int]) -> tuple[dict[int, int], dict[int, Owner]]:
    """Which copy of which function each address belongs to: the innermost scope of the debug entries."""
    copies: dict[int, int] = {}
    owners: dict[int, Owner] = {}
    ranges = dwarf.range_lists()
    for unit in dwarf.iter_CUs():
        program = dwarf.line_program_for_CU(unit)
        files = [entry.name.decode() for entry in program["file_entry"]] if program else []
        base = unit.get_top_DIE().attributes.get("DW_AT_low_pc")
        # an entry stands before those inside it, so the innermost comes last
        for entry in unit.iter_DIEs():
            if entry.tag not in ("DW_TAG_subprogram", "DW_TAG_inlined_subroutine"):
                continue
            spans = _spans(entry, ranges, int(base.value) if base else 0)
            held = [
                at
                for low, high in spans
                for at in addresses[bisect_left(addresses, low) : bisect_left(addresses, high)]
            ]
            if held:
                owners[entry.offset] = _owner(entry, files)
                copies |= dict.fromkeys(held, entry.offset)
    return copies, owners


def _spans(entry: Any, ranges: Any, base: int) -> list[tuple[int, int]]:
    low, high = entry.attributes.get("DW_AT_low_pc"), entry.attributes.get("DW_AT_high_pc")
    if low is not None and high is not None:
        start = int(low.value)
        stop = int(high.value) if high.form == "DW_FORM_addr" else start + int(high.value)
        return [(start, stop)]
    listed = entry.attributes.get("DW_AT_ranges")
    if listed is None or ranges is None:
        return []
    found = []
    for each in ranges.get_range_list_at_offset(listed.value):
        if isinstance(each, BaseAddressEntry):
            base = int(each.base_address)
        else:
            found.append((base + int(each.begin_offset), base + int(each.end_offset)))
    return found


def _owner(entry: Any, files: Sequence[str]) -> Owner:
    for link in ("DW_AT_abstract_origin", "DW_AT_specification"):
        while link in entry.attributes:
            entry = entry.get_DIE_from_attribute(link)
    name, line = entry.attributes.get("DW_AT_name"), entry.attributes.get("DW_AT_decl_line")
    number = entry.attributes.get("DW_AT_decl_file")
    file = files[int(number.value) - 1] if number is not None and 0 < int(number.value) <= len(files) else ""
    return file, int(line.value) if line else 0, name.value.decode() if name else ""


_TOLD = re.compile(
    r"^(?:(?P<file>[^\s:]+):(?P<line>\d+):(?:\d+:)? )?(?:fatal )?error: (?P<text>.*)$", re.MULTILINE
)


def _run(command: list[str], where: Path) -> str:
    try:
        done = subprocess.run(
            command,
            cwd=where,
            capture_output=True,
            text=True,
            errors="replace",
            timeout=TIMEOUT_S,
            check=False,
        )
    except FileNotFoundError:
        raise TargetError(f"{command[0]} is not installed: {INSTALL}") from None
    except subprocess.TimeoutExpired:
        raise TargetError(f"{command[0]} did not end within {TIMEOUT_S} s on {command[-1]}") from None
    if done.returncode != 0:
        raise TargetError(_refusal(command[0], done.stderr))
    return done.stdout


def _refusal(tool: str, said: str) -> str:
    if found := _TOLD.search(said):
        place = f"{found['file']}:{found['line']}: " if found["file"] else ""
        return f"{place}{tool} refuses for the part what the host's compiler takes: {found['text']}"
    return f"{tool} failed: {(said.strip().splitlines() or ['no message'])[-1]}"
