"""The core's own sources under strict warnings, and running under the undefined-behaviour sanitizer."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from dryspin.build import find_compiler
from dryspin.build.library import CORE, PORT

from ..small_firmware import BOW_THRUSTER, Bench

COMPILERS = sorted({(name,) for name in ("gcc", "clang") if shutil.which(name)} | {find_compiler().command})

# gcc brings a shared run-time library for its reports; without it the first finding is a trap.
SANITIZING = (
    ("gcc", "-fsanitize=undefined", "-fno-sanitize-recover=all")
    if ("gcc",) in COMPILERS
    else (*find_compiler().command, "-fsanitize=undefined", "-fsanitize-trap=undefined")
)

# To objects, one by one: the wheel's driver fails with -fsyntax-only, and links several sources despite -c.
STRICT = ("-std=c11", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-fPIC", "-c", f"-I{PORT}")


@pytest.mark.parametrize("compiler", COMPILERS, ids=" ".join)
def test_the_core_compiles_without_a_warning(compiler: tuple[str, ...], tmp_path: Path) -> None:
    """Narrowing included: cycles are 64 bits, everything the part has is 8 or 16."""
    for path in sorted(CORE.glob("*.c")):
        command = [*compiler, *STRICT, str(path)]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)

        assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("compiler", COMPILERS, ids=" ".join)
def test_the_seam_compiles_alone_and_without_a_warning(compiler: tuple[str, ...], tmp_path: Path) -> None:
    """It is the only file of ours that a firmware includes, whatever warnings it is built with."""
    source = tmp_path / "alone.c"
    source.write_text('#include "drive_port.h"\n#include "drive_port.h"\nint alone;\n')
    options = (*STRICT, "-Wpedantic", "-Wstrict-prototypes", "-Wundef")
    command = [*compiler, *options, str(source)]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)

    assert (done.returncode, done.stderr) == (0, "")


SANITIZED = f"""
import os
from pathlib import Path
from dryspin.build import build_image, find_compiler
from dryspin.drive import load_drive
from dryspin.rig import Rig
from dryspin.scenario import Fault, Scenario

folder = Path({str(BOW_THRUSTER)!r})
drive = load_drive(folder)
plain = find_compiler()
os.environ["CC"] = {" ".join(SANITIZING)!r}
checked = find_compiler.__wrapped__()
scenario = Scenario(
    seed=1, end_s=2.0, rest_deg=75.0, frame_ms=20.0,
    throttle_us=((0.0, 1500.0), (0.7, 1900.0), (1.5, 1100.0)),
    supply_v=((0.0, 12.0), (1.0, 10.5)), comparator_noise_mv=((0.0, 3.0),),
    faults=(Fault("reset", 1.8),),
)
images = [build_image(drive, folder, compiler=compiler) for compiler in (plain, checked)]
assert len(images[1].path.read_bytes()) > 1.2 * len(images[0].path.read_bytes())
digests = [Rig(image, drive).run(scenario).digest() for image in images]
print("same" if digests[0] == digests[1] else "different")
"""


def test_core_and_bow_thruster_run_without_undefined_behaviour() -> None:
    """Overflow, shifts, misalignment, null, bounds: the first one would end the process with a report."""
    done = subprocess.run(
        [sys.executable, "-c", SANITIZED], capture_output=True, text=True, timeout=100, check=False
    )

    assert done.stderr == ""
    assert (done.returncode, done.stdout) == (0, "same\n")


def test_the_sanitizer_would_have_told(bench: Bench) -> None:
    """An overflow planted in a firmware ends the process with the compiler's report, file and line."""
    bench.image("""
        #include "say.h"
        static volatile int large = 0x7FFFFFFF;
        int main(void)
        {
            large = large + 1; /* here */
            SLEEP_FOREVER
        }
    """)
    script = f"""
from dataclasses import replace
from pathlib import Path
from dryspin.build import build_image, find_compiler
from dryspin.drive import Firmware, load_drive
from dryspin.rig import Rig
from dryspin.scenario import Scenario
firmware = Firmware(("*.c",), (".",), {{}}, "")
drive = replace(load_drive(Path({str(BOW_THRUSTER)!r})), layers=(), firmware=firmware)
image = build_image(drive, Path({str(bench.folder)!r}))
Rig(image, drive).run(Scenario(seed=1, end_s=0.1, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 0.0),)))
"""
    done = subprocess.run(
        [sys.executable, "-c", script],
        env={**os.environ, "CC": " ".join(SANITIZING)},
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )

    assert done.returncode != 0
    assert f"{bench.place('/* here */')}" in done.stderr
    assert "signed integer overflow" in done.stderr or "an illegal instruction" in done.stderr
