"""The rehearsal before a search: one calibration and some idling, looked at for when things happen."""

from collections.abc import Callable, Sequence
from typing import Protocol

from dryspin.drive import Drive
from dryspin.errors import RigError
from dryspin.recording import Recording
from dryspin.scenario import Scenario
from dryspin.search.flavours import frames_ms
from dryspin.search.learning import calibration_alone
from dryspin.search.rehearsal import Rehearsal, Spans, tones_of, writes_of
from dryspin.search.sounding import idle_alone
from dryspin.search.workers import run_tasks


class Recorded(Protocol):
    """What a rehearsal needs of its subject."""

    @property
    def drive(self) -> Drive:
        """The drive."""

    def record(self, scenario: Scenario) -> Recording:
        """Run one scenario; raises RigError."""


def rehearse(subject: Recorded, families: Sequence[str], workers: int) -> Rehearsal:
    """Run what the flavours of `families` want to have seen. In processes, as everything of a check.

    workers: 0 stays in this process, which is a worker itself.
    """
    drive = subject.drive
    parts: list[tuple[Scenario, Callable[[Recording], Spans]]] = []
    calibration, last_pulse_s = calibration_alone(drive)
    if "calibration" in families:
        parts.append((calibration, writes_of))
    periods = frames_ms("tones") if "tones" in families else ()
    parts += [(idle_alone(drive, frame_ms), tones_of) for frame_ms in periods]

    def work(part: tuple[Scenario, Callable[[Recording], Spans]], _: Callable[[int], None]) -> Spans:
        scenario, look = part
        try:
            return look(subject.record(scenario))
        except RigError:
            # The search will meet the same and tell it, with its scenario.
            return ()

    seen = run_tasks(work, parts, workers) if workers else [work(part, lambda _: None) for part in parts]
    store_s: Spans = ()
    if "calibration" in families:
        store_s = tuple((a - last_pulse_s, b - last_pulse_s) for a, b in seen.pop(0) if a >= last_pulse_s)
    return Rehearsal(store_s, dict(zip(periods, seen, strict=True)))
