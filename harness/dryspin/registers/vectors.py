"""Names of the part's interrupt vectors, as the data sheet and `avr/io.h` have them."""

import re
from functools import cache

from dryspin.registers.places import INCLUDE

_DEFINED = re.compile(r"^#define (\w+_vect) __vector_(\d+)$", re.MULTILINE)


@cache
def vector_names() -> dict[str, str]:
    """The name of each handler by its symbol: "__vector_11" is TIMER1_COMPA_vect."""
    text = (INCLUDE / "avr" / "io.h").read_text(encoding="utf-8")
    return {f"__vector_{number}": name for name, number in _DEFINED.findall(text)}
