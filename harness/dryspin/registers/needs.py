"""Which functions a register-level firmware may call besides its own."""

from collections.abc import Callable, Sequence
from pathlib import Path

from elftools.elf.elffile import ELFFile
from elftools.elf.sections import SymbolTableSection

from dryspin.errors import BuildError

_OURS = ("dryspin_", "__tsan_", "__ubsan_handle_", "__narrow_handle_", "__start_dryspin_", "__stop_dryspin_")

WIDTHLESS = {
    *("memcpy", "memset", "memmove", "strlen", "strcmp", "strcpy", "strcat", "strchr"),
    *("fabsf", "floorf", "ceilf", "sqrtf", "fminf", "fmaxf"),
}
"""Of those below, what takes no number whose width is another on the part; the compiler widens sizes."""

PURE = {
    *WIDTHLESS,
    *("memcmp", "memchr", "strncmp", "strncpy", "abs", "labs"),
    *("fabs", "floor", "ceil", "sqrt", "fmin", "fmax"),
}
"""Functions of the C library that keep nothing between calls and are exact everywhere."""

_FROM_COMPILER = {
    *("_GLOBAL_OFFSET_TABLE_", "__stack_chk_fail", "__dso_handle", "__cxa_atexit", "__cxa_pure_virtual"),
    *("_ZdlPv", "_ZdlPvm", "_ZTVN10__cxxabiv117__class_type_infoE"),
}


_HEAP = "the heap outlives a run, and the rig begins every run anew; use variables of fixed size"
_REFUSED = {
    name: why
    for names, why in (
        (("malloc", "calloc", "realloc", "free", "_Znwm", "_Znam", "_Znwj", "_Znaj"), _HEAP),
        (
            ("rand", "srand", "random", "rand_r"),
            "the random generator's state outlives a run; keep a state of your own",
        ),
        (("time", "clock"), "it asks the host's clock; count a timer of the part"),
        (
            ("printf", "puts", "putchar", "fprintf", "sprintf", "snprintf"),
            "the rig has no such output; send bytes to UDR0, or leave it out by #ifdef",
        ),
    )
    for name in names
}
"""What firmware is tempted to call, and why the rig cannot let it."""

_SPOKEN = {"_Z5setupv": "setup() or loop()", "_Z4loopv": "setup() or loop()"}


def refuse_unknown(
    objects: Sequence[tuple[Path, str]], firmware_dir: Path, line_of_use: Callable[[Path, str], int]
) -> None:
    """Raise BuildError where an object calls what nobody defines, or defines what another does.

    line_of_use: the line at which an object's source first calls a name, 0 where that cannot be told.
    """
    by_source = {source: path for path, source in objects}
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
        if name not in defined and name not in PURE | _FROM_COMPILER and not name.startswith(_OURS):
            shown = _SPOKEN.get(name) or ("new" if name in ("_Znwm", "_Znam") else f"{name}()")
            line = line_of_use(by_source[source], name)
            why = _REFUSED.get(name, "add its source to [firmware] sources, or write it yourself")
            raise BuildError(
                f"{firmware_dir / source}{f':{line}' if line else ''}: calls {shown}, which neither the "
                f"firmware nor the rig's headers define; {why}"
            )
