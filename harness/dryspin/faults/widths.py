"""The same firmware with the part's integer widths and with the host's: what leaves it must be the same.

Both run the same scenario. Behind the seam plain code costs nothing in it, so that every port call falls on
the same cycle; firmware written for registers may wait in plain code, so its blocks cost time, and are the
same ones in both builds. The first edge that differs, in moment or value, shows that the code means something
else on the part.
"""

from dataclasses import replace
from functools import cached_property
from pathlib import Path

import numpy as np

from dryspin.build import Compiler, Image, build_image
from dryspin.drive import Drive
from dryspin.errors import FirmwareError
from dryspin.faults.fault import INT_WIDTH, Fault, Place, fault_of
from dryspin.recording import Recording, Signal
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
    name = Signal(int(edge["signal"])).name.lower().replace("_", " ")
    what = f"{name} becomes {int(edge['value'])} at {int(edge['cycle']) / recording.f_cpu_hz:.6f} s"
    made = np.flatnonzero(edges["pc"][k:])
    if not len(made):
        return Place("", ""), what
    pc = int(edges["pc"][k + int(made[0])])
    return Place(image.line_of(pc), image.function_of(pc)), what
