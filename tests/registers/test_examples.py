"""The two firmwares written as people write them: they turn the motor, and their faults stay found."""

from pathlib import Path

import numpy as np
import pytest

from dryspin.findings import BROKEN, load_subject, read_finding, replay
from dryspin.recording import Mark, Signal
from dryspin.scenario import Scenario

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "firmware_under_test"
FOUND = sorted((ROOT / "traces" / "found").glob("*.toml"))
OURS = ("polling_sketch", "two_way_interrupts")

KEPT = [path for path in FOUND if read_finding(path).firmware.name in OURS]


@pytest.mark.parametrize(("name", "neutral_us", "way"), [
    ("polling_sketch", 1100.0, 1),
    ("two_way_interrupts", 1500.0, 1),
    ("two_way_interrupts", 1500.0, -1),
])  # fmt: skip
def test_each_turns_the_motor_in_closed_loop(name: str, neutral_us: float, way: int) -> None:
    """From 210 degrees, a second after the rite, at half stick: more than 1000 rpm the way it was asked."""
    subject = load_subject(EXAMPLES / name)
    asked_us = neutral_us + (400.0 if neutral_us < 1500.0 else 250.0) * way
    scenario = Scenario(
        seed=7,
        end_s=2.2,
        rest_deg=210.0,
        frame_ms=20.0,
        throttle_us=((0.0, neutral_us), (1.0, asked_us)),
    )
    recording = subject.record(scenario)
    speed_rpm = recording.states["w_rad_s"] * 30.0 / np.pi

    assert Mark.RUN in recording.of(Signal.MARK)[1]
    assert way * float(speed_rpm[-1]) > 1000.0


@pytest.mark.parametrize("name", OURS)
def test_each_has_findings_of_its_own(name: str) -> None:
    """What a check of it has found, and kept."""
    assert len([path for path in KEPT if read_finding(path).firmware.name == name]) >= 2


@pytest.mark.parametrize("path", KEPT, ids=lambda path: path.stem)
def test_the_findings_kept_are_still_there(path: Path) -> None:
    """Nobody has mended these firmwares; a finding that goes away is the rig's change."""
    assert replay(read_finding(path)).outcome.status == BROKEN


@pytest.mark.slow
def test_a_count_of_lost_frames_that_wraps_is_told_by_a_loss_of_that_length(tmp_path: Path) -> None:
    """256 wraps of 32.768 ms: 8.4 s after the last pulse the count is young, and the old demand is obeyed."""
    (tmp_path / "drive.toml").write_text(
        f'name = "counts lost frames round"\n[firmware]\nbase = "{EXAMPLES / "two_way_interrupts"}"\n'
        '[[firmware.change]]\nfile = "thruster.cpp"\n'
        'before = "\tif (frames_without_pulse < 255)\\n\t\tframes_without_pulse++;"\n'
        'after = "\tframes_without_pulse++;"\n'
    )
    lost = Scenario(
        seed=7,
        end_s=11.0,
        rest_deg=210.0,
        frame_ms=20.0,
        throttle_us=((0.0, 1500.0), (1.0, 1900.0), (2.0, 0.0)),
    )
    wrapping, sound = load_subject(tmp_path), load_subject(EXAMPLES / "two_way_interrupts")

    assert wrapping.try_out(lost).of("arming.loss").status == BROKEN
    assert sound.try_out(lost).of("arming.loss").status != BROKEN
