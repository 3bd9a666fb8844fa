"""The stick's range in force: the declared one, one that was learnt, or one of several that may be.

From power-on it is that of drive.toml. A range that is said to be stored takes its place; learning
that was cut off after the first byte was written leaves the old one or the new one. With a store that
was not empty at power-on nobody knows the range but the firmware.
"""

from dataclasses import dataclass

from dryspin.monitors.learning import NOT_STORED, OPEN, STORED, Learning, StickRange
from dryspin.recording import Recording


@dataclass(frozen=True, slots=True)
class Epoch:
    """From `from_s` on one of `ranges` is in force; which one is unknown where there are none.

    `after` is the learning that led here, None for the range of power-on. `in_doubt`: that learning
    was cut off, or left without a word, after it had begun to write.
    """

    from_s: float
    ranges: tuple[StickRange, ...]
    after: Learning | None = None
    in_doubt: bool = False


def epochs(recording: Recording, learnt: list[Learning]) -> list[Epoch]:
    """The ranges in force, from power-on; `learnt` is what `learnings` finds in this recording."""
    throttle = recording.drive.throttle
    declared = StickRange(throttle.neutral_us, throttle.forward_full_us, throttle.reverse_full_us)
    erased = not recording.scenario.store.strip("f")
    found = [Epoch(0.0, (declared,) if erased else ())]
    for learning in learnt:
        before, new = found[-1].ranges, learning.sane or learning.learnt
        if learning.outcome == STORED:
            found.append(Epoch(learning.ended_s, new, learning))
        elif learning.outcome == NOT_STORED or learning.written_s is None:
            found.append(Epoch(learning.ended_s, before, learning))
        elif learning.outcome != OPEN:
            both = before + new if before and new else ()
            found.append(Epoch(learning.ended_s, both, learning, in_doubt=True))
    return found
