"""Edges over time: throttle, marks, gates, steps, sense, comparator, crossings, handlers; each of them."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from dryspin.recording import GATES, LEG_NAMES, LEGS, Leg, Mark, Recording, Signal, Vector
from dryspin.recording.sixstep import DRIVEN, NO_STEP, STEP_OF_CODE, leg_code

Ints = NDArray[np.int64]

VECTORS: Final[dict[int, str]] = {
    Vector.OVER_CURRENT: "over-current",
    Vector.THROTTLE_EDGE: "throttle edge",
    Vector.COMPARE_A: "compare A",
    Vector.COMPARE_B: "compare B",
    Vector.WRAP: "tick wrap",
    Vector.CONVERTER_DONE: "ADC done",
    Vector.COMPARATOR_EDGE: "comparator edge",
}
"""Handlers in words, as `port/pin_plan.md` has them."""

_FETS: Final = ("off", "high", "low", "both")

_WAYS: Final = tuple(f"{name}{arrow}" for name in LEG_NAMES for arrow in "↑↓")

CROSSINGS: Final = ("taken", *(f"true {way}" for way in _WAYS), *(f"taken {way}" for way in _WAYS))
"""Kinds of crossings by their value in the lane: one taken of an unknown phase, true ones, taken ones."""

FIRST_TAKEN: Final = 1 + len(_WAYS)

Kind = Literal["levels", "words", "ticks"]


@dataclass(frozen=True)
class Edges:
    """A lane of edges: `values` hold from `cycles` on, `words` name them (levels have none).

    levels: 0 and 1, or the FETs of a leg (bit 0 high, bit 1 low). words: a text while a value holds, "" for
    nothing. ticks: moments only, the value says which kind, of `words`. by: for every edge the firmware line
    that caused it, as an index into `lines`; none where lines are not known.
    """

    key: str
    label: str
    kind: Kind
    cycles: Ints
    values: Ints
    words: tuple[str, ...] = ()
    hint: str = ""
    by: NDArray[np.uint16] | None = None
    lines: tuple[str, ...] = ()


def edge_lanes(recording: Recording) -> Iterator[Edges]:
    """The lanes of edges, in the order they are drawn; handlers come last, below the curves."""
    pulses = recording.pulses
    cycles, levels, _ = recording.of(Signal.THROTTLE)
    yield Edges("throttle", "throttle pin", "levels", cycles, levels, hint=f"{len(pulses)} pulses")
    yield _widths(recording)
    yield _with_lines(
        _marks(recording), recording, np.array([span.row for span in recording.marks], np.int64)
    )
    yield from _announced(recording)
    for signal, name in zip(GATES, LEG_NAMES, strict=True):
        cycles, values, rows = recording.of(signal)
        gates = Edges(f"gates_{name.lower()}", f"gates {name}", "levels", cycles, values, _FETS)
        yield _with_lines(gates, recording, rows)
    if any(map(recording.seen, LEGS)):
        yield _steps(recording)
    yield _sense(recording)
    cycles, values, _ = recording.of(Signal.COMPARATOR)
    yield Edges("comparator", "comparator", "levels", cycles, values, hint="1: above neutral")
    yield _crossings(recording)
    cycles, values, _ = recording.of(Signal.HANDLER)
    codes = {0: 0, **{vector: k + 1 for k, vector in enumerate(VECTORS)}}
    unknown = sorted(set(np.unique(values).tolist()) - codes.keys())
    codes |= {vector: len(codes) + k for k, vector in enumerate(unknown)}
    words = ("", *VECTORS.values(), *(f"vector {vector}" for vector in unknown))
    yield Edges("handlers", "handlers", "words", cycles, _coded(values, codes), words)


def _widths(recording: Recording) -> Edges:
    """Width of the throttle pulses, from the end of the first pulse of a width on; "none" between pulses."""
    pulses, hz = recording.pulses, recording.f_cpu_hz
    silent = round(1.5e-3 * recording.scenario.frame_ms * hz)
    widths_us = np.round(pulses.widths * (1e6 / hz), 1)
    stops = np.append(pulses.falls[1:], recording.end_cycle)
    known: dict[str, int] = {"": 0, "none": 1}
    cycles, values = [0], [0]
    for fall, stop, width_us in zip(pulses.falls.tolist(), stops.tolist(), widths_us.tolist(), strict=True):
        code = known.setdefault(f"{width_us:g} us", len(known))
        if code != values[-1]:
            cycles.append(fall)
            values.append(code)
        if stop - fall > silent:
            cycles.append(fall + silent)
            values.append(1)
    at, codes = np.array(cycles, np.int64), np.array(values, np.int64)
    return Edges("width", "pulse width", "words", at, codes, tuple(known))


def _marks(recording: Recording) -> Edges:
    """What the firmware says it is doing, as states."""
    spans = [(span.start, span.mark) for span in recording.marks]
    cycles = np.array([start for start, _ in spans], np.int64)
    values = np.array([mark for _, mark in spans], np.int64)
    known = sorted(set(values.tolist()))
    words = tuple(mark_word(mark, {}) for mark in known)
    return Edges(
        "marks", "firmware says", "words", cycles, _coded(values, {m: k for k, m in enumerate(known)}), words
    )


def _announced(recording: Recording) -> Iterator[Edges]:
    """Moments that the firmware marks: tones by name, stores. Crossings have a lane of their own."""
    tones = {tone.mark: f"tone {tone.name}" for tone in recording.drive.tones}
    cycles, values, _ = recording.of(Signal.MARK)
    said = (values > Mark.CROSSING) & (values < 256)
    if not np.any(said):
        return
    known = np.unique(values[said])
    words = tuple(mark_word(int(mark), tones) for mark in known)
    yield Edges("announced", "announces", "ticks", cycles[said], np.searchsorted(known, values[said]), words)


def mark_word(mark: int, tones: Mapping[int, str]) -> str:
    """What a mark says; a tone by its name in `tones`."""
    if mark in tones:
        return tones[mark]
    known = mark in Mark._value2member_map_
    return Mark(mark).name.lower().replace("_", " ") if known else f"mark {mark}"


def _steps(recording: Recording) -> Edges:
    """The pattern that the legs are commanded to: its step by number, others leg by leg, "" with all open.

    Chopped counts as high: which of the legs are on in a carrier period is what the gates show.
    """
    legs = recording.legs
    words, index = np.unique(_PATTERNS, return_inverse=True)
    values = index[leg_code(legs.values)]
    keep = np.append(True, values[1:] != values[:-1])[: len(values)]
    lane = Edges("step", "step", "words", legs.cycles[keep], values[keep], tuple(words.tolist()))
    return _with_lines(lane, recording, legs.rows[keep])


def pattern_word(code: int) -> str:
    """Word for a leg code of `sixstep.leg_code`."""
    step = int(STEP_OF_CODE[code])
    if step != NO_STEP:
        high, low = DRIVEN[step]
        return f"{step}  {LEG_NAMES[high]}→{LEG_NAMES[low]}"
    states = [Leg(code >> 2 * leg & 3) for leg in range(3)]
    if all(state == Leg.LOW for state in states):
        return "all low"
    known = {Leg.LOW: "low", Leg.HIGH: "high", Leg.CHOPPED: "high"}
    return ", ".join(f"{LEG_NAMES[leg]} {known[state]}" for leg, state in enumerate(states) if state in known)


_PATTERNS: Final = [pattern_word(code) for code in range(64)]


_SENSE_HINT: Final = "above: ↑ awaited, below: ↓; thin: interrupt off"


def _sense(recording: Recording) -> Edges:
    """Phase selected and edge expected; in brackets while its interrupt is off."""
    signals = (Signal.SENSE_LEG, Signal.SENSE_EDGE, Signal.SENSE_IRQ)
    cycles = np.concatenate([recording.of(signal)[0] for signal in signals])
    rows = np.concatenate([recording.of(signal)[2] for signal in signals])
    order = np.argsort(rows)
    cycles, rows = cycles[order], rows[order]
    # of edges at one cycle the last one counts
    last = np.append(cycles[1:] != cycles[:-1], True)[: len(cycles)]
    cycles, rows = cycles[last], rows[last]
    if not len(cycles):
        return Edges("sense", "sense", "words", cycles, cycles)
    leg, edge, on = (
        recording.value_at(signal, cycles) if recording.seen(signal) else np.zeros(len(cycles), np.int64)
        for signal in signals
    )
    values = leg | edge << 2 | on << 3
    keep = np.append(True, values[1:] != values[:-1])
    words = tuple(
        f"{'' if code >> 3 else '('}{LEG_NAMES[min(code & 3, 2)]}{'↑' if code >> 2 & 1 else '↓'}"
        f"{'' if code >> 3 else ')'}"
        for code in range(16)
    )
    lane = Edges("sense", "sense", "words", cycles[keep], values[keep], words, _SENSE_HINT)
    return _with_lines(lane, recording, rows[keep])


def _crossings(recording: Recording) -> Edges:
    """Zeros of the phases' EMF, rising and falling, and the crossings that the firmware took.

    The phase of one that was taken is the one selected when the firmware said so, the way that of the edge
    waited for.
    """
    cycles, values, rows = recording.of(Signal.MARK)
    said = values == Mark.CROSSING
    taken, rows = cycles[said], rows[said]
    kinds = np.zeros(len(taken), np.int64)
    if recording.seen(Signal.SENSE_LEG) and recording.seen(Signal.SENSE_EDGE):
        phase = np.minimum(_before(recording, Signal.SENSE_LEG, rows), 2)
        kinds = FIRST_TAKEN + 2 * phase + np.where(_before(recording, Signal.SENSE_EDGE, rows), 0, 1)
    moments, codes = [taken], [kinds]
    if len(recording.states) > 1:
        for leg in range(3):
            t_s, rises = recording.true_crossings(leg)
            moments.append(np.round(t_s * recording.f_cpu_hz).astype(np.int64))
            codes.append(1 + 2 * leg + np.where(rises, 0, 1))
    at = np.concatenate(moments)
    order = np.argsort(at, kind="stable")
    hint = "" if len(taken) else "none said to be taken"
    return Edges("crossings", "crossings", "ticks", at[order], np.concatenate(codes)[order], CROSSINGS, hint)


def _before(recording: Recording, signal: Signal, rows: Ints) -> Ints:
    """Value of `signal` just before each of `rows` of the recording's edges."""
    _, values, own = recording.of(signal)
    before: Ints = values[np.maximum(np.searchsorted(own, rows) - 1, 0)]
    return before


def is_taken(values: Ints) -> NDArray[np.bool_]:
    """Which values of the crossings' lane are crossings that the firmware took."""
    taken: NDArray[np.bool_] = (values == 0) | (values >= FIRST_TAKEN)
    return taken


def _with_lines(lane: Edges, recording: Recording, rows: Ints) -> Edges:
    """The lane with the firmware line of each edge, and the line that called it."""
    if recording.lines is None or not len(rows):
        return lane
    pc, caller = recording.edges["pc"][rows], recording.edges["caller"][rows]
    # Most edges of gates are the carrier's, which no firmware did.
    some = np.flatnonzero(pc | caller)
    calls, codes = np.unique(pc[some].astype(np.int64) << 32 | caller[some], return_inverse=True)
    texts: dict[str, int] = {"": 0}
    index = [texts.setdefault(_call(recording.lines, int(call)), len(texts)) for call in calls]
    by = np.zeros(len(rows), np.uint16)
    by[some] = np.array(index, np.uint16)[codes]
    return replace(lane, by=by, lines=tuple(texts))


def _call(lines: Callable[[int], str], call: int) -> str:
    """ "" for what no firmware did, such as an edge of the carrier."""
    pc, caller = call >> 32, call & 0xFFFFFFFF
    here, there = lines(pc) if pc else "", lines(caller) if caller else ""
    return f"{here} ← {there}" if here and there else here


def _coded(values: Ints, codes: dict[int, int]) -> Ints:
    table = np.zeros(max(codes, default=0) + 1, np.int64)
    for value, code in codes.items():
        table[value] = code
    return table[values] if len(values) else values
