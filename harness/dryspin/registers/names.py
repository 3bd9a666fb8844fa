"""Names of the part's registers, as the data sheet and `avr/io.h` have them."""

import re
from functools import cache

from dryspin.registers.places import INCLUDE

_DEFINED = re.compile(r"^#define (\w+) _SFR_(IO|MEM)(8|16)\((0x\w+)\)$", re.MULTILINE)

_IO_SPACE = 0x20
"""I/O addresses begin that far below those of data space."""


@cache
def register_names() -> dict[tuple[int, int], str]:
    """The name of each register by data address and bytes: (0x84, 2) is TCNT1."""
    text = (INCLUDE / "avr" / "io.h").read_text(encoding="utf-8")
    names: dict[tuple[int, int], str] = {}
    for name, space, bits, address in _DEFINED.findall(text):
        at = int(address, 16) + (_IO_SPACE if space == "IO" else 0)
        names.setdefault((at, int(bits) // 8), name)
    return names
