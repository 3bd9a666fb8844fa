"""A linked program: its instructions, functions, vectors, sections and source lines."""

import subprocess
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Any

from elftools.elf.elffile import ELFFile

from dryspin.build.lines import LineTable
from dryspin.target.instructions import RETURN, Instruction, Step, parse, steps
from firmware_under_test.targets.errors import TargetError, ToolchainError

VECTOR_BYTES = 4
"""One vector is a jmp, two words (data sheet of the ATmega168, section "Interrupt Vectors")."""

UNUSED_VECTOR = "__bad_interrupt"
"""Where avr-libc's table sends vectors that nobody has defined."""


class Image:
    """One ELF file of the part. `path` was linked from objects compiled in a folder named src."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lines = LineTable(path)
        self._bodies: dict[int, Mapping[int, tuple[Step, ...]]] = {}
        with path.open("rb") as stream:
            elf = ELFFile(stream)
            self.section_bytes = {s.name: int(s["sh_size"]) for s in elf.iter_sections()}
            fuses = elf.get_section_by_name(".fuse")
            self.fuses = tuple(fuses.data()) if fuses is not None else ()
            self._take_symbols(elf)
            self._take_names(elf)

    def _take_symbols(self, elf: Any) -> None:
        """Functions with the object they came from: local symbols follow their file's name.

        Routines of the compiler's library are global labels of no type.
        """
        self.symbols: dict[str, int] = {}
        self.objects: dict[int, str] = {}
        self._symbol_at: dict[int, str] = {}
        code = elf.get_section_index(".text")
        file = ""
        for symbol in elf.get_section_by_name(".symtab").iter_symbols():
            kind, bind = symbol["st_info"]["type"], symbol["st_info"]["bind"]
            address = int(symbol["st_value"])
            if kind == "STT_FILE":
                file = symbol.name
                continue
            if symbol["st_shndx"] == code:
                if kind == "STT_FUNC":
                    self._symbol_at[address] = symbol.name
                    if bind == "STB_LOCAL":
                        self.objects[address] = file
                elif bind != "STB_LOCAL":
                    self._symbol_at.setdefault(address, symbol.name)
            self.symbols.setdefault(symbol.name, address)
        self.functions = frozenset(self._symbol_at)

    def _take_names(self, elf: Any) -> None:
        """Names as the source has them: a handler's symbol is its vector's."""
        self._source_names: dict[int, str] = {}
        for unit in elf.get_dwarf_info().iter_CUs():
            for entry in unit.iter_DIEs():
                low = entry.attributes.get("DW_AT_low_pc")
                if entry.tag != "DW_TAG_subprogram" or low is None:
                    continue
                if "DW_AT_abstract_origin" in entry.attributes:
                    entry = entry.get_DIE_from_attribute("DW_AT_abstract_origin")
                if name := entry.attributes.get("DW_AT_name"):
                    self._source_names[int(low.value)] = name.value.decode()

    @cached_property
    def instructions(self) -> dict[int, Instruction]:
        """All instructions of the program by byte address."""
        command = ["avr-objdump", "-d", str(self.path)]
        try:
            done = subprocess.run(command, capture_output=True, text=True, check=True)
        except FileNotFoundError:
            raise ToolchainError("avr-objdump is not installed; apt-get install binutils-avr") from None
        return parse(done.stdout)

    @cached_property
    def _jumps(self) -> dict[int, set[int]]:
        found: dict[int, set[int]] = {}
        for instruction in self.instructions.values():
            if instruction.jumps:
                found.setdefault(instruction.target, set()).add(instruction.address)
        return found

    def jumps_to(self, address: int) -> set[int]:
        """Jumps, branches and calls to the instruction there."""
        return self._jumps.get(address, set())

    @cached_property
    def handlers(self) -> dict[str, int]:
        """Handlers that the program defines, name to address, in the order of their vectors."""
        found = {}
        unused = self.symbols.get(UNUSED_VECTOR)
        first = self.symbols["__ctors_end"]
        for address in range(VECTOR_BYTES, first, VECTOR_BYTES):
            target = self.instructions[address].target
            if target != unused:
                found[self.name(target)] = target
        return found

    def name(self, function: int) -> str:
        """The function's name in the source, else its symbol."""
        return self._source_names.get(function) or self._symbol_at.get(function, f"{function:#06x}")

    def function(self, name: str) -> int:
        """Address of the function of that name in the source. Raises TargetError if there is none."""
        for address, known in self._source_names.items():
            if known == name:
                return address
        if name in self.symbols:
            return self.symbols[name]
        raise TargetError(f"{self.path.name} has no function {name}; was it renamed, or inlined everywhere?")

    def all_functions(self, name: str) -> set[int]:
        """Addresses of all functions of that name; none where the compiler has inlined it everywhere."""
        return {address for address, known in self._source_names.items() if known == name}

    def place(self, address: int) -> str:
        """ "file.c:88", or the address where there is no source."""
        return self._lines.line_of(address + 1) or f"{address:#06x}"

    def body(self, function: int) -> Mapping[int, tuple[Step, ...]]:
        """The ways on from each instruction that the function can reach without leaving it."""
        if function not in self._bodies:
            found: dict[int, tuple[Step, ...]] = {}
            waiting = [function]
            while waiting:
                address = waiting.pop()
                if address in found or address == RETURN:
                    continue
                found[address] = self._steps(address, function)
                waiting += [way.target for way in found[address]]
            self._bodies[function] = found
        return self._bodies[function]

    def _steps(self, address: int, function: int) -> tuple[Step, ...]:
        instruction = self.instructions.get(address)
        if instruction is None:
            raise TargetError(f"{self.name(function)} runs to {address:#06x}, where there is no instruction")
        following = self.instructions.get(instruction.next)
        try:
            return steps(instruction, following, self.functions, function)
        except TargetError as problem:
            raise TargetError(f"{self.place(address)}, {self.name(function)}: {problem}") from None

    def callees(self, function: int) -> set[int]:
        """Functions it calls or leaves to."""
        return {way.callee for ways in self.body(function).values() for way in ways if way.callee is not None}

    def reachable(self, roots: list[int]) -> set[int]:
        """The functions, and all that they call."""
        found: set[int] = set()
        waiting = list(roots)
        while waiting:
            function = waiting.pop()
            if function not in found:
                found.add(function)
                waiting += self.callees(function)
        return found
