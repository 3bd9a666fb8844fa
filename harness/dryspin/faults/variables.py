"""The firmware's variables: where each lies, what it is made of, from the image's DWARF."""

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from elftools.elf.elffile import ELFFile

FIXED_WIDTHS = {f"{sign}int{bits}_t": bits // 8 for sign in ("", "u") for bits in (8, 16, 32, 64)}

TARGET_BYTES = {"int": 2, "unsigned int": 2, "long int": 4, "long unsigned int": 4, "double": 4}
"""Sizes on the part where they differ from the host's: GCC's AVR options, "-mint8" and the ABI it names."""

TARGET_ADDRESS_BYTES = 2
TARGET_ENUM_BYTES = 2
"""An enumeration is an int there, as here."""


@dataclass(frozen=True, slots=True)
class Leaf:
    """A scalar inside a variable: its path (`last.width_ticks`, `table[]`), first byte, sizes in bytes.

    `bits`: a bit-field, which is written by reading and writing back the bytes around it.
    """

    path: str
    at: int
    bytes: int
    target_bytes: int
    bits: bool = False


@dataclass(frozen=True)
class Variable:
    """A variable of the firmware, with its scalars in order. `file` is where it is defined."""

    name: str
    file: str
    at: int
    bytes: int
    leaves: tuple[Leaf, ...]

    def under(self, at: int, size: int) -> tuple[Leaf, ...]:
        """Its scalars that have a byte in [at, at + size)."""
        return tuple(leaf for leaf in self.leaves if leaf.at < at + size and at < leaf.at + leaf.bytes)


class Variables:
    """All variables of the firmware in an image, by address (offset from the library's first byte)."""

    def __init__(self, image: Path) -> None:
        with image.open("rb") as stream:
            found = {v.at: v for v in _Reader(ELFFile(stream).get_dwarf_info()).variables()}
        names = Counter(variable.name for variable in found.values())
        self._all = [
            _qualified(variable) if names[variable.name] > 1 else variable
            for _, variable in sorted(found.items())
        ]
        self._starts = [variable.at for variable in self._all]

    def __iter__(self) -> Iterator[Variable]:
        return iter(self._all)

    def at_or_before(self, at: int) -> Variable | None:
        """The variable that begins there, or the last one before."""
        k = bisect_right(self._starts, at) - 1
        return self._all[k] if k >= 0 else None

    def holding(self, at: int, size: int) -> Variable | None:
        """The variable that holds all of [at, at + size)."""
        variable = self.at_or_before(at)
        return variable if variable and at + size <= variable.at + variable.bytes else None


def _qualified(variable: Variable) -> Variable:
    """With its file in front, where another has the same name."""
    name = f"{variable.file}:{variable.name}"
    leaves = (replace(leaf, path=f"{variable.file}:{leaf.path}") for leaf in variable.leaves)
    return replace(variable, name=name, leaves=tuple(leaves))


class _Reader:
    """Reads one image's DWARF; types are looked up once."""

    def __init__(self, dwarf: Any) -> None:
        self._dwarf = dwarf

    def variables(self) -> Iterator[Variable]:
        for unit in self._dwarf.iter_CUs():
            top = unit.get_top_DIE()
            folder = top.attributes.get("DW_AT_comp_dir")
            # As for lines: the firmware's sources were laid out in a folder of that name.
            if folder is None or not folder.value.decode().endswith("/src"):
                continue
            file = _as_given(top.attributes["DW_AT_name"].value.decode())
            for entry in unit.iter_DIEs():
                if entry.tag != "DW_TAG_variable" or (at := _address(entry)) is None:
                    continue
                said = entry
                if "DW_AT_specification" in entry.attributes:
                    said = entry.get_DIE_from_attribute("DW_AT_specification")
                typed = entry if "DW_AT_type" in entry.attributes else said
                name = said.attributes.get("DW_AT_name")
                if name is None or "DW_AT_type" not in typed.attributes:
                    continue
                kind = typed.get_DIE_from_attribute("DW_AT_type")
                text = name.value.decode()
                if _computed(entry):
                    yield Variable(text, file, at, 1, (Leaf(text, at, 1, 1),))
                else:
                    yield Variable(text, file, at, self._bytes(kind), tuple(self._leaves(kind, text, at)))

    def _leaves(self, kind: Any, path: str, at: int) -> Iterator[Leaf]:
        kind, fixed = _bare(kind)
        if kind.tag == "DW_TAG_array_type":
            element = kind.get_DIE_from_attribute("DW_AT_type")
            size = self._bytes(element)
            for k in range(_count(kind)):
                yield from self._leaves(element, f"{path}[]", at + k * size)
        elif kind.tag in ("DW_TAG_structure_type", "DW_TAG_union_type"):
            for member in kind.iter_children():
                if member.tag == "DW_TAG_member":
                    yield from self._member(member, path, at)
        else:
            size = self._bytes(kind)
            yield Leaf(path, at, size, fixed or _target_bytes(kind, size))

    def _member(self, member: Any, path: str, at: int) -> Iterator[Leaf]:
        marks = member.attributes
        name = marks["DW_AT_name"].value.decode() if "DW_AT_name" in marks else ""
        inner = f"{path}.{name}" if name else path
        kind = member.get_DIE_from_attribute("DW_AT_type")
        if "DW_AT_bit_size" not in marks:
            offset = marks["DW_AT_data_member_location"].value if "DW_AT_data_member_location" in marks else 0
            yield from self._leaves(kind, inner, at + offset)
            return
        bits = marks["DW_AT_bit_size"].value
        if "DW_AT_data_bit_offset" in marks:
            first = marks["DW_AT_data_bit_offset"].value
        else:  # DWARF 3 counts from the most significant bit of the storage unit
            unit = marks["DW_AT_byte_size"].value if "DW_AT_byte_size" in marks else self._bytes(kind)
            offset = marks["DW_AT_data_member_location"].value if "DW_AT_data_member_location" in marks else 0
            high = marks["DW_AT_bit_offset"].value if "DW_AT_bit_offset" in marks else 0
            first = 8 * offset + 8 * unit - high - bits
        size = (first % 8 + bits + 7) // 8
        yield Leaf(inner, at + first // 8, size, size, bits=True)

    def _bytes(self, kind: Any) -> int:
        kind, _ = _bare(kind)
        if kind.tag == "DW_TAG_array_type":
            return _count(kind) * self._bytes(kind.get_DIE_from_attribute("DW_AT_type"))
        size = kind.attributes.get("DW_AT_byte_size")
        return int(size.value) if size is not None else 8


def _as_given(source: str) -> str:
    """A sketch is compiled under a name that ends in .ino.cpp."""
    return source.removesuffix(".cpp") if source.endswith(".ino.cpp") else source


def _address(entry: Any) -> int | None:
    """The fixed address of a variable; None for one on the stack or only declared."""
    location = entry.attributes.get("DW_AT_location")
    if location is None or location.form not in ("DW_FORM_exprloc", "DW_FORM_block1"):
        return None
    raw = bytes(location.value)
    if len(raw) < 9 or raw[0] != 0x03:  # DW_OP_addr and eight bytes
        return None
    return int.from_bytes(raw[1:9], "little")


def _computed(entry: Any) -> bool:
    """Whether the value is made from what stands there: clang keeps in one byte what has two values."""
    return len(entry.attributes["DW_AT_location"].value) > 9


def _bare(kind: Any) -> tuple[Any, int]:
    """The type without names and qualifiers, and the width that a name such as uint16_t fixes."""
    fixed = 0
    while kind.tag in (
        "DW_TAG_typedef",
        "DW_TAG_const_type",
        "DW_TAG_volatile_type",
        "DW_TAG_atomic_type",
    ):
        if kind.tag == "DW_TAG_typedef":
            fixed = fixed or FIXED_WIDTHS.get(kind.attributes["DW_AT_name"].value.decode(), 0)
        if "DW_AT_type" not in kind.attributes:
            break
        kind = kind.get_DIE_from_attribute("DW_AT_type")
    return kind, fixed


def _count(kind: Any) -> int:
    """Elements of an array, over all its dimensions."""
    total = 1
    for part in kind.iter_children():
        if part.tag != "DW_TAG_subrange_type":
            continue
        if "DW_AT_count" in part.attributes:
            total *= part.attributes["DW_AT_count"].value
        elif "DW_AT_upper_bound" in part.attributes:
            total *= part.attributes["DW_AT_upper_bound"].value + 1
    return int(total)


def _target_bytes(kind: Any, host: int) -> int:
    if kind.tag == "DW_TAG_pointer_type":
        return TARGET_ADDRESS_BYTES
    if kind.tag == "DW_TAG_enumeration_type":
        return min(host, TARGET_ENUM_BYTES)
    name = kind.attributes.get("DW_AT_name")
    return TARGET_BYTES.get(name.value.decode() if name else "", host)
