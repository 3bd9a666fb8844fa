"""The firmware's objects as one, with its own names kept to itself.

Firmware and rig share one library. What the firmware calls `config`, `record` or `timer_create` is
its own business: it must neither clash with the core nor be taken for the C library's.
"""

import subprocess
from collections.abc import Iterable, Sequence
from pathlib import Path

from dryspin.errors import BuildError

SECLUDING = ("ld -r", "objcopy --keep-global-symbol")
"""What is done to the objects; part of the image's key, as compiler flags are."""


def seclude(objects: Sequence[Path], shown: Iterable[str], target: Path, firmware_dir: Path) -> None:
    """Join `objects` into `target`; of the names defined there only those `shown` reach the linker."""
    run_tool(["ld", "-r", *map(str, objects), "-o", str(target)], firmware_dir)
    keep = [f"--keep-global-symbol={name}" for name in shown]
    run_tool(["objcopy", *keep, str(target)], firmware_dir)


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
