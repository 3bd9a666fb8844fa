"""The stretches of a recording that each need an arming rite of their own."""

from dataclasses import dataclass

from dryspin.monitors.evidence import Evidence
from dryspin.recording import Mark, Reset, Signal

CAUSES = {
    int(Reset.POWER_ON): "a power cut",
    int(Reset.BROWN_OUT): "a brown-out",
    int(Reset.WATCHDOG): "a reset by the watchdog",
}


@dataclass(frozen=True, slots=True)
class Period:
    """From a moment after which the rite is due (power-on, reset, loss) to the next such moment.

    armed_s  when the firmware first says so, or drives; None where it does neither
    drives_s  when it first drives; None where it does not
    """

    why: str
    start_s: float
    stop_s: float
    armed_s: float | None
    armed_row: int | None
    drives_s: float | None
    drives_row: int | None


def periods(evidence: Evidence) -> list[Period]:
    """The stretches of the recording that each need a rite of their own."""
    recording = evidence.recording
    loss_s = evidence.limits["loss_s"]
    starts = [(0.0, "power-on"), *((t, CAUSES.get(why, "a reset")) for t, why in restarts(evidence))]
    lost = evidence.demand.gaps(loss_s, recording.end_s)
    starts += [(last + loss_s, "a lost signal") for last, _ in lost if last + loss_s < recording.end_s]
    starts.sort()
    found = []
    for k, (start_s, why) in enumerate(starts):
        stop_s = starts[k + 1][0] if k + 1 < len(starts) else recording.end_s
        armed = next(
            (
                (t, s.row)
                for s in evidence.spans_of(Mark.ARMED)
                if start_s <= (t := recording.seconds(s.start)) < stop_s
            ),
            (None, None),
        )
        drives = next(((a, row) for a, _, row in evidence.drive_spans if start_s <= a < stop_s), (None, None))
        found.append(Period(why, start_s, stop_s, *armed, *drives))
    return found


def restarts(evidence: Evidence) -> list[tuple[float, int]]:
    """(moment in s, cause) of every start of the controller but the first."""
    cycles, causes, _ = evidence.recording.of(Signal.RESET)
    return [
        (float(evidence.recording.seconds(c)), int(why))
        for c, why in zip(cycles, causes, strict=True)
        if c > 0
    ]
