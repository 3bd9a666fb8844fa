"""Which firmware line acted, which line called it, and what the firmware did last before the moment."""

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from dryspin.recording import LEG_NAMES, LEGS, Mark, Recording, Signal
from dryspin.recording.sixstep import leg_code
from dryspin.report.sheet.edges import mark_word, pattern_word
from dryspin.report.sheet.source import AROUND_CALLER, Source, excerpt


def acting(recording: Recording, sources: Mapping[str, bytes], line: str, moment_s: float) -> list[Source]:
    """The line that acted, and the one that called it where the recording knows it; [] without a line."""
    if not line:
        return []
    caller = _caller(recording, line, moment_s)
    found = [Source(line, excerpt(sources, line))]
    return [*found, Source(caller, excerpt(sources, caller, AROUND_CALLER))] if caller else found


def _caller(recording: Recording, line: str, moment_s: float) -> str:
    """Where `line` was called from when it last acted, up to the moment; "" where that is not known."""
    if recording.lines is None:
        return ""
    edges = recording.edges[: np.searchsorted(recording.cycles, recording.cycle_of(moment_s), side="right")]
    its = [pc for pc in np.unique(edges["pc"]).tolist() if pc and recording.lines(pc) == line]
    rows = np.flatnonzero(np.isin(edges["pc"], its))
    caller = int(edges["caller"][rows[-1]]) if len(rows) else 0
    return recording.lines(caller) if caller else ""


# ---- what it did last ------------------------------------------------------------------------------

SAYS: Final = "says"
LEGS_TO: Final = "commands the legs to"
LOOKS: Final = "sets the comparator to"
WAITS: Final = "begins to wait for"
STOPS: Final = "stops waiting"
TAKES: Final = "takes a crossing"

_NEVER: Final = {
    SAYS: "says what it does", LEGS_TO: "commands a leg", LOOKS: "sets the comparator to a phase",
    WAITS: "waits for an edge", STOPS: "stops waiting for an edge", TAKES: "takes a crossing",
}  # fmt: skip

MERE: Final = (LOOKS, WAITS, STOPS)
"""Kinds that by themselves lead to nothing: their lines stand behind the others'."""

_BY_CALLER: Final = (LEGS_TO, LOOKS)
"""Kinds that go through a helper for all legs or phases: who called it knew why."""

_ONE_ACT_S: Final = 10e-6
"""Calls closer than that are one act: a step commands two legs or three, one after the other."""

_TOGETHER: Final = 12
"""Lines of one file closer than that stand in one excerpt."""

_JUST_BEFORE_S: Final = 100e-6
"""What starts a clock, a loss for instance, comes with what is done about it at once."""


class Act(NamedTuple):
    """What the firmware did last of one kind, up to the moment.

    text: the kind, and what it came to. at_s: when; None where it never did. times: how often since the
    clock started, or in the run where none did. by: the line, and the line that called it. first_s: when
    for the first time of these; None where there is none.
    """

    kind: str
    text: str
    at_s: float | None = None
    times: int = 0
    by: tuple[str, ...] = ()
    first_s: float | None = None

    @property
    def told(self) -> list[tuple[str, str]]:
        """(words, line) of the lines to look at: its own, unless a helper's, and of who called it."""
        if self.kind in _BY_CALLER:
            return [(self.text, line) for line in self.by[-1:]]
        words = (self.text, f"called so that it {self.text}")
        return list(zip(words, self.by, strict=False))


class Place(NamedTuple):
    """Acts in words, their lines, and the text around them as of a `Source`."""

    words: str
    lines: str
    excerpt: list[tuple[int, str, bool]]


def last_acts(recording: Recording, moment_s: float, since_s: float) -> list[Act]:
    """The last act of each kind up to the moment, the latest first; [] where lines are not known."""
    if recording.lines is None:
        return []
    edges = recording.edges[: np.searchsorted(recording.cycles, recording.cycle_of(moment_s), side="right")]
    signals, values, commanded = edges["signal"], edges["value"], edges["pc"] != 0
    marks = signals == Signal.MARK
    kinds = {
        SAYS: marks & (values < Mark.CROSSING),
        LEGS_TO: np.isin(signals, LEGS),
        LOOKS: np.isin(signals, (Signal.SENSE_LEG, Signal.SENSE_EDGE)),
        WAITS: (signals == Signal.SENSE_IRQ) & (values == 1),
        STOPS: (signals == Signal.SENSE_IRQ) & (values == 0),
        TAKES: marks & (values == Mark.CROSSING),
    }
    acts = [_act(recording, kind, np.flatnonzero(mine & commanded), since_s) for kind, mine in kinds.items()]
    return sorted(acts, key=lambda act: -1.0 if act.at_s is None else act.at_s, reverse=True)


def places(acts: Sequence[Act], sources: Mapping[str, bytes], since_s: float) -> list[Place]:
    """Where the latest acts from `since_s` on stand in the source; those that stand close together as one.

    In the order of `acts`, but for what it only looked at or waited for, which comes last.
    """
    latest = [act for act in acts if act.at_s is not None and act.at_s > since_s - _JUST_BEFORE_S]
    ordered = sorted((act for act in latest if act.kind != STOPS), key=lambda act: act.kind in MERE)
    found = [told for act in ordered for told in act.told]
    groups: list[list[tuple[str, str]]] = []
    for words, place in [(words, place) for words, place in found if _number(place)]:
        near = (group for group in groups if _near(group[0][1], place))
        group = next(near, None)
        if group is None:
            groups.append([(words, place)])
        else:
            group.append((words, place))
    return [
        Place(
            "; ".join(words for words, _ in group),
            ", ".join(dict.fromkeys(place for _, place in group)),
            excerpt(sources, group[0][1], AROUND_CALLER, [_number(place) for _, place in group]),
        )
        for group in groups
    ]


def _number(place: str) -> int:
    """Line number of "file.c:88"; 0 where there is none."""
    number = place.rpartition(":")[2]
    return int(number) if number.isdigit() else 0


def _near(one: str, other: str) -> bool:
    same_file = one.rpartition(":")[0] == other.rpartition(":")[0]
    return same_file and abs(_number(one) - _number(other)) <= _TOGETHER


def _act(recording: Recording, kind: str, rows: NDArray[np.int64], since_s: float) -> Act:
    if not len(rows):
        return Act(kind, _NEVER[kind])
    row, cycles = int(rows[-1]), recording.cycles[rows]
    since = cycles[cycles >= recording.cycle_of(since_s)]
    times = int(np.sum(np.diff(since) > _ONE_ACT_S * recording.f_cpu_hz)) + min(len(since), 1)
    pc, caller = (int(recording.edges[name][row]) for name in ("pc", "caller"))
    lines = (recording.lines(place) for place in (pc, caller) if place and recording.lines)
    text = f"{kind} {_object(recording, kind, row)}".rstrip()
    first_s = float(recording.seconds(since[0])) if len(since) else None
    by = tuple(line for line in lines if line)
    return Act(kind, text, float(recording.seconds(cycles[-1])), times, by, first_s)


def _object(recording: Recording, kind: str, row: int) -> str:
    """What the act of an edge came to, in words."""
    cycle, value = int(recording.cycles[row]), int(recording.edges["value"][row])
    if kind == SAYS:
        return f"“{mark_word(value, {})}”"
    if kind == LEGS_TO:
        legs = np.array([[recording.value_at(leg, cycle) if recording.seen(leg) else 0 for leg in LEGS]])
        return f"“{' '.join(pattern_word(int(leg_code(legs)[0])).split()) or 'all open'}”"
    if kind == STOPS or not recording.seen(Signal.SENSE_LEG):
        return ""
    leg = LEG_NAMES[min(recording.value_at(Signal.SENSE_LEG, cycle), 2)]
    if not recording.seen(Signal.SENSE_EDGE):
        return leg
    way = "rising" if recording.value_at(Signal.SENSE_EDGE, cycle) else "falling"
    return f"of {leg}, {way}" if kind == TAKES else f"{leg}, {way}"
