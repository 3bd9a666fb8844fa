"""The bow thruster's target port, run at register level: what it is beside the seam it stands for."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dryspin.build import build_image
from dryspin.drive import Change, Drive, load_drive
from dryspin.monitors import Verdict, judge
from dryspin.recording import LEGS, Mark, Recording, Signal
from dryspin.rig import Rig
from dryspin.scenario import Scenario, read_scenario

from ..small_firmware import BOW_THRUSTER

PORT = BOW_THRUSTER.parent / "targets"
REFERENCE = BOW_THRUSTER.parent.parent / "traces" / "by_hand" / "reference.toml"
COMPARE_A = 12

Run = Callable[[Path], Recording]


@pytest.fixture(scope="module")
def run() -> Run:
    """The reference scenario on the firmware of a folder, run once."""
    kept: dict[Path, Recording] = {}

    def recorded(folder: Path) -> Recording:
        if folder not in kept:
            drive = load_drive(folder)
            kept[folder] = Rig(build_image(drive, folder), drive).run(read_scenario(REFERENCE))
        return kept[folder]

    return recorded


def verdicts(recording: Recording) -> dict[str, str]:
    """Status by claim."""
    return {f"{v.family}.{v.claim}": v.status.name for v in judge(recording)}


def latencies(recording: Recording) -> np.ndarray:
    """Cycles from a compare match's handler to the first leg that changes, in closed loop."""
    entries, vectors, _ = recording.of(Signal.HANDLER)
    changes = np.sort(np.concatenate([recording.of(signal)[0] for signal in LEGS]))
    marks, values, _ = recording.of(Signal.MARK)
    entries = entries[(vectors == COMPARE_A) & (entries > marks[values == Mark.RUN][0])]
    after = changes[np.minimum(np.searchsorted(changes, entries), len(changes) - 1)] - entries
    return after[(after > 0) & (after < 100)]


def test_the_same_scenario_gets_the_same_verdicts_through_registers_and_through_the_seam(run: Run) -> None:
    """Every claim: the seam promises what the port does."""
    through_the_seam = verdicts(run(BOW_THRUSTER))

    assert verdicts(run(PORT)) == through_the_seam
    assert list(through_the_seam.values()).count("HELD") > 30


def test_commutations_come_within_four_cycles_of_the_seam_s(run: Run) -> None:
    """13 cycles from handler to leg through the seam (7 of entry, 6 of port_leg). Registers: 7 of entry, then
    what it takes to disconnect or to lower one pin, 2 to 10, by which pin that is; so 9 to 17."""
    seam, port = latencies(run(BOW_THRUSTER)), latencies(run(PORT))

    assert len(port) > 5000
    assert set(np.percentile(seam, [1, 50, 99])) == {13}
    assert np.abs(np.percentile(port, [1, 50, 99]) - 13).max() <= 4


DEFECTS = {
    "write order: the low half of a 16-bit register first": (
        Change(
            "atmega168/target_ticks.h",
            "	*reg = value;",
            "	((volatile uint8_t *)reg)[0] = (uint8_t)value;\n"
            "	((volatile uint8_t *)reg)[1] = (uint8_t)(value >> 8);",
        ),
        "startup.in_time",
    ),
    "flag clearing: changed in place, every flag with it": (
        Change("atmega168/target_ticks.h", "	TIFR1 = _BV(OCF1A);", "	TIFR1 |= _BV(OCF1A);"),
        "tones.pattern",
    ),
    "pin mode before level: pull-ups on everything, then outputs": (
        Change(
            "atmega168/startup.c",
            "	DDRB = _BV(TARGET_HIGH_V)",
            "	PORTD = 0xFFU;\n	DDRB = _BV(TARGET_HIGH_V)",
        ),
        "gates.both_fets",
    ),
}
"""What is wrong, and the claim that objects."""


@pytest.mark.parametrize("name", DEFECTS)
def test_defects_seeded_in_the_port_are_found(name: str) -> None:
    """The port is no longer outside what a run can show."""
    change, claim = DEFECTS[name]
    drive: Drive = load_drive(PORT)
    drive = replace(drive, firmware=replace(drive.firmware, change=(change,)))
    scenario: Scenario = replace(
        read_scenario(REFERENCE), end_s=2.0, throttle_us=((0.0, 1500.0), (1.0, 1790.0))
    )
    found: list[Verdict] = judge(Rig(build_image(drive, PORT), drive).run(scenario))

    assert claim in {f"{v.family}.{v.claim}" for v in found if v.status.name == "BROKEN"}
