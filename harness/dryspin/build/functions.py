"""Which functions the firmware's sources define, and where, from the image's DWARF."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from elftools.elf.elffile import ELFFile


@dataclass(frozen=True, slots=True)
class Definition:
    """A function's place, such as "record.c", 46; `external`: other sources can call it."""

    file: str
    line: int
    external: bool

    @property
    def place(self) -> str:
        """ "record.c:46"."""
        return f"{self.file}:{self.line}"


def defined_functions(image: Path) -> dict[str, Definition]:
    """Functions by name, main as "main"; one that is external stands before a static namesake."""
    found: dict[str, Definition] = {}
    with image.open("rb") as stream:
        dwarf = ELFFile(stream).get_dwarf_info()
        for unit in dwarf.iter_CUs():
            top = unit.get_top_DIE()
            folder = top.attributes.get("DW_AT_comp_dir")
            # As for lines: the firmware's sources were laid out in a folder of that name.
            if folder is None or not folder.value.decode().endswith("/src"):
                continue
            for name, definition in _of_unit(top, dwarf.line_program_for_CU(unit)):
                if name not in found or definition.external:
                    found[name] = definition
    return found


def _of_unit(top: Any, lines: Any) -> Iterator[tuple[str, Definition]]:
    first = 0 if lines["version"] >= 5 else 1
    for entry in top.iter_children():
        marks = entry.attributes
        if entry.tag != "DW_TAG_subprogram" or "DW_AT_declaration" in marks or "DW_AT_name" not in marks:
            continue
        file = lines["file_entry"][marks["DW_AT_decl_file"].value - first]
        folder = (
            lines["include_directory"][file.dir_index - first].decode() if file.dir_index >= first else ""
        )
        name = file.name.decode()
        if folder and not folder.startswith("/"):
            name = str(PurePosixPath(folder) / name)
        shown = marks["DW_AT_name"].value.decode()
        definition = Definition(name, int(marks["DW_AT_decl_line"].value), "DW_AT_external" in marks)
        yield "main" if shown == "fw_main" else shown, definition
