"""Evidence of checked runs to faults: races, accesses beyond variables, what C leaves undefined."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from dryspin.build import Image
from dryspin.drive import Drive
from dryspin.faults.fault import OUT_OF_BOUNDS, RACES, UNDEFINED, Fault, Place
from dryspin.faults.races import Access, accesses_of, races
from dryspin.faults.registers import register_races
from dryspin.faults.statements import Statements
from dryspin.faults.variables import Variables
from dryspin.rig.checked import Undefined

Rows = np.ndarray[tuple[int], np.dtype[np.void]]


@dataclass
class Evidence:
    """What checked runs have shown. It goes between processes; runs of one image add up.

    `enables`: interrupts turned on by the code of each handler in vector order, then of the main line.
    `digests`: of the recordings of runs that came to their end.
    """

    rows: list[Rows] = field(default_factory=list)
    enables: tuple[int, ...] = (0,) * 32
    undefined: list[Undefined] = field(default_factory=list)
    failures: list[Fault] = field(default_factory=list)
    widths: list[Fault] = field(default_factory=list)
    runs: int = 0
    simulated_s: float = 0.0
    digests: list[str] = field(default_factory=list)

    def add(self, other: "Evidence") -> None:
        """Put what another process has seen to this."""
        self.rows += other.rows
        self.enables = tuple(a | b for a, b in zip(self.enables, other.enables, strict=True))
        self.undefined += other.undefined
        self.failures += other.failures
        self.widths += other.widths
        self.runs += other.runs
        self.simulated_s += other.simulated_s
        self.digests += other.digests


def faults_of(
    evidence: Evidence, image: Image, drive: Drive, variables: Variables, statements: Statements
) -> list[Fault]:
    """All faults that the evidence of runs of `image` shows, each once, in a fixed order.

    `variables` of the image, `statements` of its sources. Races that the drive explains carry its reason in
    `accepted`.
    """

    def place_of(pc: int) -> Place:
        return Place(image.line_of(pc), image.function_of(pc))

    accesses = accesses_of(evidence.rows, evidence.enables[:31], place_of)
    f_cpu_hz = drive.controller.f_cpu_hz
    found = races(accesses, variables, statements, drive.controller.atomic_bytes)
    found += register_races(accesses, statements)
    undefined = _undefined(evidence.undefined, place_of)
    ended = {fault.place for fault in (*undefined, *evidence.failures)}
    # a null pointer is told once, as such
    found += [f for f in beyond(accesses, variables, f_cpu_hz) if f.variable or f.place not in ended]
    found += undefined
    # one operation is met by both builds, or only where int is narrow
    lines = {fault.place.line for fault in found if fault.kind == UNDEFINED}
    widths = {f.place: f for f in reversed(evidence.widths) if f.place.line not in lines}
    found += sorted(widths.values(), key=lambda fault: fault.place.line)
    failures = {(fault.kind, fault.place): fault for fault in reversed(evidence.failures)}
    found += sorted(failures.values(), key=lambda fault: (fault.place.line, fault.kind))
    reasons = {each.variable: each.why for each in drive.shared}
    return [
        replace(fault, accepted=reasons.get(fault.variable, "")) if fault.kind in RACES else fault
        for fault in found
    ]


def unused_reasons(found: Sequence[Fault], drive: Drive) -> list[str]:
    """Variables of `[[shared]]` that no fault needs."""
    used = {fault.variable for fault in found if fault.accepted}
    return [each.variable for each in drive.shared if each.variable not in used]


def beyond(accesses: Sequence[Access], variables: Variables, f_cpu_hz: float) -> list[Fault]:
    """Accesses that are not wholly inside one variable; each line once."""
    found: dict[tuple[Place, bool], Fault] = {}
    for access in accesses:
        if access.register or (not access.stray and variables.holding(access.at, access.bytes)):
            continue
        what = f"{'write' if access.write else 'read'} of {access.bytes} bytes"
        near = variables.at_or_before(access.at + access.bytes - 1)
        if access.stray or near is None:
            text, name = f"{what} where no variable of the firmware is", ""
        else:
            name, end = near.name, near.at + near.bytes
            past = access.at - end
            text = f"{what}, {past} bytes past the end" if past >= 0 else f"{what} across the end"
            text += f" of {name}, which has {near.bytes}"
        fault = Fault(OUT_OF_BOUNDS, name, access.place, text, moment_s=access.cycle / f_cpu_hz)
        found.setdefault((access.place, access.write), fault)
    return list(found.values())


def _undefined(rows: Sequence[Undefined], place_of: Callable[[int], Place]) -> list[Fault]:
    found: dict[int, Fault] = {}
    for row in rows:
        # in a function that sketches call, the firmware's line is that of the call
        chain = [place for place in map(place_of, (row.pc, *row.chain)) if place.line]
        fault = Fault(
            UNDEFINED,
            "",
            chain[0] if chain else place_of(row.pc),
            row.text,
            moment_s=row.moment_s,
            vector=row.vector,
            chain=tuple(chain[1:]),
        )
        found.setdefault(row.pc, fault)
    return [found[pc] for pc in sorted(found)]
