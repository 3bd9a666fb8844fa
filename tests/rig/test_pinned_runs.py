"""Pinned runs: four builds give the bits in pins.toml; with block costs, the same verdicts."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.build import Compiler, build_image
from dryspin.build.toolchain import find_compiler
from dryspin.drive import Drive, load_claims
from dryspin.monitors import judge, known_claims, known_limits
from dryspin.recording import Mark, Reset, Signal
from dryspin.rig import Rig

from ..small_firmware import BOW_THRUSTER
from .pins import HOW, RUNS, digests, read_pins

pytestmark = pytest.mark.slow

BUILDS = [(name, level) for name in ("gcc", "clang") for level in ("-O0", "-O2")]
BLOCK_CYCLES = 3
"""At 4 the unoptimised builds, which nobody flashes, take 10.5 to 11 us from one pattern to the next, beyond
the 10 us of gates.pattern; at 3 all builds keep it (4.9 to 8.9 us)."""


def compiler(name: str, level: str, monkeypatch: pytest.MonkeyPatch) -> Compiler:
    """That compiler, core and firmware at `level`."""
    if not shutil.which(name):
        pytest.skip(f"{name} is not installed; CI has it")
    monkeypatch.setenv("CC", name)
    return replace(find_compiler.__wrapped__(), firmware_level=level, core_level=level)


@pytest.mark.parametrize(("name", "level"), BUILDS)
def test_every_build_gives_the_pinned_bits(
    thruster: Drive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, level: str
) -> None:
    """gcc and clang, core and firmware at -O0 and -O2, block cost 0."""
    build = compiler(name, level, monkeypatch)
    seen = {run: digests(pinned.run(thruster, tmp_path, build)) for run, pinned in RUNS.items()}

    assert seen == read_pins(), HOW


def test_the_pinned_runs_hold_what_a_run_can_hold(thruster: Drive, tmp_path: Path) -> None:
    """A pin over a run in which little happens would hold little."""
    recordings = {name: pinned.run(thruster, tmp_path) for name, pinned in RUNS.items()}
    seen = {signal for run in recordings.values() for signal in Signal if len(run.of(signal)[0]) > 3}
    marks = {int(mark) for run in recordings.values() for mark in run.of(Signal.MARK)[1]}
    causes = {int(cause) for run in recordings.values() for cause in run.of(Signal.RESET)[1]}

    assert seen == set(Signal) - {Signal.SERIAL, Signal.REGISTER}, "the seam has neither"
    assert marks >= {Mark.ARMED, Mark.TONE, Mark.ALIGN, Mark.RAMP, Mark.RUN, Mark.BRAKE, Mark.CROSSING}
    assert causes == {int(cause) for cause in Reset}


@pytest.mark.parametrize("name", ["gcc", "clang"])
def test_with_code_costs_one_compiler_gives_the_same_bits(
    thruster: Drive, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """Blocks are that compiler's at those flags: a digest says nothing across compilers."""
    build = compiler(name, "-O1", monkeypatch)
    given = RUNS["noise, a moving supply, unequal parts and a reset"].given()
    rigs = [Rig(build_image(thruster, BOW_THRUSTER, compiler=build), thruster) for _ in range(2)]
    seen = {rig.run(given, block_cycles=BLOCK_CYCLES).digest() for rig in rigs}

    assert len(seen) == 1
    assert rigs[0].run(given).digest() not in seen, "the cost is charged"


@pytest.mark.long
def test_with_code_costs_every_build_gives_the_same_verdicts(
    thruster: Drive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Plain code then takes another time in every build, and a claim must not turn on that."""
    claims = load_claims(BOW_THRUSTER / "claims.toml", known_claims(), known_limits())
    verdicts = {}
    for name, level in BUILDS:
        rig = Rig(build_image(thruster, BOW_THRUSTER, compiler=compiler(name, level, monkeypatch)), thruster)
        for run, pinned in RUNS.items():
            if not pinned.text:
                judged = judge(rig.run(pinned.given(), block_cycles=BLOCK_CYCLES), claims)
                verdicts[name, level, run] = {verdict.name: verdict.status for verdict in judged}

    first = BUILDS[0]
    assert len(verdicts) == 2 * len(BUILDS)
    for name, level, run in verdicts:
        assert verdicts[name, level, run] == verdicts[*first, run], (name, level, run)
