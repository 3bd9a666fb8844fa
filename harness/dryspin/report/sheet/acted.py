"""Which firmware line acted, which line called it, and how legs and firmware stood at the moment."""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from dryspin.recording import Recording
from dryspin.report.sheet.edges import Edges
from dryspin.report.sheet.lanes import Lanes

_AROUND, _AROUND_CALLER = 4, 2
"""Lines of source before and after."""


class Source(NamedTuple):
    """A line of firmware: "file.c:88", and the text around it as (number, text, whether it is that one)."""

    line: str
    excerpt: list[tuple[int, str, bool]]


def excerpt(sources: Mapping[str, bytes], line: str, around: int = _AROUND) -> list[tuple[int, str, bool]]:
    """Lines of firmware around `line`: (number, text, whether it is that one); [] if unknown."""
    name, _, number = line.rpartition(":")
    text = sources.get(name)
    if text is None or not number.isdigit():
        return []
    lines = text.decode("utf-8", "replace").splitlines()
    at = int(number)
    first, last = max(at - around, 1), min(at + around, len(lines))
    return [(k, lines[k - 1].expandtabs(4), k == at) for k in range(first, last + 1)]


def acting(recording: Recording, sources: Mapping[str, bytes], line: str, moment_s: float) -> list[Source]:
    """The line that acted, and the one that called it where the recording knows it; [] without a line."""
    if not line:
        return []
    caller = _caller(recording, line, moment_s)
    found = [Source(line, excerpt(sources, line))]
    return [*found, Source(caller, excerpt(sources, caller, _AROUND_CALLER))] if caller else found


def _caller(recording: Recording, line: str, moment_s: float) -> str:
    """Where `line` was called from when it last acted, up to the moment; "" where that is not known."""
    if recording.lines is None:
        return ""
    edges = recording.edges[: np.searchsorted(recording.cycles, recording.cycle_of(moment_s), side="right")]
    its = [pc for pc in np.unique(edges["pc"]).tolist() if pc and recording.lines(pc) == line]
    rows = np.flatnonzero(np.isin(edges["pc"], its))
    caller = int(edges["caller"][rows[-1]]) if len(rows) else 0
    return recording.lines(caller) if caller else ""


def standing(lanes: Lanes) -> str:
    """What legs and firmware were at, at the moment, since when and by which line; "" where nobody knows."""
    told = []
    for key, words in (("step", "the legs were commanded to"), ("marks", "the firmware said")):
        lane = next((one for one in lanes.lanes if one.key == key), None)
        if isinstance(lane, Edges) and len(lane.cycles):
            told += _standing(lane, lanes, words)
    return f"At the moment {'; '.join(told)}." if told else ""


def _standing(lane: Edges, lanes: Lanes, words: str) -> list[str]:
    k = int(np.searchsorted(lane.cycles, round(lanes.moment_s * lanes.f_cpu_hz), side="right")) - 1
    if k < 0:
        return []
    word = lane.words[lane.values[k]] or "all open"
    line = "" if lane.by is None else lane.lines[lane.by[k]]
    by = f", at {line.replace(' ← ', ', called from ')}" if line else ""
    return [f"{words} “{' '.join(word.split())}” since {lane.cycles[k] / lanes.f_cpu_hz:.6f} s{by}"]
