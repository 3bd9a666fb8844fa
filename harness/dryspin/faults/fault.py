"""One fault of the C: what, of which variable, where on either side."""

from dataclasses import dataclass

from dryspin.errors import FirmwareError

TORN_READ = "torn read"
TORN_WRITE = "torn write"
LOST_UPDATE = "lost update"
NOT_VOLATILE = "not volatile"
OUT_OF_BOUNDS = "out of bounds"
UNDEFINED = "undefined"
INT_WIDTH = "int width"

RACES = (TORN_READ, TORN_WRITE, LOST_UPDATE, NOT_VOLATILE)
"""Kinds that need a handler beside the code they are found in; `[[shared]]` of a drive may explain them."""


@dataclass(frozen=True, slots=True)
class Place:
    """A line of the firmware, "throttle.c:88", and the function it stands in; both may be empty."""

    line: str
    function: str

    def __str__(self) -> str:
        return f"{self.line} in {self.function}()" if self.function else self.line


@dataclass(frozen=True, slots=True)
class Fault:
    """`kind` of `variable` (empty where none) at `place`; a race also `against` the line of a handler.

    `moment_s` is the first time it was seen, from power-on; `vector` that of the handler it was seen in,
    0 for the main line; `chain` the calls that led there, the innermost first. `accepted`: the reason
    that the drive gives for it. `pc`, `handler` (bit in vector order): of a race, to tear it.
    """

    kind: str
    variable: str
    place: Place
    text: str
    against: Place | None = None
    moment_s: float | None = None
    vector: int = 0
    chain: tuple[Place, ...] = ()
    accepted: str = ""
    pc: int = 0
    handler: int = 0


def fault_of(error: FirmwareError) -> Fault:
    """A run that the firmware ended, as a fault."""
    return Fault(
        error.kind,
        "",
        Place(error.line, error.function),
        error.text,
        moment_s=error.moment_s,
        vector=error.vector,
        chain=tuple(Place(*call) for call in error.chain),
    )
