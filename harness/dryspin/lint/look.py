"""All that is looked at without running the firmware, in one go."""

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

from dryspin.build import FirmwareText, build_image, find_compiler, firmware_text
from dryspin.build.register_level import assemblies
from dryspin.drive import Drive
from dryspin.lint.shared import Unmarked, unmarked
from dryspin.lint.stack import StackUse, stack_use
from dryspin.lint.target import Warned, compile_for_part
from dryspin.target.program import INSTALL


@dataclass(frozen=True)
class Looked:
    """`compiler`: the part's, "" where none is installed; `stack` None where its objects are missing.

    `left_out`: what was not looked at, and what to install. `unmarked`: of firmware written for registers,
    variables to look at; whether a handler can come between is for a run to say, so they are no fault yet.
    """

    compiler: str
    warnings: tuple[Warned, ...]
    stack: StackUse | None
    left_out: str
    unmarked: tuple[Unmarked, ...] = ()

    @property
    def clean(self) -> bool:
        """No warning, and room for the stack."""
        return not self.warnings and (self.stack is None or self.stack.fits)


def look(drive: Drive, firmware_dir: Path) -> Looked:
    """Build the firmware as for the rig, and compile it for the part. Raises BuildError.

    The build refuses calls whose state the rig could not put back, with symbol and line.
    """
    build_image(drive, firmware_dir)
    text = firmware_text(drive, firmware_dir)
    with tempfile.TemporaryDirectory(prefix="dryspin-lint-") as folder:
        compiled = compile_for_part(drive, text, Path(folder))
        stack = stack_use(compiled.objects, drive) if compiled.objects else None
    shared = _unmarked(drive, text, firmware_dir) if drive.pins else ()
    missing = "" if stack else f"the part's stack, for want of avr-gcc ({INSTALL})"
    if not compiled.compiler:
        missing = f"the part's compiler and stack, for want of avr-gcc or clang ({INSTALL})"
    return Looked(compiled.compiler, compiled.warnings, stack, missing, shared)


def _unmarked(drive: Drive, text: FirmwareText, firmware_dir: Path) -> tuple[Unmarked, ...]:
    """Those that the drive does not explain."""
    explained = {each.variable for each in drive.shared}
    compiler = replace(find_compiler(), checked=True, firmware_level="-O0")
    with tempfile.TemporaryDirectory(prefix="dryspin-lint-") as folder:
        found = unmarked(assemblies(drive, text, compiler, Path(folder), firmware_dir), text.sources)
    return tuple(each for each in found if each.variable not in explained)
