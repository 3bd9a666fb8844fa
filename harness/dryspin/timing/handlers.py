"""Handlers in a recording: when each ran, what it took, which had interrupted which."""

from collections.abc import Sequence
from dataclasses import dataclass

from dryspin.drive import Drive
from dryspin.recording import Recording, Signal, Vector
from dryspin.registers import vector_names

HANDLERS = {int(vector): f"on_{vector.name.lower()}" for vector in Vector}
"""Vector number to the seam's name."""


def handler_name(vector: int, drive: Drive) -> str:
    """As the drive's kind of firmware has it: on_compare_a, TIMER1_COMPA_vect."""
    if drive.pins is None:
        return HANDLERS.get(vector, f"vector {vector}")
    return vector_names().get(
        f"__vector_{vector - 1}", f"vector {vector}"
    )  # the part counts reset as the first


@dataclass(frozen=True, slots=True)
class Call:
    """One handler from the interrupt to its return, cycles. `own`: without those that interrupted it.

    `under`: vectors of the handlers that it interrupted, the outermost first.
    """

    vector: int
    start: int
    stop: int
    own: int
    under: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class HandlerTime:
    """All calls of one handler, in cycles; `at_top`: its share of time in the window of top speed."""

    vector: int
    calls: int
    longest: int
    longest_at_s: float
    mean: float
    at_top: float


def calls_of(recording: Recording) -> list[Call]:
    """Complete calls in the order in which they began; one that a reset or the end cuts off is left out."""
    cycles, values, rows = recording.of(Signal.HANDLER)
    events = [(int(row), int(c), int(v)) for row, c, v in zip(rows, cycles, values, strict=True)]
    reset_cycles, _, reset_rows = recording.of(Signal.RESET)
    events += [(int(row), int(c), -1) for row, c in zip(reset_rows, reset_cycles, strict=True)]
    found: list[Call] = []
    running: list[list[int]] = []  # vector, start, cycles of those inside
    for _, cycle, value in sorted(events):
        if value < 0:
            running = []
        elif value > 0:
            running.append([value, cycle, 0])
        elif running:
            vector, start, inside = running.pop()
            under = tuple(outer[0] for outer in running)
            found.append(Call(vector, start, cycle, cycle - start - inside, under))
            if running:
                running[-1][2] += cycle - start
    return sorted(found, key=lambda call: call.start)


def times_of(calls: Sequence[Call], window: tuple[int, int], f_cpu_hz: float) -> list[HandlerTime]:
    """One row a handler, by vector. `window`: cycles of top speed."""
    found = []
    length = max(window[1] - window[0], 1)
    for vector in sorted({call.vector for call in calls}):
        own = [call for call in calls if call.vector == vector]
        longest = max(own, key=lambda call: call.own)
        inside = sum(call.own for call in own if window[0] <= call.start and call.stop <= window[1])
        mean = sum(call.own for call in own) / len(own)
        at_s = longest.start / f_cpu_hz
        found.append(HandlerTime(vector, len(own), longest.own, at_s, mean, inside / length))
    return found


def nestings(calls: Sequence[Call]) -> dict[tuple[int, ...], int]:
    """Which handlers were active at once, the outermost first, and how often one came to that."""
    found: dict[tuple[int, ...], int] = {}
    for call in calls:
        chain = (*call.under, call.vector)
        found[chain] = found.get(chain, 0) + 1
    return dict(sorted(found.items()))
