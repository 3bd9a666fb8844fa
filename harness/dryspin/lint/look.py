"""All that is looked at without running the firmware, in one go."""

import tempfile
from dataclasses import dataclass
from pathlib import Path

from dryspin.build import build_image, firmware_text
from dryspin.drive import Drive
from dryspin.lint.stack import StackUse, stack_use
from dryspin.lint.target import Warned, compile_for_part
from dryspin.target.program import INSTALL


@dataclass(frozen=True)
class Looked:
    """`compiler`: the part's, "" where none is installed; `stack` None where its objects are missing.

    `left_out`: what was not looked at, and what to install.
    """

    compiler: str
    warnings: tuple[Warned, ...]
    stack: StackUse | None
    left_out: str

    @property
    def clean(self) -> bool:
        """No warning, and room for the stack."""
        return not self.warnings and (self.stack is None or self.stack.fits)


def look(drive: Drive, firmware_dir: Path) -> Looked:
    """Build the firmware as for the rig, and compile it for the part. Raises BuildError.

    The build refuses calls whose state the rig could not put back, with symbol and line.
    """
    build_image(drive, firmware_dir)
    if drive.pins is not None:
        return Looked("", (), None, "the part's compiler and stack, for firmware written for its registers")
    text = firmware_text(drive, firmware_dir)
    with tempfile.TemporaryDirectory(prefix="dryspin-lint-") as folder:
        compiled = compile_for_part(drive, text, Path(folder))
        stack = stack_use(compiled.objects, drive.controller.part) if compiled.objects else None
    missing = "" if stack else f"the part's stack, for want of avr-gcc ({INSTALL})"
    if not compiled.compiler:
        missing = f"the part's compiler and stack, for want of avr-gcc or clang ({INSTALL})"
    return Looked(compiled.compiler, compiled.warnings, stack, missing)
