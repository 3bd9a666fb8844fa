"""With throttle and all gates: the lost signal and the direction asked for, on good and on wrong firmware."""

from pathlib import Path

import pytest

from dryspin.build import build_image
from dryspin.capture import CaptureVerdict, judge_capture, read
from dryspin.capture.from_recording import capture_of
from dryspin.drive import load_drive
from dryspin.monitors import judge
from dryspin.recording import Recording
from dryspin.rig import Rig
from dryspin.scenario import Scenario

FIRMWARE = Path(__file__).parents[2] / "firmware_under_test"

LOST = Scenario(7, 1.5, 210.0, 20.0, ((0.0, 1500.0), (0.65, 1900.0), (1.05, 0.0)))
"""No pulse from 1.05 s on, while the drive starts."""

TURNED = Scenario(7, 2.2, 210.0, 20.0, ((0.0, 1500.0), (0.95, 1800.0), (1.6, 1200.0)))
"""The other way at 1.6 s."""


def run(name: str, story: Scenario) -> Recording:
    """One scenario on one of the firmwares."""
    folder = FIRMWARE / name
    drive = load_drive(folder)
    return Rig(build_image(drive, folder), drive).run(story)


def captured(recording: Recording) -> dict[str, CaptureVerdict]:
    """Verdicts on its pins alone."""
    reading = read(capture_of(recording, Path("a.npz")), recording.drive)
    return {verdict.claim: verdict for verdict in judge_capture(reading)}


@pytest.mark.parametrize(
    ("name", "status"), [("bow_thruster", "held"), ("known_bad/runs_on_without_a_signal", "broken")]
)
def test_a_lost_signal_is_judged_on_pins(name: str, status: str) -> None:
    """As the rig, which knows more, judges the same run."""
    recording = run(name, LOST)
    inside = next(verdict for verdict in judge(recording) if verdict.name == "arming.loss")
    outside = captured(recording)["arming.loss"]

    assert (inside.status, outside.status) == (status, status)
    assert outside.seen == pytest.approx(inside.seen, abs=1e-4)
    assert outside.estimate is False


@pytest.mark.parametrize(
    ("name", "status"), [("bow_thruster", "held"), ("known_bad/keeps_its_way_until_neutral", "broken")]
)
def test_the_direction_is_judged_on_pins(name: str, status: str) -> None:
    """The steps' order shows the direction, the throttle what was asked; RUN is an estimate."""
    recording = run(name, TURNED)
    inside = next(verdict for verdict in judge(recording) if verdict.name == "commutation.direction")
    outside = captured(recording)["commutation.direction"]

    assert (inside.status, outside.status) == (status, status)
    assert outside.estimate is True


def test_a_tone_after_the_loss_is_no_drive() -> None:
    """Pulses to be heard may follow the loss: the pins cannot tell them from a fault, and so they say."""
    recording = run("bow_thruster", Scenario(7, 4.2, 210.0, 20.0, ((0.0, 1500.0), (0.8, 0.0))))
    verdict = captured(recording)["arming.loss"]

    assert verdict.status == "cannot tell"
    assert "a tone may do that" in verdict.text
