"""ngspice: real switches and diodes, integrated without any idea of modes, crossings or six-step."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from ..spice import reference
from ..spice.cases import CASES, Case
from ..spice.comparison import differences
from .check import Maker, Row, apart, check

CURRENT_PERCENT = 0.01
OPEN_PHASE_PERCENT = 0.02
CROSSING_US = 0.05
"""What users are told of both plants; the equations by themselves are held tighter in tests/spice."""


def circuit(case: Case) -> Callable[[Maker], Iterator[Row]]:
    """The check of one netlist."""

    def rows(make: Maker) -> Iterator[Row]:
        d = differences(make, case)
        text = case.path.stem.split("_", 1)[1].replace("_", " ")
        yield apart(f"{text}: currents, rms", 0.0, 100.0 * d.current, CURRENT_PERCENT, "% of peak")
        yield apart(f"{text}: bus, rms", 0.0, 100.0 * d.bus, CURRENT_PERCENT, "% of supply")
        yield apart(f"{text}: open phase, rms", 0.0, 100.0 * d.open_phase, OPEN_PHASE_PERCENT, "% of supply")
        yield apart(f"{text}: crossings are the same", 1.0, float(d.same_crossings), 0.0, "")
        yield apart(f"{text}: largest difference of a crossing", 0.0, d.crossing_us, CROSSING_US, "us")

    rows.__name__ = f"circuit_{case.netlist}"
    return rows


for _case in CASES:
    check(f"{reference.stored(_case.path).version}, tests/spice/netlists/{_case.path.name}")(circuit(_case))
