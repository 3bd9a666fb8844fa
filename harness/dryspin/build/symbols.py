"""What the firmware's objects define and need, held against the seam."""

import re
from functools import cache
from pathlib import Path

from elftools.elf.constants import SH_FLAGS
from elftools.elf.elffile import ELFFile
from elftools.elf.relocation import RelocationSection
from elftools.elf.sections import SymbolTableSection

from dryspin.build.library import PORT
from dryspin.errors import BuildError

_FROM_COMPILER = ("memcpy", "memset", "memmove", "memcmp", "_GLOBAL_OFFSET_TABLE_", "__stack_chk_fail")
"""What a compiler may call on its own; harmless, since none of it keeps state between calls."""

MAIN = "fw_main"
"""What flags.FIRMWARE makes of main."""

ONLY_IF_CALLED = {"on_over_current": "port_over_current_interrupt"}
"""Handlers that may be left out by a firmware that never calls this to turn them on."""

CALLS_SOURCE = "dryspin_calls.c"
"""Beside a firmware whose functions are called one by one: it calls everything, and turns nothing on."""

_HOOKS = ("__sanitizer_cov_trace_pc", "__ubsan_handle_", "__narrow_handle_", "__tsan_")
"""What instrumented code calls: the core's own hooks."""


_KEEPS = {
    name: f"{what} outlives a run, and the rig begins every run anew; {instead}"
    for names, what, instead in (
        (("malloc", "calloc", "realloc", "free"), "the heap", "use variables of fixed size"),
        (("rand", "srand", "random"), "the random generator's state", "keep a state of your own"),
        (("time", "clock", "gettimeofday"), "the host's clock", "use port_ticks()"),
        (("fopen", "printf", "puts", "putchar", "fprintf"), "a file", "use port_mark()"),
    )
    for name in names
}
"""Functions of the C library that firmware is tempted to call, and what to do instead."""


def _source_of(path: Path) -> str:
    return path.stem.replace("__", "/") + ".c"


def line_of_use(path: Path, name: str) -> int:
    """Line of an object's source that first refers to symbol `name`; 0 where it cannot be told."""
    with path.open("rb") as stream:
        elf = ELFFile(stream)
        table = elf.get_section_by_name(".symtab")
        wanted = {
            (section["sh_info"], relocation["r_offset"])
            for section in elf.iter_sections("SHT_RELA")
            if isinstance(section, RelocationSection)
            for relocation in section.iter_relocations()
            if isinstance(table, SymbolTableSection)
            and table.get_symbol(relocation["r_info_sym"]).name == name
            and elf.get_section(section["sh_info"])["sh_flags"] & SH_FLAGS.SHF_EXECINSTR
        }
        if not wanted:
            return 0
        first = min(offset for _, offset in wanted)
        rows: list[tuple[int, int]] = []
        dwarf = elf.get_dwarf_info()
        for unit in dwarf.iter_CUs():
            program = dwarf.line_program_for_CU(unit)
            for entry in program.get_entries() if program else ():
                if entry.state is not None and not entry.state.end_sequence and entry.state.line:
                    rows.append((entry.state.address, entry.state.line))
    before = [line for address, line in sorted(rows) if address <= first]
    return before[-1] if before else 0


@cache
def seam() -> tuple[frozenset[str], frozenset[str]]:
    """Port functions the firmware may call, and functions it must define, read from drive_port.h."""
    header = (PORT / "drive_port.h").read_text(encoding="utf-8")
    text = re.sub(r"/\*.*?\*/", "", header, flags=re.DOTALL)
    names = re.findall(r"^\w[\w ]*?(\w+)\([^)]*\);", text, flags=re.MULTILINE)
    calls = frozenset(name for name in names if name.startswith("port_"))
    return calls, frozenset(names) - calls


def check_symbols(objects: list[Path], firmware_dir: Path) -> None:
    """Raise BuildError unless main and all handlers are defined and only the seam is called."""
    defined: dict[str, tuple[str, str]] = {}
    needed: dict[str, str] = {}
    for path in objects:
        with path.open("rb") as stream:
            table = ELFFile(stream).get_section_by_name(".symtab")
            for symbol in table.iter_symbols() if isinstance(table, SymbolTableSection) else ():
                if symbol["st_info"]["bind"] not in ("STB_GLOBAL", "STB_WEAK") or not symbol.name:
                    continue
                source, bind = _source_of(path), symbol["st_info"]["bind"]
                if symbol["st_shndx"] == "SHN_UNDEF":
                    needed.setdefault(symbol.name, source)
                    continue
                other, other_bind = defined.setdefault(symbol.name, (source, bind))
                if other != source and bind == other_bind == "STB_GLOBAL":
                    raise BuildError(
                        f"{firmware_dir}: {symbol.name} is defined in {other} and in {source}; "
                        "rename one, or make it static where only its file uses it"
                    )
                if bind == "STB_GLOBAL":
                    defined[symbol.name] = source, bind
    calls, required = seam()
    turned_on = {MAIN, *(name for name, source in needed.items() if source != CALLS_SOURCE)}
    missing = sorted(
        name
        for name in required
        if {"main": MAIN}.get(name, name) not in defined and ONLY_IF_CALLED.get(name, MAIN) in turned_on
    )
    if missing == ["main"]:
        raise BuildError(f"{firmware_dir}: the firmware has no main(); [firmware] sources must include it")
    if missing:
        raise BuildError(
            f"{firmware_dir}: the firmware does not define {', '.join(missing)}; drive_port.h asks for "
            "main() and every handler, an empty one where the interrupt is never turned on"
        )
    for name, source in sorted(needed.items()):
        if (
            name not in defined
            and name not in calls
            and name not in _FROM_COMPILER
            and not name.startswith(_HOOKS)
        ):
            path = next(path for path in objects if _source_of(path) == source)
            line = line_of_use(path, name)
            raise BuildError(
                f"{firmware_dir / source}{f':{line}' if line else ''}: calls {name}(), which neither the "
                f"firmware nor drive_port.h provides; {_KEEPS.get(name, 'define it, or go through the seam')}"
            )
