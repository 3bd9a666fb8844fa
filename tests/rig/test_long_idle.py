"""Forty minutes armed and idle, then back to work: the timer wraps every 32.8 ms, the clock every 35.8 min.

2^16 ticks of 8 cycles at 16 MHz are 32.768 ms; 2^32 are 35.8 min (data sheet, 16-bit timer; arithmetic).
"""

from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.build import build_image
from dryspin.build.variables import Variables
from dryspin.drive import Drive, load_drive
from dryspin.errors import DriveError
from dryspin.findings import Subject, load_subject
from dryspin.recording import Mark, Recording, Signal
from dryspin.rig import Checkpoint, Rig
from dryspin.rig.idle import set_forward

from ..small_firmware import BOW_THRUSTER, scenario

WRAP_S = 0.032768
TURN = 65536
"""Wraps after which the 32-bit clock is where it was."""

FORTY_MINUTES = round(2400.0 / WRAP_S)

IDLE_S = 4.6
"""When the stick is touched again; idling since 0.7 s, with a tone every three seconds."""

STORY = scenario(
    7.0,
    throttle_us=((0.0, 1500.0), (IDLE_S + 0.3, 1900.0), (5.8, 1100.0), (6.7, 0.0)),
)
"""Armed and idle; full ahead, full astern, the signal lost."""


@pytest.fixture(scope="module")
def subject() -> Subject:
    """The shipped firmware."""
    return load_subject(BOW_THRUSTER)


def idling(rig: Rig) -> tuple[Checkpoint, Checkpoint]:
    """Two moments of idling, a round of everything it does apart."""
    before = rig.checkpoint(STORY, 1.0)
    return before, rig.checkpoint(STORY, IDLE_S, after=before)


def rounded(at_s: float) -> int:
    """Wraps to set the clock forward by, so that it goes round at that moment of the story."""
    return TURN - round(at_s / WRAP_S)


def variables_at(rig: Rig, checkpoint: Checkpoint, *names: str) -> list[int]:
    """The variables as they stand there."""
    rig.core.core_continue(rig.ffi.from_buffer(checkpoint.memory), checkpoint.settings.struct)
    places = [Variables(rig.image.path).place_of(name) for name in names]
    base = int(rig.core.core_text_base())
    cells = [rig.ffi.cast("unsigned char *", base + place.at) for place in places]
    return [
        int.from_bytes(bytes(rig.ffi.buffer(cell, place.size)), "little")
        for cell, place in zip(cells, places, strict=True)
    ]


def test_after_forty_minutes_the_drive_works_as_before_to_the_bit(subject):
    """Nothing in it may depend on when it is, only on how long something was."""
    before, now = idling(subject.rig)
    straight = subject.rig.resume(now)
    later = subject.rig.resume(set_forward(subject.rig, before, now, FORTY_MINUTES))

    assert FORTY_MINUTES > TURN
    assert later.digest() == straight.digest()
    assert Mark.RUN in later.of(Signal.MARK)[1]
    assert not [v for v in subject.judge(later).outcomes if v.status == "broken"]


def test_the_clock_may_go_round_at_any_moment_of_the_work_that_follows(subject):
    """In the look round, the align, the ramp, the run, the brake, the run astern, after the loss."""
    before, now = idling(subject.rig)
    straight = subject.rig.resume(now).digest()
    moments_s = [IDLE_S + 0.31 + 0.16 * k for k in range(14)]
    digests = {
        subject.rig.resume(set_forward(subject.rig, before, now, rounded(at_s))).digest()
        for at_s in moments_s
    }

    assert digests == {straight}


def test_a_clock_set_forward_stands_as_one_that_has_run(subject):
    """625 turns are 1024 frames of 20 ms, so the same moment of a frame is met: 20.48 s, simulated."""
    rig = subject.rig
    still = scenario(30.0, throttle_us=((0.0, 1500.0),))
    before = rig.checkpoint(still, 1.0)
    now = rig.checkpoint(still, IDLE_S, after=before)
    really = rig.checkpoint(still, IDLE_S + 625 * WRAP_S, after=now)
    names = (
        "clock.c:wraps",
        "thruster.c:good_pulse_ticks",
        "throttle.c:rise_ticks",
        "thruster.c:state_ticks",
    )

    assert variables_at(rig, set_forward(rig, before, now, 625), *names) == variables_at(rig, really, *names)
    assert variables_at(rig, now, *names) != variables_at(rig, really, *names)


def test_a_comparison_of_moments_instead_of_ages_is_found(tmp_path: Path, subject):
    """`now > then + time` is wrong for the time before the clock goes round: the run ends as if lost."""
    directory = variant(
        tmp_path,
        "now_ticks() - good_pulse_ticks > PULSE_LOSS_TICKS",
        "now_ticks() > (uint32_t)(good_pulse_ticks + PULSE_LOSS_TICKS)",
    )
    drive = load_drive(directory)
    rig = Rig(build_image(drive, directory), drive)
    before, now = idling(rig)
    straight = rig.resume(now)
    later = rig.resume(set_forward(rig, before, now, rounded(5.6)))

    assert straight.digest() == subject.rig.resume(idling(subject.rig)[1]).digest()
    assert last_run_s(straight) > 6.4
    assert later.digest() != straight.digest()
    assert first_off_s(later, IDLE_S) < 5.7


def variant(folder: Path, before: str, after: str) -> Path:
    """The shipped firmware with one change."""
    (folder / "drive.toml").write_text(
        f'[firmware]\nbase = "{BOW_THRUSTER}"\n'
        f'[[firmware.change]]\nfile = "thruster.c"\nbefore = "{before}"\nafter = "{after}"\n'
    )
    return folder


def last_run_s(recording: Recording) -> float:
    """When it last said that it runs."""
    cycles, marks, _ = recording.of(Signal.MARK)
    return float(recording.seconds(cycles[marks == Mark.RUN][-1]))


def first_off_s(recording: Recording, from_s: float) -> float:
    """When it said for the first time, after a moment, that it is off."""
    cycles, marks, _ = recording.of(Signal.MARK)
    times_s = recording.seconds(cycles[marks == Mark.OFF])
    return float(times_s[times_s > from_s][0])


def test_a_drive_that_names_no_clock_is_refused(subject, thruster: Drive):
    """Nothing could be set forward."""
    rig = Rig(subject.image, replace(thruster, timekeeping=None))
    before, now = idling(rig)

    with pytest.raises(DriveError, match="names no variable that counts the timer's wraps"):
        set_forward(rig, before, now, 1)
