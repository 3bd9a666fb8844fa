"""The same firmware with the part's integer widths and with the host's: what leaves it must be the same.

Both run the same scenario. Behind the seam plain code costs nothing in it, so that every port call falls on
the same cycle; firmware written for registers may wait in plain code, so its blocks cost time, and are the
same ones in both builds; there every write to a register is an edge, too. The first edge that differs, in
moment or value, shows that the code means something else on the part.
"""

import subprocess
from dataclasses import replace
from functools import cached_property
from itertools import zip_longest
from pathlib import Path, PurePosixPath

import numpy as np

from dryspin.build import Compiler, Image, build_image
from dryspin.drive import Drive
from dryspin.errors import FirmwareError
from dryspin.faults.fault import INT_WIDTH, Fault, Place, fault_of
from dryspin.recording import Recording, Signal
from dryspin.registers.names import register_names
from dryspin.registers.places import HEADER_FOLDERS
from dryspin.rig import Rig
from dryspin.rig.checked import Undefined
from dryspin.scenario import Scenario


class Widths:
    """The firmware of `drive` in `firmware_dir` twice over. Raises BuildError.

    narrow: a compiler set to the part's integers. image: the ordinary one, with the host's.
    """

    def __init__(self, drive: Drive, firmware_dir: Path, narrow: Compiler, image: Image) -> None:
        self._drive, self._wide_image = drive, image
        if drive.pins is not None:
            narrow = replace(narrow, same_blocks=True)
            wide = replace(narrow, narrow=False)
            self._wide_image = build_image(drive, firmware_dir, compiler=wide)
        self._narrow_image = build_image(drive, firmware_dir, compiler=narrow)

    @cached_property
    def _wide(self) -> Rig:
        return Rig(self._wide_image, self._drive)

    @cached_property
    def _narrow(self) -> Rig:
        return Rig(self._narrow_image, self._drive)

    def faults(self, scenario: Scenario, recording: Recording) -> list[Fault]:
        """What the part's integers change in a run that has gone well with the host's, to `recording`."""
        controller, registers = self._drive.controller, self._drive.pins is not None
        block_cycles = controller.block_cycles if registers else 0
        try:
            if registers or controller.by_object_code or controller.block_cycles:
                recording = self._wide.run(scenario, block_cycles=block_cycles)
            narrow = self._narrow.run(scenario, block_cycles=block_cycles)
        except FirmwareError as error:
            return [replace(fault_of(error), kind=INT_WIDTH, text=f"with int of 16 bits {error.text}")]
        found = overflows(self._narrow.undefined(), self._narrow_image)
        if not found and (fault := difference(recording, narrow, self._wide_image, self._narrow_image)):
            if registers:
                fault = told_by_branch(fault, scenario, self._wide, self._narrow, block_cycles)
            found.append(fault)
        return found


def difference(wide: Recording, narrow: Recording, wide_image: Image, narrow_image: Image) -> Fault | None:
    """The first edge in which the two recordings differ, as a fault; None where they are the same."""
    fields = ("cycle", "signal", "value", "context")
    count = min(len(wide.edges), len(narrow.edges))
    same = np.ones(count, bool)
    for field in fields:
        same &= wide.edges[field][:count] == narrow.edges[field][:count]
    if same.all() and len(wide.edges) == len(narrow.edges):
        return None
    k = int(np.argmin(same)) if not same.all() else count
    place, what = _acted(narrow, narrow_image, k)
    other_place, other = _acted(wide, wide_image, k)
    text = f"with int of 16 bits {what}; with 32 bits {other}"
    if other_place != place and other_place.line:
        text += f" at {other_place}"
    edges = narrow.edges if k < len(narrow.edges) else wide.edges
    return Fault(INT_WIDTH, "", place, text, moment_s=float(edges["cycle"][k]) / narrow.f_cpu_hz)


def told_by_branch(fault: Fault, scenario: Scenario, wide: Rig, narrow: Rig, cycles: int) -> Fault:
    """The same at the branch that the two builds take different ways, where that is what made the difference.

    Runs both once more, at `cycles` a block: the same branches come at the same cycles until they part.
    """
    until = round((fault.moment_s or 0.0) * narrow.drive.controller.f_cpu_hz)
    place = _parted(*(_branches(rig, scenario, cycles, until) for rig in (wide, narrow)))
    if place is None or not place.line or place.line == fault.place.line:
        return fault
    seen = f", first seen at {fault.place}" if fault.place.line else ""
    return replace(fault, place=place, text=f"another way is taken than with 32 bits{seen}: {fault.text}")


def _branches(rig: Rig, scenario: Scenario, cycles: int, until: int) -> list[tuple[int, Place, bool]]:
    """The last branches of a run up to the cycle `until`: cycle, place, whether its condition held."""
    rig.branches_until(until)
    rig.run(scenario, block_cycles=cycles)
    rows = rig.branches()
    rig.branches_until(-1)
    places = {
        pc: Place(_own_line(rig.image, pc), rig.image.function_of(pc)) for pc in {pc for _, pc, _ in rows}
    }
    return [(cycle, places[pc], held) for cycle, pc, held in rows]


def _parted(wide: list[tuple[int, Place, bool]], narrow: list[tuple[int, Place, bool]]) -> Place | None:
    """The branch that both have come to and left on different ways; None where there is none."""
    begin = max((rows[0][0] for rows in (wide, narrow) if rows), default=0)
    last: Place | None = None
    both = ([row for row in rows if row[0] >= begin] for rows in (wide, narrow))
    for one, other in zip_longest(*both):
        # functions may differ: only one of the builds may have made one part of its caller
        if one is None or other is None or (one[0], one[1].line) != (other[0], other[1].line):
            return last
        last = other[1]
        if one[2] != other[2]:
            return last
    return None


def overflows(rows: list[Undefined], narrow_image: Image) -> list[Fault]:
    """What the narrow build met that C leaves undefined."""
    found = []
    for row in rows:
        place = Place(narrow_image.line_of(row.pc), narrow_image.function_of(row.pc))
        chain = tuple(Place(narrow_image.line_of(pc), narrow_image.function_of(pc)) for pc in row.chain)
        text = f"with int of 16 bits, {row.text}"
        calls = tuple(call for call in chain if call.line)
        found.append(Fault(INT_WIDTH, "", place, text, moment_s=row.moment_s, vector=row.vector, chain=calls))
    return found


def _acted(recording: Recording, image: Image, k: int) -> tuple[Place, str]:
    """The line of the first edge from `k` on that the firmware made, and what the edge `k` shows."""
    edges = recording.edges
    if k >= len(edges):
        return Place("", ""), "nothing more happens"
    edge = edges[k]
    name, value = Signal(int(edge["signal"])).name.lower().replace("_", " "), int(edge["value"])
    if edge["signal"] == Signal.REGISTER:
        name, value = _register(value >> 16), value & 0xFFFF
    what = f"{name} becomes {value} at {int(edge['cycle']) / recording.f_cpu_hz:.6f} s"
    made = np.flatnonzero(edges["pc"][k:])
    if not len(made):
        return Place("", ""), what
    actor = edges[k + int(made[0])]
    return _place(image, int(actor["pc"]), int(actor["caller"])), what


def _register(address: int) -> str:
    """Its name; where a pair begins, that of the pair."""
    names = register_names()
    return names.get((address, 2)) or names.get((address, 1)) or f"register 0x{address:02x}"


def _place(image: Image, pc: int, caller: int) -> Place:
    """Of an access; of one inside a function that comes with the rig, of what called that."""
    line = _own_line(image, pc)
    if not line and (line := _own_line(image, caller)):
        return Place(line, image.function_of(caller))
    return Place(line or image.line_of(pc), image.function_of(pc))


def _own_line(image: Image, pc: int) -> str:
    """The line in the firmware's own sources, be it that of a function of a header that became part of it."""
    line = image.line_of(pc)
    files = image.text.files if image.text else ()
    if (
        not line
        or line.rpartition(":")[0] in files
        or f"{line.rpartition(':')[0].removesuffix('.cpp')}" in files
    ):
        return line
    command = ["addr2line", "-i", "-e", str(image.path), hex(pc - 1)]
    asked = subprocess.run(command, capture_output=True, text=True, check=False)
    outer = [each.partition(" (")[0] for each in asked.stdout.splitlines()]
    own = [each for each in outer if not each.startswith((*HEADER_FOLDERS, "?"))]
    return PurePosixPath(own[0]).name if own else ""
