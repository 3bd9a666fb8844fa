"""What the firmware does when: seen once before a search, so that faults can be aimed at it.

A store write lasts milliseconds and a tone a tenth of a second; faults at random would mostly miss
them. Where nothing was seen, flavours aim at where it is likely.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from dryspin.recording import Mark, Recording, Signal

Spans = tuple[tuple[float, float], ...]
"""(from, to) in s, in order."""


@dataclass(frozen=True)
class Rehearsal:
    """Moments by which flavours aim.

    store_s  writes of the store, counted from the end of the last pulse that calibration needs
    tones_s  by frame period (ms): tones of a drive that is armed and then left alone, from power-on
    rite_frames  by frame period (ms): frames at neutral that arming takes, where drive.toml does not say
    """

    store_s: Spans = ()
    tones_s: Mapping[float, Spans] = field(default_factory=dict)
    rite_frames: Mapping[float, int] = field(default_factory=dict)


UNREHEARSED = Rehearsal()


def writes_of(recording: Recording) -> Spans:
    """Writes of the byte store, each from its beginning to its end."""
    cycles, values, _ = recording.of(Signal.STORE_BUSY)
    seconds = [float(recording.seconds(cycle)) for cycle in cycles]
    begins = [t_s for t_s, busy in zip(seconds, values, strict=True) if busy]
    ends = [t_s for t_s, busy in zip(seconds, values, strict=True) if not busy and t_s > 0.0]
    # The last write may go on beyond the end.
    return tuple(zip(begins, [*ends, recording.end_s], strict=False))


def tones_of(recording: Recording) -> Spans:
    """Tones, each from its beginning to its end."""
    spans = [span for span in recording.marks if span.mark == Mark.TONE]
    return tuple((float(recording.seconds(s.start)), float(recording.seconds(s.stop))) for s in spans)
