"""The part's stack, worst case, from its compiler's frame sizes and the calls in its objects.

The main line stands somewhere; a handler comes on top of it, one at a time, since handlers run with
interrupts off. A frame size of `-fstack-usage` holds the return address and the registers saved (GCC
manual, "-fstack-usage"; the AVR back end counts both).
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from elftools.elf.constants import SH_FLAGS
from elftools.elf.elffile import ELFFile
from elftools.elf.relocation import RelocationSection
from elftools.elf.sections import Section, Symbol, SymbolTableSection

from dryspin.build.lines import spoken
from dryspin.build.symbols import seam
from dryspin.drive import Drive
from dryspin.registers import vector_names

RAM_BYTES = {"mega168": 1024}
"""Data sheet 8025I, features: 1K bytes of internal SRAM."""

VECTOR_BYTES = 2 + 15 + 2
"""Of the routine behind a vector: return address; r0, r1, SREG, r18 to r27, r30, r31, which a call may change
(GCC's AVR calling convention); the call of the handler."""

CALL_BYTES = 2
"""A return address: a call of the port takes no more, whose functions are a few instructions."""


@dataclass(frozen=True)
class StackUse:
    """Bytes of stack of the part, worst case; `chain` of each root function, the deepest calls.

    `deepest` maps main and each handler to (bytes, chain). `unknown`: why a figure is missing, "" if none.
    `vector`: bytes that a handler's vector takes besides; 0 where the handlers are the vectors' own.
    """

    deepest: Mapping[str, tuple[int, tuple[str, ...]]]
    variables: int
    ram: int
    unknown: str = ""
    vector: int = VECTOR_BYTES

    @property
    def handler(self) -> str:
        """The handler that takes most."""
        handlers = [name for name in self.deepest if name != "main"]
        return max(handlers, key=lambda name: self.deepest[name][0], default="")

    @property
    def stack(self) -> int:
        """Main line and the deepest handler on top of it, bytes."""
        handler = self.deepest[self.handler][0] + self.vector if self.handler else 0
        return (self.deepest["main"][0] if "main" in self.deepest else 0) + handler

    def nested(self, handlers: Sequence[str]) -> int:
        """Main line and these handlers, each on top of the one before at its deepest, bytes."""
        main = self.deepest["main"][0] if "main" in self.deepest else 0
        return main + sum(self.deepest.get(name, (0, ()))[0] + self.vector for name in handlers)

    @property
    def total(self) -> int:
        """Variables and stack, bytes."""
        return self.variables + self.stack

    @property
    def fits(self) -> bool:
        """Whether variables and stack have room in the part's memory."""
        return self.total <= self.ram


Function = tuple[str, str]
"""A function by the stem of its object and its symbol: two sources may have one each of a name."""


def stack_use(objects: Iterable[Path], drive: Drive) -> StackUse:
    """Worst case of the objects that `compile_for_part` has made, their `.su` files beside them.

    Frames of C++ are known by the last part of their names: of overloaded functions the largest counts.
    """
    program = _Program()
    for path in objects:
        program.add(path)
    roots = {"main": "main"} | {name: name for name in sorted(seam()[1] - {"main"})}
    if drive.pins is not None:
        roots = {"main": "main"} | vector_names()
    deepest = {
        shown: program.deepest(program.of_name[name], ())
        for name, shown in roots.items()
        if name in program.of_name
    }
    unknown = "; ".join(dict.fromkeys(program.unknown))
    ram = RAM_BYTES[drive.controller.part]
    return StackUse(deepest, program.variables, ram, unknown, 0 if drive.pins else VECTOR_BYTES)


class _Program:
    """Frames and calls of all objects together."""

    def __init__(self) -> None:
        self.of_name: dict[str, Function] = {}
        self.variables = 0
        self.unknown: list[str] = []
        self._plain: dict[str, str] = {}
        self._frames: dict[tuple[str, str], int] = {}  # by object and plain name
        self._calls: dict[Function, set[Function]] = {}

    def add(self, path: Path) -> None:
        """Take in an object and the frame sizes beside it."""
        for line in path.with_suffix(".su").read_text(encoding="utf-8").splitlines():
            place, size, kind = line.split("\t")
            file, row, _, name = _PLACE.fullmatch(place).groups()  # type: ignore[union-attr]
            name = _plain(name)
            # "bounded": the size is the most it can be (GCC manual, "-fstack-usage")
            if kind not in ("static", "dynamic,bounded"):
                self.unknown.append(f"{name}() has a frame of no fixed size ({file}:{row})")
            self._frames[path.stem, name] = max(int(size), self._frames.get((path.stem, name), 0))
        with path.open("rb") as stream:
            elf = ELFFile(stream)
            table = elf.get_section_by_name(".symtab")
            assert isinstance(table, SymbolTableSection)
            owner: dict[int, Function] = {}
            symbols = list(table.iter_symbols())
            named = [symbol.name for symbol in symbols]
            self._plain |= zip(named, map(_plain, spoken(named)), strict=True)
            for symbol, name in zip(symbols, named, strict=True):
                if symbol["st_info"]["type"] == "STT_FUNC":
                    owner[symbol["st_shndx"]] = path.stem, name
                    if symbol["st_info"]["bind"] == "STB_GLOBAL":
                        self.of_name[name] = path.stem, name
                    elif symbol["st_info"]["bind"] == "STB_WEAK":
                        self.of_name.setdefault(name, (path.stem, name))
            for number, section in enumerate(elf.iter_sections()):
                self.variables += _variable_bytes(section)
                if number in owner and _calls_indirectly(section.data()):
                    self.unknown.append(f"{self._plain[owner[number][1]]}() calls through a pointer")
                if isinstance(section, RelocationSection) and section["sh_info"] in owner:
                    code = elf.get_section(section["sh_info"]).data()
                    self._note_calls(section, code, symbols, owner)

    def _note_calls(
        self,
        section: RelocationSection,
        code: bytes,
        symbols: Sequence[Symbol],
        owner: Mapping[int, Function],
    ) -> None:
        function = owner[section["sh_info"]]
        calls = self._calls.setdefault(function, set())
        for relocation in section.iter_relocations():
            symbol = symbols[relocation["r_info_sym"]]
            inside = owner.get(symbol["st_shndx"])
            if inside is None:
                if symbol["st_shndx"] == "SHN_UNDEF" and symbol.name:
                    calls.add(("", symbol.name))
            elif inside != function or (
                relocation["r_addend"] == 0 and _is_call(code, relocation["r_offset"])
            ):
                # A jump within the function is none, nor is `rcall .+0`, GCC's way to move the stack by two.
                calls.add(inside)

    def deepest(self, function: Function, above: tuple[Function, ...]) -> tuple[int, tuple[str, ...]]:
        """Bytes and names of the deepest chain that begins with `function`."""
        if function in above:
            names = (self._plain[name] for _, name in (*above[above.index(function) :], function))
            self.unknown.append(f"{' -> '.join(names)} is a recursion")
            return 0, ()
        below: tuple[int, tuple[str, ...]] = (0, ())
        for callee in sorted(self._calls.get(function, ())):
            known = callee if callee[0] else self.of_name.get(callee[1])
            if known is not None:
                chain = self.deepest(known, (*above, function))
            else:
                chain = (CALL_BYTES, (self._plain.get(callee[1], callee[1]),))
            below = max(below, chain, key=lambda each: each[0])
        name = self._plain[function[1]]
        return self._frames.get((function[0], name), CALL_BYTES) + below[0], (name, *below[1])


_PLACE = re.compile(r"(.*?):(\d+):(\d+):(.*)")
"""In front of a frame size: file, line, column, and the function as it was declared."""


def _plain(name: str) -> str:
    """A name without type, scope and parameters, vectors by theirs: what a chain of calls shows."""
    bare = name.partition("(")[0] if not name.startswith("(") else name
    bare = bare.rpartition(" ")[2].rpartition("::")[2]
    return vector_names().get(bare, bare)


def _variable_bytes(section: Section) -> int:
    """Bytes of data memory: variables, and constants, which avr-gcc keeps there, too."""
    flags = section["sh_flags"]
    written = flags & SH_FLAGS.SHF_WRITE and flags & SH_FLAGS.SHF_ALLOC
    return int(section["sh_size"]) if written or section.name.startswith(".rodata") else 0


def _is_call(code: bytes, at: int) -> bool:
    """Whether a CALL (1001 010k kkkk 111k) or RCALL (1101 ...) stands there: AVR instruction set manual."""
    word = int.from_bytes(code[at : at + 2], "little")
    return word & 0xFE0E == 0x940E or word & 0xF000 == 0xD000


def _calls_indirectly(code: bytes) -> bool:
    """Whether an ICALL (0x9509) stands in it, or an IJMP (0x9409), a last call: AVR instruction set manual.

    An operand word may look so.
    """
    return any(code[k] == 0x09 and code[k + 1] in (0x94, 0x95) for k in range(0, len(code) - 1, 2))
