"""The rehearsal before a search: arming, a calibration, some idling, looked at for when things happen."""

from collections.abc import Callable, Sequence
from functools import partial
from typing import Protocol

from dryspin.drive import Drive
from dryspin.errors import RigError
from dryspin.recording import Recording
from dryspin.scenario import Scenario
from dryspin.search.flavours import frames_ms
from dryspin.search.learning import calibration_alone
from dryspin.search.rehearsal import UNREHEARSED, Rehearsal, tones_of, writes_of
from dryspin.search.rehearsed_arming import rite_frames_by_period
from dryspin.search.sounding import idle_alone
from dryspin.search.workers import run_tasks


class Recorded(Protocol):
    """What a rehearsal needs of its subject."""

    @property
    def drive(self) -> Drive:
        """The drive."""

    def record(self, scenario: Scenario) -> Recording:
        """Run one scenario; raises RigError."""


Part = Callable[[], Rehearsal]
"""Runs what one subject of the rehearsal needs, and tells that alone; raises RigError."""


def rehearse(subject: Recorded, families: Sequence[str], workers: int) -> Rehearsal:
    """Run what the flavours of `families` want to have seen. In processes, as everything of a check.

    workers: 0 stays in this process, which is a worker itself.
    """
    parts: list[Part] = [partial(_stored, subject)] if "calibration" in families else []
    parts += [partial(_sounded, subject, ms) for ms in frames_ms("tones") if "tones" in families]
    if subject.drive.throttle.arming_frames is None and subject.drive.throttle.arming_s is None:
        periods_ms = sorted({ms for family in families for ms in frames_ms(family)})
        parts.append(partial(_armed, subject, periods_ms))

    def work(part: Part, _: Callable[[int], None]) -> Rehearsal:
        try:
            return part()
        except RigError:
            # The search will meet the same and tell it, with its scenario.
            return UNREHEARSED

    seen = run_tasks(work, parts, workers) if workers else [work(part, lambda _: None) for part in parts]
    return Rehearsal(
        store_s=tuple(span for one in seen for span in one.store_s),
        tones_s={ms: spans for one in seen for ms, spans in one.tones_s.items()},
        rite_frames={ms: frames for one in seen for ms, frames in one.rite_frames.items()},
    )


def _stored(subject: Recorded) -> Rehearsal:
    calibration, last_pulse_s = calibration_alone(subject.drive)
    writes = writes_of(subject.record(calibration))
    return Rehearsal(
        store_s=tuple((a - last_pulse_s, b - last_pulse_s) for a, b in writes if a >= last_pulse_s)
    )


def _sounded(subject: Recorded, frame_ms: float) -> Rehearsal:
    return Rehearsal(tones_s={frame_ms: tones_of(subject.record(idle_alone(subject.drive, frame_ms)))})


def _armed(subject: Recorded, periods_ms: Sequence[float]) -> Rehearsal:
    return Rehearsal(rite_frames=rite_frames_by_period(subject.record, subject.drive, periods_ms))
