"""Which functions a register-level firmware may call besides its own."""

from collections.abc import Sequence
from pathlib import Path

from elftools.elf.elffile import ELFFile
from elftools.elf.sections import SymbolTableSection

from dryspin.errors import BuildError

_OURS = ("dryspin_", "__tsan_", "__ubsan_handle_", "__narrow_handle_", "__start_dryspin_", "__stop_dryspin_")

_PURE = {
    *("memcpy", "memset", "memmove", "memcmp", "memchr", "strlen", "strcmp", "strncmp", "strcpy", "strncpy"),
    *(
        "strcat",
        "strchr",
        "abs",
        "labs",
        "fabs",
        "fabsf",
        "floor",
        "floorf",
        "ceil",
        "ceilf",
        "sqrt",
        "sqrtf",
    ),
    *("fmin", "fmax", "fminf", "fmaxf"),
}
"""Functions of the C library that keep nothing between calls and are exact everywhere."""

_FROM_COMPILER = {
    *("_GLOBAL_OFFSET_TABLE_", "__stack_chk_fail", "__dso_handle", "__cxa_atexit", "__cxa_pure_virtual"),
    *("_ZdlPv", "_ZdlPvm", "_ZTVN10__cxxabiv117__class_type_infoE"),
}


def refuse_unknown(objects: Sequence[tuple[Path, str]], firmware_dir: Path) -> None:
    """Raise BuildError where an object calls what nobody defines, or defines what another does."""
    defined: dict[str, str] = {}
    needed: dict[str, str] = {}
    for path, source in objects:
        with path.open("rb") as stream:
            table = ELFFile(stream).get_section_by_name(".symtab")
            for symbol in table.iter_symbols() if isinstance(table, SymbolTableSection) else ():
                bind, name = symbol["st_info"]["bind"], symbol.name
                if bind == "STB_LOCAL" or not name:
                    continue
                if symbol["st_shndx"] == "SHN_UNDEF":
                    needed.setdefault(name, source)
                elif bind == "STB_GLOBAL":
                    if name in defined:
                        raise BuildError(
                            f"{firmware_dir}: {name} is defined in {defined[name]} and in {source}; "
                            "rename one, or make it static where only its file uses it"
                        )
                    defined[name] = source
                else:
                    defined.setdefault(name, source)
    for name, source in sorted(needed.items()):
        if name not in defined and name not in _PURE | _FROM_COMPILER and not name.startswith(_OURS):
            shown = "setup() or loop()" if name in ("_Z5setupv", "_Z4loopv") else f"{name}()"
            raise BuildError(
                f"{firmware_dir / source}: calls {shown}, which neither the firmware nor the rig's headers "
                "define; add its source to [firmware] sources, or write it yourself"
            )
