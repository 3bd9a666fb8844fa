"""How long scenarios wait before they ask anything of the firmware is the firmware's own affair."""

import math
from dataclasses import replace

import numpy as np
import pytest

from dryspin.drive import Range, load_drive
from dryspin.errors import DriveError, RigError
from dryspin.findings import load_subject
from dryspin.recording import Mark, Signal
from dryspin.report import check_json, check_lines
from dryspin.search import rehearsed_arming
from dryspin.search.course import START_UP_S, armed_s, rite_frames
from dryspin.search.flavours import FLAVOURS, frames_ms
from dryspin.search.rehearsal import UNREHEARSED, Rehearsal
from dryspin.search.rehearsed_arming import frames_needed
from dryspin.search.rehearsing import rehearse
from dryspin.search.strategies import covering_draft

from ..report.test_text import result
from .subject import BOW_THRUSTER, StandIn

DRIVE = load_drive(BOW_THRUSTER)
SKETCH = BOW_THRUSTER.parent / "polling_sketch"


def declared(**keys):
    """The drive with keys of [throttle]."""
    return replace(DRIVE, throttle=replace(DRIVE.throttle, **keys))


@pytest.mark.parametrize(
    ("keys", "seen", "frames"),
    [
        ({}, {}, 26),
        ({}, {20.0: 40}, 41),
        ({}, {20.0: 1}, 26),
        ({"arming_frames": Range(20.0, 30.0, 40.0)}, {20.0: 7}, 41),
        ({"arming_s": Range.exactly(1.5)}, {}, 76),
        ({"arming_frames": Range.exactly(10.0), "arming_s": Range.exactly(0.5)}, {}, 26),
    ],
    ids=[
        "nobody knows",
        "rehearsed",
        "armed by a slip",
        "declared as a range",
        "declared as a time",
        "declared as both",
    ],
)
def test_the_most_that_may_be_needed_is_waited_for_and_a_frame_more(keys, seen, frames):
    """A frame that is cut in half by the start of main() counts for nothing."""
    drive, rehearsal = declared(**keys), Rehearsal(rite_frames=seen)

    assert rite_frames(drive, rehearsal, 20.0) == frames
    assert (
        START_UP_S + 0.02 * frames
        <= armed_s(drive, rehearsal, 20.0) + 1e-9
        < START_UP_S + 0.02 * frames + 0.05
    )


@pytest.mark.parametrize(
    "family", [name for name in FLAVOURS if name not in ("arming", "calibration", "tones")]
)
def test_no_family_asks_before_the_rite_is_over(family):
    """With a rite of 60 frames, in every row of a plan; the others tell of stick moves that come too soon."""
    seen = Rehearsal(rite_frames=dict.fromkeys(frames_ms(family), 60))
    for row in range(24):
        scenario = covering_draft(DRIVE, family, row, 0, seen).scenario
        first_s = next(t for t, us in scenario.throttle_us if us != DRIVE.throttle.neutral_us)

        assert first_s >= START_UP_S + 60 * scenario.frame_ms / 1000.0


def test_a_long_rite_leaves_time_to_hear_the_tones():
    """A drive that is left alone is armed, and then waits for long enough to say so."""
    seen = Rehearsal(rite_frames=dict.fromkeys(frames_ms("tones"), 300))
    for row in range(24):
        scenario = covering_draft(DRIVE, "tones", row, 0, seen).scenario
        if len(scenario.throttle_us) == 1 and not scenario.faults:
            assert scenario.end_s >= START_UP_S + 300 * scenario.frame_ms / 1000.0 + 3.9


@pytest.fixture(scope="module")
def long_rite(tmp_path_factory):
    """The polling sketch with a rite of 40 pulses; also without a word of what it is doing."""
    folder = tmp_path_factory.mktemp("long")
    sheet = f'[firmware]\nbase = "{SKETCH}"\n[[firmware.change]]\nfile = "polling_sketch.ino"\n'
    sheet += 'before = "(pulses < 25)"\nafter = "(pulses < 40)"\n'
    for name, text in (("says", sheet), ("silent", sheet)):
        (folder / name).mkdir()
        (folder / name / "drive.toml").write_text(text)
        (folder / name / "claims.toml").write_text('declared = ["gates.both_fets"]\n')
    return folder


@pytest.mark.parametrize("frame_ms", [10.0, 25.0])
def test_a_rite_of_forty_pulses_is_found_by_what_the_firmware_says(long_rite, frame_ms):
    """A sketch counts pulses, so that they are as many with any frame."""
    subject = load_subject(long_rite / "says")

    assert frames_needed(subject.record, subject.drive, frame_ms) == 40


@pytest.mark.slow
def test_a_rite_of_forty_pulses_is_found_by_what_the_firmware_does(long_rite):
    """The same sketch without marks: a full stick after 39 pulses drives nothing."""
    sheet = long_rite / "silent" / "drive.toml"
    pins = (
        (SKETCH / "drive.toml").read_text().partition("[pins]")[2].replace("mark_register", "# mark_register")
    )
    sheet.write_text(f"{sheet.read_text()}\n[pins]{pins}")
    subject = load_subject(long_rite / "silent")
    idle = subject.record(covering_draft(subject.drive, "gates", 0, 0).scenario)

    assert Mark.ARMED not in idle.of(Signal.MARK)[1]
    assert frames_needed(subject.record, subject.drive, 20.0) == 40


def test_a_firmware_that_never_drives_is_not_waited_for_for_ever(tmp_path):
    """Six seconds of neutral, then the check goes on as if nobody knew, and says so."""
    (tmp_path / "main.c").write_text("#include <avr/io.h>\nint main(void) { for (;;) { } }\n")
    pins = (
        (SKETCH / "drive.toml").read_text().partition("[pins]")[2].replace("mark_register", "# mark_register")
    )
    (tmp_path / "drive.toml").write_text(
        f'[firmware]\nbase = "{BOW_THRUSTER}"\nsources = ["main.c"]\n[pins]{pins}'
    )
    (tmp_path / "claims.toml").write_text('declared = ["gates.both_fets"]\n')
    subject = load_subject(tmp_path)
    seen = frames_needed(subject.record, subject.drive, 25.0)
    said = check_lines(result(rite_frames={}), subject.drive)

    assert seen is None
    assert any("never seen in rehearsal" in line and "25 frames all the same" in line for line in said)


@pytest.mark.parametrize(
    ("needed", "runs", "frames"),
    [
        (lambda ms: 30, 2, [30, 30, 30, 30]),
        (lambda ms: math.ceil(800.0 / ms), 2, [80, 54, 40, 32]),
        (lambda ms: {10.0: 30, 15.0: 31, 20.0: 32, 25.0: 45}[ms], 4, [30, 31, 32, 45]),
        (lambda ms: None, 1, []),
    ],
    ids=["pulses", "time", "neither", "never"],
)
def test_pulses_and_times_are_told_apart_by_two_periods(monkeypatch, needed, runs, frames):
    """A firmware counts pulses or looks at a clock; only where neither fits are all periods tried."""
    tried = []

    def stand_in(run, drive, frame_ms):
        tried.append(frame_ms)
        return needed(frame_ms)

    monkeypatch.setattr(rehearsed_arming, "frames_needed", stand_in)
    found = rehearsed_arming.rite_frames_by_period(None, DRIVE, (10.0, 15.0, 20.0, 25.0))

    assert list(found.values()) == frames
    assert len(tried) == runs


def test_a_check_rehearses_only_what_the_drive_does_not_declare(tmp_path):
    """What is declared is not tried out; and a run that fails is left to the search to tell."""
    asked = []

    class Listening(StandIn):
        def record(self, scenario):
            asked.append(scenario)
            raise RigError("stands in for firmware")

    subject = Listening(tmp_path, lambda scenario: [], ("gates.pattern",))
    assert rehearse(subject, ["gates"], 0) == UNREHEARSED
    assert [scenario.frame_ms for scenario in asked] == [25.0]
    asked.clear()
    subject.drive = declared(arming_frames=Range.exactly(25.0))
    assert rehearse(subject, ["gates"], 0) == UNREHEARSED
    assert asked == []


@pytest.mark.parametrize(
    ("drive", "seen", "words"),
    [
        (DRIVE, {10.0: 40, 20.0: 40}, "arming: 40 frames at neutral, as rehearsed; demands come after that"),
        (DRIVE, {20.0: 1}, "arming: 1 frame at neutral, as rehearsed; demands come after 25, for"),
        (
            DRIVE,
            {10.0: 80, 20.0: 40},
            "arming: 80 frames of 10 ms, 40 frames of 20 ms at neutral, as rehearsed",
        ),
        (declared(arming_s=Range.exactly(1.5)), {}, "arming: 1.5 s at neutral, as drive.toml declares"),
    ],
    ids=["pulses", "too soon", "time", "declared"],
)
def test_the_report_says_how_long_it_waited_and_how_that_was_known(drive, seen, words):
    """Else a check that asked too soon looks like one that found nothing."""
    outcome = result(rite_frames=seen)

    assert any(line.startswith(words) for line in check_lines(outcome, drive))
    assert check_json(outcome)["totals"]["rehearsed_arming_frames"] == {
        f"{ms:g}": n for ms, n in seen.items()
    }


def test_a_rite_of_no_pulse_is_refused(tmp_path):
    """With file, line and limit, as every key."""
    (tmp_path / "drive.toml").write_text(
        f'[firmware]\nbase = "{BOW_THRUSTER}"\n[throttle]\narming_frames = 0\n'
    )
    with pytest.raises(
        DriveError, match=r"drive\.toml:4: \[throttle\] arming_frames = 0: must be at least 1"
    ):
        load_drive(tmp_path)


def test_replays_do_not_depend_on_how_long_a_search_waits():
    """The steps of a kept scenario are its own: the drive's hash, made from this text, must not move."""
    assert repr(declared(arming_frames=Range.exactly(40.0)).throttle) == repr(DRIVE.throttle)
    assert np.isfinite(armed_s(DRIVE, UNREHEARSED, 20.0))
