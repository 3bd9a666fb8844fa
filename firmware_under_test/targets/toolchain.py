"""From a firmware to a linked program of the part, with the compiler's frame sizes beside it."""

import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

from dryspin.build.sources import firmware_text
from dryspin.drive import Drive
from dryspin.drive.schema import COMPLEMENTARY
from firmware_under_test.targets.errors import TargetError, ToolchainError

PART = "atmega168"
HERE = Path(__file__).parent
PORT = HERE / PART
SEAM = HERE.parents[1] / "harness" / "dryspin" / "port"

FLAGS = (
    f"-mmcu={PART}",
    "-std=c11",
    "-O2",  # -Os saves a fifth of flash, which has room, and takes half as long again for a step
    "-fpeel-loops",  # loops over three legs become one copy a leg, its registers constants
    "-gdwarf-2",  # loops and handlers are found by source line and name
    "-Wall",
    "-Wextra",
    "-Wconversion",
    "-Werror",
    "-ffunction-sections",  # what nobody calls is left out by the linker
    "-fdata-sections",
    "-fno-jump-tables",  # a jump through a table cannot be followed
    "-ffp-contract=off",
)
WHOLE = (
    "-flto",  # a step passes through six sources: their small functions are inlined into its handlers
    "-flto-partition=one",
)
LINKED = ("-fuse-linker-plugin", "-fstack-usage", "-save-temps", "-Wl,--gc-sections")

TOOLS = ("avr-gcc", "avr-objdump")
INSTALL = "apt-get install gcc-avr avr-libc binutils-avr"


@dataclass(frozen=True)
class Program:
    """A linked program. `folder` holds program, objects and frame sizes; `texts` the lines compiled."""

    elf: Path
    folder: Path
    texts: dict[str, list[str]]


def require_toolchain() -> None:
    """Raises ToolchainError where a tool or the C library is not installed."""
    for tool in TOOLS:
        if shutil.which(tool) is None:
            raise ToolchainError(f"{tool} is not installed; {INSTALL}")
    probe = subprocess.run(
        ["avr-gcc", f"-mmcu={PART}", "-E", "-include", "avr/io.h", "-x", "c", "/dev/null"],
        capture_output=True,
        text=True,
        check=False,
    )
    if probe.returncode != 0:
        raise ToolchainError(f"avr-libc, or its part {PART}, is not installed; {INSTALL}")


def build(drive: Drive, firmware_dir: Path, folder: Path) -> Program:
    """Compile the drive's firmware with the target port and link it, all in the empty `folder`.

    Raises ToolchainError; TargetError for a board that the port is not for, or with the compiler's own words.
    """
    if drive.bridge.chopping == COMPLEMENTARY:
        raise TargetError(
            f'{drive.path}: [bridge] chopping = "{COMPLEMENTARY}": this target port drives each FET from a '
            "pin of its own; a gate driver with one input a leg wants input and enable in their place "
            "(pin_plan.md). Write a target port for that board."
        )
    require_toolchain()
    text = firmware_text(drive, firmware_dir)
    sources = folder / "src"
    for name, content in text.files.items():
        file = sources / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    defines = [f"-D{name}={value}" for name, value in drive.firmware.defines.items()]
    include = [f"-I{PORT}", *(f"-I{sources / name}" for name in drive.firmware.include), f"-I{SEAM}"]
    objects = []
    for name in text.sources:
        objects.append(_compile([*defines, *include, *WHOLE], sources, name, folder))
    startup = str(PORT / "startup.c")
    # its functions have no frame: GCC would refuse to tell the size
    objects.append(_compile([*defines, *include], sources, startup, folder))
    elf = folder / "program.elf"
    _run(["avr-gcc", *FLAGS, *WHOLE, *LINKED, *map(str, objects), "-o", str(elf)], sources)
    lines = {name: content.decode(errors="replace").splitlines() for name, content in text.files.items()}
    return Program(elf, folder, lines)


def _compile(flags: list[str], sources: Path, name: str, folder: Path) -> Path:
    found = folder / f"{Path(name).stem}.o"
    if found.exists():
        raise TargetError(f"two sources are named {Path(name).name}; frame sizes are told apart by that name")
    _run(["avr-gcc", *FLAGS, *flags, "-c", name, "-o", str(found)], sources)
    return found


def _run(command: list[str], where: Path) -> None:
    done = subprocess.run(command, cwd=where, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise TargetError(f"{command[0]} refuses the program for the {PART}:\n{done.stderr.strip()}")
