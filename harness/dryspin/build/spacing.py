"""Room between the firmware's variables, so that a step beyond one of them lands on none.

Of the checked build: the objects are joined by a linker script that names every section of variables and
leaves a gap behind each. An access that is not wholly inside one variable is then one out of bounds.
"""

from collections.abc import Sequence
from pathlib import Path

from elftools.elf.constants import SH_FLAGS
from elftools.elf.elffile import ELFFile

GAP_BYTES = 32
"""Behind each variable: a copy that is some elements too long shows; a wild index may miss it."""

NO_RESET = ".noinit"

_COMPILERS_OWN = ("ubsan", "L__unnamed", "GLOBAL__")
"""Parts of section names of the sanitizer's data, which no firmware code touches."""


def spacing_script(objects: Sequence[Path]) -> str:
    """A script for `ld -r`: .data, .bss and .noinit of the objects, with gaps; all else as it is."""
    rows: dict[str, list[str]] = {".data": [], ".bss": [], NO_RESET: []}
    for path in objects:
        with path.open("rb") as stream:
            for section in ELFFile(stream).iter_sections():
                flags = section["sh_flags"]
                if not flags & SH_FLAGS.SHF_WRITE or not flags & SH_FLAGS.SHF_ALLOC:
                    continue
                output = _output_of(section.name, section["sh_type"])
                if output is None:
                    continue
                gap = 0 if any(part in section.name for part in _COMPILERS_OWN) else GAP_BYTES
                rows[output].append(f'"{path}"("{section.name}") . = . + {gap};')
    body = "\n".join(f"{name} : {{\n{chr(10).join(lines)}\n}}" for name, lines in rows.items() if lines)
    return f"SECTIONS\n{{\n{body}\n}}\n"


def _output_of(name: str, kind: str) -> str | None:
    if name.startswith(NO_RESET):
        return NO_RESET
    if kind == "SHT_NOBITS" and name.startswith(".bss"):
        return ".bss"
    if kind == "SHT_PROGBITS" and name.startswith(".data") and not name.startswith(".data.rel.ro"):
        return ".data"
    return None
