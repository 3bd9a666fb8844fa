"""What a checked build has shown in its runs: accesses to variables, operations that C leaves undefined."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from dryspin.errors import RigError

ACCESS = np.dtype(
    {
        "names": ["cycle", "pc", "at", "by", "under", "bytes", "kind"],
        "formats": ["i8", "u4", "u4", "u4", "u4", "u2", "u1"],
        "offsets": [0, 8, 12, 16, 20, 24, 26],
        "itemsize": 32,
    }
)
"""core_access of core.h."""


@dataclass(frozen=True, slots=True)
class Undefined:
    """An operation without a defined result: where (offsets into the image), when, in which handler."""

    pc: int
    text: str
    moment_s: float
    vector: int
    chain: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Torn:
    """An access torn on purpose: the variable as it was, as the torn half saw it, and as it ended.

    Of a read, `between` is what the code got; of a write, what the handler could see.
    """

    moment_s: float
    before: int
    between: int
    after: int


def torn(ffi: Any, core: Any, f_cpu_hz: float) -> Torn | None:
    """The report of the last tear, if there was one."""
    report = core.core_torn()
    if report.cycle < 0:
        return None
    values = (
        int.from_bytes(bytes(ffi.buffer(field, report.bytes)), "little")
        for field in (report.before, report.between, report.after)
    )
    return Torn(report.cycle / f_cpu_hz, *values)


def accesses(ffi: Any, core: Any) -> np.ndarray[tuple[int], np.dtype[np.void]]:
    """Rows of ACCESS since `core_accesses_watch`. Raises RigError where they were too many to hold."""
    count = core.core_accesses(ffi.NULL, 0)
    if count < 0:
        raise RigError(
            "the firmware touches more places of its memory than the checked build keeps apart (28 000); "
            "leave the large tables out of the checked build by a macro"
        )
    rows = np.zeros(count, ACCESS)
    core.core_accesses(ffi.cast("core_access *", ffi.from_buffer(rows)), count)
    return rows


def undefined(ffi: Any, core: Any, f_cpu_hz: float) -> list[Undefined]:
    """What the last run met, the first of each place."""
    first = ffi.new("core_undefined **")
    count = core.core_undefined_rows(first)
    return [
        Undefined(
            int(row.pc),
            ffi.string(row.text).decode("utf-8", "replace"),
            row.cycle / f_cpu_hz,
            int(row.context),
            tuple(row.chain[0 : row.depth]),
        )
        for row in (first[0][k] for k in range(count))
    ]
