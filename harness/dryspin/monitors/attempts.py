"""Attempts to start a rotor by the clock, as the firmware's marks and the rotor tell them."""

from dataclasses import dataclass

from dryspin.monitors.demand import Episode
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.motion import has_turned
from dryspin.recording import Mark


@dataclass(frozen=True, slots=True)
class Try:
    """One attempt to start: ALIGN and RAMP marks in one piece, and the RUN they led to.

    Aligning after a ramp is the next try, be it without a pause: the ramp before it had failed.

    direction  asked for when it began, +1 or -1
    start_s, stop_s  of ALIGN and RAMP
    let_go_s   end of the RUN that followed, else `stop_s`
    ran        the rotor made a whole mechanical turn in that RUN: the start had worked
    """

    direction: int
    start_s: float
    stop_s: float
    let_go_s: float
    ran: bool
    row: int


def tries_of(evidence: Evidence, episode: Episode) -> list[Try]:
    """The attempts to start that began in `episode`."""
    recording, marks = evidence.recording, evidence.recording.marks
    seconds, found = recording.seconds, []
    k = 0
    while k < len(marks):
        first = k
        while k < len(marks) and marks[k].mark in (Mark.ALIGN, Mark.RAMP):
            if k > first and (marks[k - 1].mark, marks[k].mark) == (Mark.RAMP, Mark.ALIGN):
                break
            k += 1
        if k == first:
            k += 1
            continue
        start_s, stop_s = float(seconds(marks[first].start)), float(seconds(marks[k - 1].stop))
        if episode.start_s <= start_s < episode.stop_s:
            run = marks[k] if k < len(marks) and marks[k].mark == Mark.RUN else None
            let_go_s = float(seconds(run.stop)) if run else stop_s
            ran = run is not None and has_turned(evidence, run, episode.asks)
            found.append(Try(episode.asks, start_s, stop_s, let_go_s, ran, marks[first].row))
    return found
