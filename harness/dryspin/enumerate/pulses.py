"""The kinds of throttle frames that are told apart, and a sequence of them as a scenario."""

from collections.abc import Sequence
from itertools import groupby

from dryspin.drive import Throttle
from dryspin.scenario import Scenario

NONE, BELOW, LOW, NEUTRAL, HIGH, ABOVE, GLITCH = (
    *("none", "below range", "low", "neutral", "high", "above range", "glitch"),
)
KINDS = (NEUTRAL, NONE, LOW, HIGH, BELOW, ABOVE, GLITCH)
"""In the order in which they are tried: of equally short sequences the first is told."""

BESIDE_US = 100.0
"""Out of range by as much: surely no pulse of a transmitter, and clear of rounding."""

GLITCH_US = 60.0
"""A spike in place of a pulse."""

FIRST_FRAME = 4
"""Frames before main() has begun and looked around: power-on and 65 ms of start-up in frames of 20 ms."""

TAIL_S = 0.02
"""After the last frame, so that what its pulse has led to is recorded."""


def width_us(kind: str, throttle: Throttle) -> float:
    """Pulse width of a kind of frame; 0 for none."""
    return {
        NONE: 0.0,
        GLITCH: GLITCH_US,
        BELOW: max(throttle.valid_low_us - BESIDE_US, 2.0 * GLITCH_US),
        LOW: min(throttle.reverse_full_us, throttle.forward_full_us),
        NEUTRAL: throttle.neutral_us,
        HIGH: max(throttle.reverse_full_us, throttle.forward_full_us),
        ABOVE: throttle.valid_high_us + BESIDE_US,
    }[kind]


def scenario_of(kinds: Sequence[str], throttle: Throttle, frame_ms: float, first: int) -> Scenario:
    """The sequence from frame number `first` on, none before; the rotor at rest, everything nominal."""
    steps: list[tuple[float, float]] = [(0.0, 0.0)]
    for k, kind in enumerate(kinds):
        width = width_us(kind, throttle)
        if width != steps[-1][1]:
            steps.append((round((first + k) * frame_ms / 1000.0, 6), width))
    end_s = round((first + len(kinds)) * frame_ms / 1000.0 + TAIL_S, 6)
    return Scenario(0, end_s, 0.0, frame_ms, tuple(steps))


def words(kinds: Sequence[str]) -> str:
    """A sequence in words: "25 neutral, 13 none, 1 high"."""
    return ", ".join(f"{len(list(group))} {kind}" for kind, group in groupby(kinds)) or "no frame"
