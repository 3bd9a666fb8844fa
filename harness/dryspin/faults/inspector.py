"""The checked build of a firmware on the rig: scenarios in, faults out."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from dryspin.build import Compiler, Image, build_image, find_compiler
from dryspin.drive import Drive
from dryspin.errors import FirmwareError
from dryspin.faults.fault import Fault, Place
from dryspin.faults.findings import Evidence, faults_of, unused_reasons
from dryspin.rig import Rig
from dryspin.scenario import Scenario


@dataclass(frozen=True)
class Code:
    """What checked runs say about the C: faults, reasons in the drive that none needed, and how much ran."""

    faults: tuple[Fault, ...]
    unused_reasons: tuple[str, ...]
    runs: int
    simulated_s: float

    @property
    def open_faults(self) -> tuple[Fault, ...]:
        """Those that the drive does not explain."""
        return tuple(fault for fault in self.faults if not fault.accepted)


class Inspector:
    """The firmware of `drive` in `firmware_dir`, built with all checks. Raises BuildError."""

    def __init__(self, drive: Drive, firmware_dir: Path, compiler: Compiler | None = None) -> None:
        self._drive = drive
        checked = replace(compiler or find_compiler(), checked=True)
        self.image: Image = build_image(drive, firmware_dir, compiler=checked)

    @cached_property
    def _rig(self) -> Rig:
        return Rig(self.image, self._drive)

    def evidence(self, scenarios: Iterable[Scenario]) -> Evidence:
        """What runs of these scenarios show. A run that ends in a crash has shown what came before, too."""
        seen = Evidence()
        rig = self._rig
        rig.watch()
        for scenario in scenarios:
            try:
                seen.simulated_s += rig.run(scenario).end_s
            except FirmwareError as error:
                seen.simulated_s += error.moment_s
                seen.failures.append(fault_of(error))
            seen.runs += 1
            seen.undefined += rig.undefined()
        seen.rows.append(rig.accesses())
        seen.enables = rig.enables()
        return seen

    def judge(self, evidence: Evidence) -> Code:
        """The faults that the evidence shows."""
        found = faults_of(evidence, self.image, self._drive)
        unused = unused_reasons(found, self._drive)
        return Code(tuple(found), tuple(unused), evidence.runs, evidence.simulated_s)


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
