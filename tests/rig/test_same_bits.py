"""The same scenario gives the same bits: run after run, process after process, compiler after compiler."""

import shutil
import subprocess
import sys
from dataclasses import replace

import pytest

from dryspin.build import Compiler, build_image, toolchain
from dryspin.build.flags import WIDE
from dryspin.build.toolchain import find_compiler, processor_flags
from dryspin.drive import Drive
from dryspin.rig import Rig
from dryspin.scenario import Fault, Scenario

from ..small_firmware import BOW_THRUSTER, scenario

pytestmark = pytest.mark.slow

GIVEN = scenario(
    1.6,
    throttle_us=((0.0, 1500.0), (0.7, 1900.0)),
    supply_v=((0.0, 11.1), (1.2, 12.0)),
    comparator_noise_mv=((0.0, 3.0),),
    parts={"r_phase": 1.05},
    faults=(Fault("reset", 1.5),),
)
"""Arming, start, closed loop and a reset, with noise and a moving supply."""

HERE = processor_flags()


def digest(drive: Drive, compiler: Compiler | None = None, given: Scenario = GIVEN) -> str:
    """Digest of the bow thruster's run, built by `compiler`."""
    recording = Rig(build_image(drive, BOW_THRUSTER, compiler=compiler), drive).run(given)
    assert len(recording.edges) > 10_000
    return recording.digest()


@pytest.fixture(scope="module")
def expected(thruster: Drive) -> str:
    """The run as built by default."""
    return digest(thruster)


def test_twice_in_one_process(thruster: Drive, expected: str) -> None:
    """Nothing of a run is left behind, another scenario in between included."""
    rig = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    first = rig.run(GIVEN).digest()
    rig.run(replace(GIVEN, seed=8, end_s=1.55))

    assert first == rig.run(GIVEN).digest() == expected


def test_another_seed_is_another_run(thruster: Drive, expected: str) -> None:
    """The digest can tell: the noise differs, and with it comparator and timing."""
    assert digest(thruster, given=replace(GIVEN, seed=8)) != expected


def test_in_a_fresh_process(expected: str) -> None:
    """Addresses differ there; none may reach a result."""
    script = f"""
from pathlib import Path
from dryspin.build import build_image
from dryspin.drive import load_drive
from dryspin.rig import Rig
from dryspin.scenario import parse_scenario
folder = Path({str(BOW_THRUSTER)!r})
drive = load_drive(folder)
given = parse_scenario({GIVEN.to_toml()!r}, "text")
print(Rig(build_image(drive, folder), drive).run(given).digest())
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == expected


@pytest.mark.parametrize("level", ["-O0", "-O2", "-Os"])
def test_at_every_level_of_the_firmware(thruster: Drive, expected: str, level: str) -> None:
    """Block cost 0: only port calls take time, and they are the same."""
    assert digest(thruster, replace(find_compiler(), firmware_level=level)) == expected


@pytest.mark.parametrize("level", ["-O0", "-O2"])
def test_at_every_level_of_the_core(thruster: Drive, expected: str, level: str) -> None:
    """No contraction, no fast math: the plant's sums round alike."""
    assert digest(thruster, replace(find_compiler(), core_level=level)) == expected


def test_with_every_compiler_at_hand(thruster: Drive, expected: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """gcc and clang, where both are installed; the suite's own compiler in any case."""
    seen = set()
    for name in ("gcc", "clang", " ".join(find_compiler().command)):
        if shutil.which(name.split()[0]):
            monkeypatch.setenv("CC", name)
            seen.add(digest(thruster, find_compiler.__wrapped__()))

    assert seen == {expected}


def test_on_a_processor_without_wide_instructions(
    thruster: Drive, expected: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A finding is replayed on another machine, whose core may have been compiled for less."""
    here = find_compiler().core_flags
    monkeypatch.setattr(toolchain, "processor_flags", lambda: frozenset({"sse2"}))
    least = find_compiler().core_flags

    assert set(here) - set(least) == (set(WIDE) if "avx2" in HERE else set())
    assert digest(thruster) == expected
