"""The checked build of a firmware on the rig: scenarios in, faults out."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from dryspin.build import Compiler, Image, build_image, find_compiler, firmware_text
from dryspin.build.narrow import INSTALL, narrow_compiler
from dryspin.drive import Drive
from dryspin.errors import BuildError, FirmwareError
from dryspin.faults.fault import Fault, fault_of
from dryspin.faults.findings import Evidence, faults_of, unused_reasons
from dryspin.faults.statements import Statements
from dryspin.faults.variables import Variables
from dryspin.faults.widths import Widths
from dryspin.recording import Recording
from dryspin.rig import Rig
from dryspin.rig.checked import Torn
from dryspin.scenario import Scenario


@dataclass(frozen=True)
class Code:
    """What checked runs say about the C: faults, reasons in the drive that none needed, how much ran.

    `left_out`: what could not be looked at, and why.
    """

    faults: tuple[Fault, ...]
    unused_reasons: tuple[str, ...]
    runs: int
    simulated_s: float
    left_out: str = ""

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
        self._statements = Statements(firmware_text(drive, firmware_dir).files)
        self._widths: Widths | None = None
        self.left_out = ""
        if (narrow := narrow_compiler()) is None:
            self.left_out = f"the part's 16-bit int, for want of clang ({INSTALL})"
        else:
            try:
                self._widths = Widths(drive, firmware_dir, narrow, self.image)
            except BuildError as error:
                self.left_out = f"the part's 16-bit int: {error}"

    @cached_property
    def _rig(self) -> Rig:
        return Rig(self.image, self._drive)

    @cached_property
    def _variables(self) -> Variables:
        return Variables(self.image.path)

    def evidence(self, scenarios: Iterable[Scenario], *, widths: bool = True) -> Evidence:
        """What runs of these scenarios show. A run that ends in a crash has shown what came before, too.

        widths: with the part's integers as well, where that can be done.
        """
        seen = Evidence()
        self._rig.watch()
        for scenario in scenarios:
            try:
                recording = self._rig.run(scenario)
            except FirmwareError as error:
                seen.simulated_s += error.moment_s
                seen.failures.append(fault_of(error))
            else:
                seen.simulated_s += recording.end_s
                seen.digests.append(recording.digest())
                if widths and self._widths:
                    seen.widths += self._widths.faults(scenario, recording)
            seen.runs += 1
            seen.undefined += self._rig.undefined()
        seen.rows.append(self._rig.accesses())
        seen.enables = self._rig.enables()
        return seen

    def torn(self, scenario: Scenario, fault: Fault, from_s: float = 0.0) -> tuple[Recording, Torn | None]:
        """The scenario with the handler of a torn read or write in the midst of that access, once.

        What came of it, and the access; None where it was not met from `from_s` on. A read and a write
        back on one line are torn at the half that the fault names. Raises RigError.
        """
        self._rig.watch()
        self._rig.tear(fault.pc, fault.handler, from_s)
        try:
            return self._rig.run(scenario), self._rig.torn()
        finally:
            self._rig.tear(0, 0)

    def judge(self, evidence: Evidence) -> Code:
        """The faults that the evidence shows."""
        found = faults_of(evidence, self.image, self._drive, self._variables, self._statements)
        unused = unused_reasons(found, self._drive)
        return Code(tuple(found), tuple(unused), evidence.runs, evidence.simulated_s, self.left_out)
