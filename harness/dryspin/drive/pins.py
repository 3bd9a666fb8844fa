"""`[pins]`: what hangs on which pin of the part, for firmware that is written for its registers.

Where the table stands, the sources are run at register level: they are compiled against headers with the
register names of the data sheet, and what they write reaches the bridge by these pins. Without it they are
written for `drive_port.h`.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

PINS = tuple(f"P{port}{bit}" for port, bits in (("B", 8), ("C", 7), ("D", 8)) for bit in range(bits))
"""Every pin of the part by its name in the data sheet."""

SENSE_PINS = (*(f"PC{bit}" for bit in range(6)), "PD7")
"""Pins that the comparator's minus input can be led to: ADC0 to ADC5 and AIN1."""
NEUTRAL_PIN = "PD6"
"""AIN0, the comparator's plus input."""
CONVERTER_PINS = SENSE_PINS[:6]

MARKS = (
    *("off", "armed", "tone", "precharge", "align", "ramp", "run", "brake", "coast", "given up"),
    "calibrating",
)
"""States a mark can say, by the number that drive_port.h gives them."""

MARK_PINS_MAX = 8
REGISTERS = ("GPIOR0", "GPIOR1", "GPIOR2")


BLOCK_CYCLES = 6
"""CPU cycles charged for a basic block where drive.toml says nothing: an estimate, some five instructions."""


@dataclass(frozen=True)
class Pins:
    """Pins by their names in the data sheet; levels are 0 and 1, marks the numbers of drive_port.h."""

    high: tuple[str, ...]
    low: tuple[str, ...]
    high_active: str
    low_active: str
    shifter_on_ns: float
    shifter_off_ns: float
    phases: tuple[str, ...]
    neutral: str
    bus: str
    throttle: str
    steady: Mapping[str, int] = field(hash=False)
    marks: Mapping[str, tuple[int, int]] = field(hash=False)
    mark_register: str

    def uses(self) -> Iterator[tuple[str, str, str]]:
        """(pin, key, what it is there) of everything that is wired."""
        for key in ("high", "low", "phases"):
            for leg, pin in zip("UVW", getattr(self, key), strict=True):
                yield pin, key, f"{key} {leg}"
        for key in ("neutral", "bus", "throttle"):
            if pin := getattr(self, key):
                yield pin, key, key
        for key in ("steady", "marks"):
            for pin in getattr(self, key):
                yield pin, key, key


def number_of(pin: str) -> int:
    """Port (B, C, D as 0, 1, 2) times eight and bit, as the part counts pins."""
    return "BCD".index(pin[1]) * 8 + int(pin[2])
