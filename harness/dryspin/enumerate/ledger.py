"""What a sequence of frames entitles the firmware to: the claims of arming, frame by frame.

Kept beside the firmware's state, so that two sequences are one only if they also entitle to the same.
A suspicion raised here is put before the monitors, which alone decide.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from dryspin.enumerate.pulses import HIGH, LOW, NEUTRAL
from dryspin.recording import Mark, Signal

PULSE_SHARE = 0.4
"""The end of a pulse lies by some such share of a frame before the end of its frame."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What firmware and legs did in one frame, and how they stand at its end.

    armed: it has said so. drives: a high and a low FET were on together but for a tone. words: every mark
    it has set.
    """

    armed: bool
    drives: bool
    mark: int
    gates: tuple[int, int, int]
    words: tuple[int, ...] = ()


AT_POWER_ON = Seen(False, False, int(Mark.OFF), (0, 0, 0))


def seen_in(edges: np.ndarray[Any, Any], before: Seen) -> Seen:
    """Read the edges of one frame; `before` is the frame before it."""
    gates, mark = list(before.gates), before.mark
    armed = drives = False
    told = []
    chosen = edges[(edges["signal"] < int(Signal.LEG_U)) | (edges["signal"] == int(Signal.MARK))]
    for signal, value in zip(chosen["signal"].tolist(), chosen["value"].tolist(), strict=True):
        if signal == int(Signal.MARK):
            told.append(value)
            armed |= value == Mark.ARMED
            # states below 16 are what the legs are in; what lies above names an event or a tone
            mark = value if value < 16 else mark
        else:
            gates[signal] = value
        drives |= 1 in gates and 2 in gates and mark != Mark.TONE
    return Seen(armed, drives, mark, (gates[0], gates[1], gates[2]), tuple(told))


@dataclass(frozen=True, slots=True)
class Entitlement:
    """What the frames so far entitle to.

    run: neutral pulses in a row, up to what the rite needs (a frame without a pulse ends it here, which is
    more than the claim asks). armed: the firmware has armed since the rite fell due; then quiet: frames since
    a valid pulse, and asked: whether a pulse has asked for a direction.
    """

    run: int = 0
    quiet: int = 0
    armed: bool = False
    asked: bool = False

    def after(self, kind: str, needed: int, lost_frames: float) -> "Entitlement":
        """One frame later. needed: pulses of the rite; lost_frames: the claim's time of loss in frames."""
        run = min(self.run + 1, needed) if kind == NEUTRAL else 0
        quiet = 0 if kind in (LOW, NEUTRAL, HIGH) else self.quiet + 1
        if not self.armed or quiet + PULSE_SHARE > lost_frames:
            return Entitlement(run)
        return Entitlement(run, quiet, self.armed, self.asked or (self.armed and kind in (LOW, HIGH)))

    def judged(self, seen: Seen, kind: str, needed: int) -> "tuple[Entitlement, str]":
        """What it is after the firmware has acted, and what there is to suspect; "" where nothing is."""
        suspicion = ""
        if seen.armed and not self.armed and self.run < needed:
            suspicion = f"armed after {self.run} neutral pulses in a row"
        armed = self.armed or seen.armed
        asked = self.asked or (armed and kind in (LOW, HIGH))
        if seen.drives and not armed:
            suspicion = suspicion or "driven without being armed"
        if seen.drives and not asked:
            suspicion = suspicion or "driven before any pulse asks for it"
        return Entitlement(self.run, self.quiet, armed, asked), suspicion
