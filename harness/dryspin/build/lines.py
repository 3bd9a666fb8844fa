"""Program counters to source lines and functions, from the image's DWARF and symbol table."""

import re
import subprocess
from bisect import bisect_right
from collections.abc import Sequence
from functools import cached_property
from pathlib import Path, PurePosixPath

from elftools.elf.elffile import ELFFile
from elftools.elf.sections import SymbolTableSection

from dryspin.registers import vector_names

MAINS = ("fw_main", "dryspin_program")
"""What main() is called in an image, behind the seam and at register level."""


_HANDLER = re.compile(r"\b__vector_\d+\b")


class LineTable:
    """Lines and functions of one image. Addresses are offsets from the library's first byte.

    besides: a folder beside the firmware's, whose lines count, too, with its name in front.
    """

    def __init__(self, path: Path, besides: str = "") -> None:
        self._path, self._besides = path, besides

    def line_of(self, pc: int) -> str:
        """ "file.c:88" of the instruction before `pc` (a return address), or "" outside the firmware."""
        addresses, places = self._rows
        k = bisect_right(addresses, pc - 1) - 1
        return places[k] if k >= 0 else ""

    def function_of(self, pc: int) -> str:
        """Function that holds the instruction before `pc`, or ""."""
        addresses, names = self._functions
        k = bisect_right(addresses, pc - 1) - 1
        return names[k] if k >= 0 else ""

    @cached_property
    def _rows(self) -> tuple[list[int], list[str]]:
        rows: list[tuple[int, str]] = []
        with self._path.open("rb") as stream:
            dwarf = ELFFile(stream).get_dwarf_info()
            for unit in dwarf.iter_CUs():
                program = dwarf.line_program_for_CU(unit)
                top = unit.get_top_DIE().attributes.get("DW_AT_comp_dir")
                last = "" if top is None else PurePosixPath(top.value.decode()).name
                if program is None or last not in ("src", self._besides or "src"):
                    continue
                front = "" if last == "src" else f"{last}/"
                first = 0 if program["version"] >= 5 else 1
                files = [entry.name.decode() for entry in program["file_entry"]]
                folders = [folder.decode() for folder in program["include_directory"]]
                for entry in program.get_entries():
                    state = entry.state
                    if state is None or (state.line == 0 and not state.end_sequence):
                        continue  # line 0: of no line in particular, as good as the one before
                    if state.end_sequence:
                        rows.append((state.address, ""))
                        continue
                    index = state.file - first
                    name = files[index]
                    folder_index = program["file_entry"][index].dir_index
                    folder = folders[folder_index - first] if folder_index >= first and folders else ""
                    if folder and not folder.startswith("/"):
                        name = str(PurePosixPath(folder) / name)
                    rows.append((state.address, f"{front}{name}:{state.line}"))
        # A later row of the same address replaces the earlier, and an end gives way to what begins there.
        rows.sort(key=lambda row: (row[0], row[1] != ""))
        return [row[0] for row in rows], [row[1] for row in rows]

    @cached_property
    def _functions(self) -> tuple[list[int], list[str]]:
        found = []
        with self._path.open("rb") as stream:
            table = ELFFile(stream).get_section_by_name(".symtab")
            for symbol in table.iter_symbols() if isinstance(table, SymbolTableSection) else ():
                if symbol["st_info"]["type"] == "STT_FUNC" and symbol["st_value"]:
                    found.append((symbol["st_value"], symbol.name))
        found.sort()
        return [address for address, _ in found], spoken([name for _, name in found])


def spoken(symbols: Sequence[str]) -> list[str]:
    """Symbols as sources name them: main, handlers by their vectors, C++ without types."""
    mangled = sorted({name for name in symbols if name.startswith("_Z")})
    plain = dict(zip(mangled, _demangled(mangled), strict=True))
    vectors = vector_names()
    for name, text in plain.items():
        plain[name] = _HANDLER.sub(lambda found: vectors.get(found[0], found[0]), text)
    return ["main" if name in MAINS else vectors.get(name) or plain.get(name, name) for name in symbols]


def _demangled(names: Sequence[str]) -> Sequence[str]:
    """Names without types; as they are where binutils cannot be asked."""
    if not names:
        return names
    try:
        done = subprocess.run(
            ["c++filt", "-p"], input="\n".join(names), capture_output=True, text=True, check=False
        )
    except OSError:
        return names
    lines = done.stdout.splitlines()
    if len(lines) != len(names):
        return names
    return [line.removeprefix("(anonymous namespace)::") for line in lines]
