"""The firmware's objects as one, with its own names kept to itself.

Firmware and rig share one library. What the firmware calls `config`, `record` or `timer_create` is
its own business: it must neither clash with the core nor be taken for the C library's.
"""

import subprocess
from collections.abc import Iterable, Sequence
from pathlib import Path

from dryspin.build.spacing import GAP_BYTES, spacing_script
from dryspin.errors import BuildError

COPIES = ("memcpy", "memmove", "memset", "memcmp")
"""Functions of the C library whose accesses the checked build sees: access.c has one for each."""

SECLUDING = (
    "ld -r",
    "objcopy --keep-global-symbol",
    f"checked: gaps of {GAP_BYTES}, {' '.join(COPIES)} seen",
)
"""What is done to the objects; part of the image's key, as compiler flags are."""


def seclude(
    objects: Sequence[Path], shown: Iterable[str], target: Path, firmware_dir: Path, *, checked: bool = False
) -> None:
    """Join `objects` into `target`; of the names defined there only those `shown` reach the linker.

    checked: with gaps between the variables, and copies led through the core.
    """
    options, renamed = [], []
    if checked:
        script = target.with_suffix(".ld")
        script.write_text(spacing_script(objects), encoding="utf-8")
        options = ["-T", str(script)]
        renamed = [f"--redefine-sym={name}=access_{name}" for name in COPIES]
    run_tool(["ld", "-r", *options, *map(str, objects), "-o", str(target)], firmware_dir)
    keep = [f"--keep-global-symbol={name}" for name in shown]
    run_tool(["objcopy", *keep, *renamed, str(target)], firmware_dir)


def run_tool(command: list[str], firmware_dir: Path) -> None:
    """Call a tool for objects; raises BuildError where it is missing or fails."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, errors="replace", check=False)
    except FileNotFoundError:
        raise BuildError(
            f"{command[0]} not found; install it, on Debian `apt-get install binutils`"
        ) from None
    if done.returncode != 0:
        first = (done.stderr.splitlines() or ["no message"])[0]
        raise BuildError(f"{firmware_dir}: {command[0]} failed on the firmware's objects: {first}")
