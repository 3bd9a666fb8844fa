"""Learning the stick's range: what the firmware may have learnt, by the pulses at the pin.

The firmware says when it learns and when a range is stored; which one, the recording of its store
does not tell (the layout is its own). The pulses do: a position counts that was held still for as
long as drive.toml declares.
"""

from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from dryspin.drive import Calibration, Throttle
from dryspin.recording import Mark, Recording, Reset, Signal, Span

GUARD_US: Final = 1.0
"""Two ticks: a width is the difference of two captures, each cut to a whole tick."""

SAID_S: Final = 0.01
"""The word on how it ended comes with the end, or a moment after it."""

MOST_HELD: Final = 8
"""Held positions looked at; more make every range possible and none of them sure."""

CUT, OPEN, SILENT = "cut off", "still learning", "left without a word"
STORED, NOT_STORED = "stored", "not stored"


@dataclass(frozen=True, slots=True)
class StickRange:
    """Pulse widths of a stick's range, us by the controller's clock; learnt ones off by up to `slack_us`."""

    neutral_us: float
    forward_full_us: float
    reverse_full_us: float
    slack_us: float = 0.0


@dataclass(frozen=True, slots=True)
class Held:
    """A stick held still: least and greatest width, when it was held for long enough, when it moved on."""

    least_us: float
    most_us: float
    from_s: float
    to_s: float

    @property
    def width_us(self) -> float:
        """Middle of the widths."""
        return (self.least_us + self.most_us) / 2.0


@dataclass(frozen=True, slots=True)
class Learning:
    """One stretch in which the firmware says that it learns; tones in it belong to it.

    cause     of the last start of the controller, at `awake_s`
    outcome   STORED, NOT_STORED, CUT by a reset, OPEN at the end of the recording, or SILENT
    ended_s   when that was said, or happened
    written_s first write of the store in it, None where there is none
    held      positions the stick was held at, from `awake_s` to `ended_s`
    learnt    every range these positions may make, whatever its span; sane: those of a declared span
    """

    start_s: float
    stop_s: float
    row: int
    cause: int
    awake_s: float
    outcome: str
    ended_s: float
    ended_row: int
    written_s: float | None
    written_row: int
    held: tuple[Held, ...]
    learnt: tuple[StickRange, ...]
    sane: tuple[StickRange, ...]


def learnings(recording: Recording) -> list[Learning]:
    """Every stretch of learning, in order; none where the drive declares no calibration."""
    calibration = recording.drive.calibration
    if calibration is None:
        return []
    return [_learning(recording, calibration, start, stop, row) for start, stop, row in _stretches(recording)]


def _stretches(recording: Recording) -> list[tuple[int, int, int]]:
    """(start, stop, row) of CALIBRATING, with the tones in between and the one it may end in."""
    found: list[tuple[int, int, int]] = []
    earlier: Span | None = None
    before: Span | None = None
    for span in recording.marks:
        after = before is not None and before.mark == Mark.CALIBRATING
        across = before is not None and before.mark == Mark.TONE
        across = across and earlier is not None and earlier.mark == Mark.CALIBRATING
        if span.mark == Mark.CALIBRATING and not (across and found):
            found.append((span.start, span.stop, span.row))
        elif span.mark == Mark.CALIBRATING or (span.mark == Mark.TONE and after):
            found[-1] = (found[-1][0], span.stop, found[-1][2])
        earlier, before = before, span
    return found


def _learning(recording: Recording, calibration: Calibration, start: int, stop: int, row: int) -> Learning:
    resets, causes, reset_rows = recording.of(Signal.RESET)
    at = int(np.searchsorted(resets, start, side="right")) - 1
    awake, cause = int(resets[max(at, 0)]), int(causes[max(at, 0)])
    marks, said, mark_rows = recording.of(Signal.MARK)
    first, last = np.searchsorted(marks, (start, stop + round(SAID_S * recording.f_cpu_hz)))
    words = [k for k in range(int(first), int(last)) if said[k] in (Mark.STORED, Mark.NOT_STORED)]
    next_reset = int(resets[at + 1]) if at + 1 < len(resets) else None
    if words:
        k = words[0]
        outcome = STORED if said[k] == Mark.STORED else NOT_STORED
        ended, ended_row = int(marks[k]), int(mark_rows[k])
    elif next_reset is not None and next_reset <= stop:
        outcome, ended, ended_row = CUT, next_reset, int(reset_rows[at + 1])
    elif stop >= recording.end_cycle:
        outcome, ended, ended_row = OPEN, stop, row
    else:
        outcome, ended = SILENT, stop
        ended_row = next((s.row for s in recording.marks if s.start >= stop), row)
    writes, _, write_rows = recording.of(Signal.STORE)
    written = [k for k in range(len(writes)) if start <= writes[k] < max(stop, ended) and writes[k] > 0]
    held = _held(recording, calibration, awake, ended)
    learnt = _ranges(calibration, recording.drive.throttle, held)
    seconds = recording.seconds
    return Learning(
        start_s=float(seconds(start)),
        stop_s=float(seconds(stop)),
        row=row,
        cause=cause or int(Reset.POWER_ON),
        awake_s=float(seconds(awake)),
        outcome=outcome,
        ended_s=float(seconds(ended)),
        ended_row=ended_row,
        written_s=float(seconds(writes[written[0]])) if written else None,
        written_row=int(write_rows[written[0]]) if written else row,
        held=held,
        learnt=learnt,
        sane=tuple(r for r in learnt if _is_sane(calibration, r)),
    )


def _held(recording: Recording, calibration: Calibration, start: int, stop: int) -> tuple[Held, ...]:
    """Positions held still for the declared number of pulses, between the cycles `start` and `stop`."""
    throttle, pulses = recording.drive.throttle, recording.pulses
    first, last = np.searchsorted(pulses.falls, (start, stop), side="right")
    falls = pulses.falls[first:last]
    # In the controller's own microseconds: what it takes and stores.
    widths = pulses.widths[first:last] / recording.drive.controller.f_cpu_hz * 1e6
    low_us, high_us = throttle.valid_low_us - GUARD_US, throttle.valid_high_us + GUARD_US
    span_us, frames = calibration.still_us + 2.0 * GUARD_US, calibration.hold_frames
    found: list[Held] = []
    run: list[int] = []
    for k, width in enumerate(widths.tolist()):
        if not low_us <= width <= high_us:
            run = []
            continue
        run.append(k)
        while max(widths[run]) - min(widths[run]) > span_us:
            run.pop(0)
        if len(run) < frames:
            continue
        run = run[-frames:]
        least, most = float(min(widths[run])), float(max(widths[run]))
        now_s = float(recording.seconds(falls[k]))
        last = found[-1] if found else None
        if last is not None and max(most - last.least_us, last.most_us - least) <= 2.0 * span_us:
            found[-1] = Held(min(least, last.least_us), max(most, last.most_us), last.from_s, now_s)
        else:
            found.append(Held(least, most, now_s, now_s))
    return tuple(found)


def _ranges(calibration: Calibration, throttle: Throttle, held: tuple[Held, ...]) -> tuple[StickRange, ...]:
    """Ranges that `held` may have taught in the declared order: low below neutral below high."""
    upwards = throttle.forward_full_us > throttle.neutral_us
    found = []
    for chosen in combinations(held[-MOST_HELD:], len(calibration.order)):
        at = dict(zip(calibration.order, (h.width_us for h in chosen), strict=True))
        if not at["low"] < at["neutral"] < at["high"]:
            continue
        forward, reverse = ("high", "low") if upwards else ("low", "high")
        # The firmware may have taken any of the widths seen there.
        slack_us = max(h.most_us - h.least_us for h in chosen) / 2.0 + GUARD_US
        found.append(StickRange(at["neutral"], at[forward], at[reverse], slack_us))
    return tuple(found)


def _is_sane(calibration: Calibration, learnt: StickRange) -> bool:
    spans = [abs(full - learnt.neutral_us) for full in (learnt.forward_full_us, learnt.reverse_full_us)]
    slack_us = 2.0 * learnt.slack_us
    low_us, high_us = calibration.span_min_us - slack_us, calibration.span_max_us + slack_us
    return all(low_us <= span <= high_us for span in spans)
