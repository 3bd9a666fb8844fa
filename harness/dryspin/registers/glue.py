"""What a part's start-up code and vector table do, made for one firmware from what its objects define."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from elftools.elf.elffile import ELFFile
from elftools.elf.relocation import RelocationSection
from elftools.elf.sections import SymbolTableSection

from dryspin.errors import BuildError

VECTORS = 26
STORE_BYTES = 512
"""E2END + 1."""
PROGRAM = "dryspin_program"
"""What main() is called in the library: the part's own start-up calls it."""

_VECTOR = re.compile(r"^__vector_(\d+|default)$")
_NO_VECTOR = re.compile(r"^\w+_vect$")
_INIT = re.compile(r"^\.init([0-9])$")


@dataclass
class Found:
    """What the objects of one firmware define.

    `handlers` by vector ("default" for all others), `weak` those that give way to another;
    `init`: (section's number, function) in order;
    `init_in`: the static ones by object, to be made visible.
    """

    main: str = ""
    handlers: dict[str, str] = field(default_factory=dict)
    init: list[tuple[int, str]] = field(default_factory=list)
    init_in: dict[Path, list[str]] = field(default_factory=dict)
    weak: set[str] = field(default_factory=set)


def look_at(objects: Sequence[tuple[Path, str]], firmware_dir: Path) -> Found:
    """Look through (object, its source's name).

    Raises BuildError for two handlers of one vector, handlers of none, calls of a handler, no main(), and for
    more variables in the store than it has room for.
    """
    found, store_bytes = Found(), 0
    for path, source in objects:
        with path.open("rb") as stream:
            elf = ELFFile(stream)
            table = elf.get_section_by_name(".symtab")
            if isinstance(table, SymbolTableSection):
                _take(found, elf, table, path, firmware_dir / source)
                _refuse_calls(elf, table, firmware_dir / source)
            store = elf.get_section_by_name("dryspin_eeprom")
            store_bytes += store["sh_size"] if store is not None else 0
    if store_bytes > STORE_BYTES:
        raise BuildError(
            f"{firmware_dir}: EEMEM variables take {store_bytes} bytes; the part's store has {STORE_BYTES}"
        )
    if not found.main:
        raise BuildError(f"{firmware_dir}: the firmware has no main(); [firmware] sources must include it")
    found.init.sort(key=lambda item: item[0])
    return found


def _take(found: Found, elf: ELFFile, table: SymbolTableSection, path: Path, source: Path) -> None:
    for symbol in table.iter_symbols():
        if symbol["st_info"]["type"] != "STT_FUNC" or symbol["st_shndx"] == "SHN_UNDEF":
            continue
        name = symbol.name
        if name == "main":
            found.main = str(source)
        elif vector := _VECTOR.match(name):
            weak = symbol["st_info"]["bind"] == "STB_WEAK"
            if weak and vector[1] in found.handlers:
                continue
            if vector[1] in found.handlers and vector[1] not in found.weak:
                raise BuildError(
                    f"{source}: vector {vector[1]} has a handler already, in {found.handlers[vector[1]]}; "
                    "a vector leads to one place. Merge the two."
                )
            if vector[1] != "default" and not 1 <= int(vector[1]) < VECTORS:
                raise BuildError(f"{source}: the part has no vector {vector[1]}; it has 1 to {VECTORS - 1}.")
            found.handlers[vector[1]] = str(source)
            (found.weak.add if weak else found.weak.discard)(vector[1])
        elif _NO_VECTOR.match(name):
            raise BuildError(
                f"{source}: {name} is no vector of the part, so this handler would never run; "
                "the names stand in avr/io.h, such as TIMER1_COMPA_vect"
            )
        elif init := _INIT.match(elf.get_section(symbol["st_shndx"]).name):
            found.init.append((int(init[1]), name))
            found.init_in.setdefault(path, []).append(name)


def _refuse_calls(elf: ELFFile, table: SymbolTableSection, source: Path) -> None:
    for section in elf.iter_sections():
        if not isinstance(section, RelocationSection) or ".text" not in section.name:
            continue
        for entry in section.iter_relocations():
            name = table.get_symbol(entry["r_info_sym"]).name
            if _VECTOR.match(name):
                raise BuildError(
                    f"{source}: calls the handler of vector {name.removeprefix('__vector_')} as a function; "
                    "on the part that returns with interrupts on. Move the work to a function that both call."
                )


def glue_text(found: Found) -> str:
    """C source of the vector table and of what runs between reset and main()."""
    named = {k: f"__vector_{k}" for k in found.handlers}
    default = named.pop("default", "0")
    table = [named.get(str(k), default) for k in range(VECTORS)]
    before = [name for number, name in found.init if number < 6]
    after = [name for number, name in found.init if number >= 6]
    handlers = "".join(f"void {name}(void);\n" for name in sorted({*named.values(), default} - {"0"}))
    inits = "".join(f"void {name}(void);\n" for _, name in found.init)
    calls = [
        *(f"{name}();" for name in before),
        "for (void (**c)(void) = __start_dryspin_constructors; c != __stop_dryspin_constructors; c++)\n"
        "\t\t(*c)();",
        *(f"{name}();" for name in after),
    ]
    body = "".join(f"\t{call}\n" for call in calls)
    return (
        f"{handlers}{inits}"
        f"int {PROGRAM}(void);\nint fw_main(void);\n"
        "extern void (*__start_dryspin_constructors[])(void) __attribute__((weak));\n"
        "extern void (*__stop_dryspin_constructors[])(void) __attribute__((weak));\n"
        'extern unsigned char __start_dryspin_eeprom[] __attribute__((weak, visibility("hidden")));\n'
        'extern unsigned char __stop_dryspin_eeprom[] __attribute__((weak, visibility("hidden")));\n'
        "const unsigned char *const dryspin_store_image[2] =\n"
        "\t{__start_dryspin_eeprom, __stop_dryspin_eeprom};\n"
        f"void (*const dryspin_vectors[{VECTORS}])(void) = {{{', '.join(table)}}};\n"
        f"int fw_main(void)\n{{\n{body}\treturn {PROGRAM}();\n}}\n"
    )
