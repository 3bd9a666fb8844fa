"""What the firmware's objects define and need, held against the seam."""

import re
from functools import cache
from pathlib import Path

from elftools.elf.elffile import ELFFile
from elftools.elf.sections import SymbolTableSection

from dryspin.build.library import PORT
from dryspin.errors import BuildError

_FROM_COMPILER = ("memcpy", "memset", "memmove", "memcmp", "_GLOBAL_OFFSET_TABLE_", "__stack_chk_fail")
"""What a compiler may call on its own; harmless, since none of it keeps state between calls."""

MAIN = "fw_main"
"""What flags.FIRMWARE makes of main."""

_HOOKS = ("__sanitizer_cov_trace_pc", "__ubsan_handle_", "__narrow_handle_", "__tsan_")
"""What instrumented code calls: the core's own hooks."""


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
                source, bind = path.stem.replace("__", "/") + ".c", symbol["st_info"]["bind"]
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
    missing = sorted(name for name in required if {"main": MAIN}.get(name, name) not in defined)
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
            raise BuildError(
                f"{firmware_dir / source}: calls {name}(), which neither the firmware nor drive_port.h "
                "provides; define it, or go through the seam"
            )
