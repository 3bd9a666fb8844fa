"""The C compiler of this machine."""

import os
import platform
import shutil
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from dryspin.build import flags
from dryspin.errors import BuildError

CANDIDATES = ("gcc", "cc", "clang")
WHEEL = (sys.executable, "-m", "ziglang", "cc")
"""The compiler of the extra `zig`, where a machine has none of its own; ld and objcopy are still needed.

A clang, but for its driver, which fails where no object is written (-fsyntax-only), has undefined-behaviour
checks on at -O0, and builds the C library's stubs at its first link. The part's 16-bit integers are looked at
only where clang itself is installed.
"""

COMPILE_TIMEOUT_S = 120


@dataclass(frozen=True, slots=True)
class Compiler:
    """A compiler: how it is called, what it says its version is, which family it belongs to.

    Optimisation changes no result, only speed; tests/controller holds that. `checked`: firmware is
    built with a hook at each memory access and at each undefined operation. `narrow`: with the
    integer widths of the part, see narrow.py. `same_blocks`: firmware written for registers is built so
    that its blocks do not depend on them, see narrow_registers.py.
    """

    command: tuple[str, ...]
    version: str
    is_clang: bool
    firmware_level: str = "-O1"
    core_level: str = "-O3"
    checked: bool = False
    narrow: bool = False
    same_blocks: bool = False

    @property
    def core_flags(self) -> tuple[str, ...]:
        """Flags for the core's own sources."""
        own = flags.CLANG_CORE if self.is_clang else ()
        return (*flags.CORE, self.core_level, *own, *(flags.WIDE if "avx2" in processor_flags() else ()))

    @property
    def firmware_flags(self) -> tuple[str, ...]:
        """Flags for firmware sources, the block hook included."""
        return (
            *flags.FIRMWARE,
            self.firmware_level,
            *(flags.CLANG_FIRMWARE if self.is_clang else flags.GCC_FIRMWARE),
            *self._checks,
        )

    @property
    def register_flags(self) -> tuple[str, ...]:
        """Flags for firmware written for registers, language and folders apart."""
        own = flags.CLANG_REGISTERS if self.is_clang else flags.GCC_REGISTERS
        more = flags.CLANG_CHECKED_REGISTERS if self.is_clang else flags.GCC_CHECKED_REGISTERS
        checks = (*flags.CHECKED_REGISTERS, *more) if self.checked else ()
        return (*flags.REGISTER_FIRMWARE, self.firmware_level, *own, *checks)

    @property
    def _checks(self) -> tuple[str, ...]:
        if not self.checked:
            return ()
        return (*flags.CHECKED, *(flags.CLANG_CHECKED if self.is_clang else flags.GCC_CHECKED))

    def run(self, arguments: Sequence[str], cwd: Path) -> subprocess.CompletedProcess[str]:
        """Call the compiler; the caller judges the return code. Raises BuildError after two minutes."""
        try:
            return subprocess.run(
                [*self.command, *arguments],
                cwd=cwd,
                capture_output=True,
                text=True,
                errors="replace",
                timeout=COMPILE_TIMEOUT_S,
                stdin=subprocess.DEVNULL,
                env={**os.environ, "LC_ALL": "C"},
            )
        except subprocess.TimeoutExpired:
            raise BuildError(
                f"{self.command[0]} did not end within {COMPILE_TIMEOUT_S} s on {' '.join(arguments[-1:])}; "
                "look for a source that includes itself or a huge macro"
            ) from None


@cache
def processor_flags() -> frozenset[str]:
    """What this machine's processor can do, as Linux names it; empty where it does not say."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return frozenset()
    named = next((line.partition(":")[2] for line in lines if line.startswith("flags")), "")
    return frozenset(named.split())


@cache
def find_compiler() -> Compiler:
    """`$CC`, else gcc, cc, clang or that of the ziglang wheel.

    Raises BuildError with what to install where none is found.
    """
    if platform.system() != "Linux" or platform.machine() not in ("x86_64", "AMD64"):
        raise BuildError(
            f"the rig runs on Linux x86-64, this is {platform.system()} {platform.machine()}; "
            "use a container or subsystem of that kind"
        )
    named = os.environ.get("CC", "").split()
    for command in [tuple(named)] if named else [(name,) for name in CANDIDATES]:
        if (compiler := compiler_of(command)) is not None:
            return compiler
    if not named and find_spec("ziglang") and (compiler := compiler_of(WHEEL)) is not None:
        return compiler
    looked = named[0] if named else ", ".join(CANDIDATES)
    raise BuildError(
        f"no C compiler found (looked for {looked}); install one, on Debian `apt-get install gcc libc6-dev`, "
        "or `pip install 'dryspin[zig]'`, or name it in CC"
    )


def compiler_of(command: tuple[str, ...]) -> Compiler | None:
    """The compiler that is called so; None where there is none."""
    if shutil.which(command[0]) is None:
        return None
    answer = subprocess.run([*command, "--version"], capture_output=True, text=True, check=False)
    if answer.returncode != 0 or not answer.stdout:
        return None
    return Compiler(command, answer.stdout.splitlines()[0], "clang" in answer.stdout.lower())
