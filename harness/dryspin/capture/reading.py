"""What a capture shows once it is read: the six-step patterns, the crossings, and a recording of them."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dryspin.capture.capture import Capture
from dryspin.capture.gate_steps import find_gate_steps, has_all_gates
from dryspin.capture.levels import Levels, thresholded
from dryspin.capture.open_phase import OpenPhase, look_at_open_phase
from dryspin.capture.phases import PAUSE_NS, Probes, SeenSteps, find_phase_steps, probes_of
from dryspin.drive import Drive
from dryspin.errors import CaptureError
from dryspin.recording import LEG_NAMES

NS_PER_S: Final = 1e9

CHAIN_NS: Final = PAUSE_NS
"""A pattern that stands for longer than a pause may last holds or aligns the rotor."""

LOCK_STEPS: Final = 12
"""Two electrical turns of steps around their crossings: from there on the drive follows its rotor."""

UNSEEN_CARRIERS: Final = 1.5
"""Two terminals show nothing of a step whose high leg has no probe while a diode holds the open one."""

AROUND: Final = 3
"""Moves on each side of a wrong one that must be right."""

LOCK_KNOWN: Final = 6
LOCK_SHARE: Final = (0.15, 0.85)
"""Where in a step its crossing lies then; half is ideal."""

SCALE_SLIP: Final = 300.0
"""Chopping faster or slower by more than this is a unit of time mistaken: those differ by a thousand."""

LEAST_EDGES: Final = 20


@dataclass(frozen=True)
class Reading:
    """A capture with what follows from it.

    steps       None where neither all gates nor two terminals are seen; `from_gates` says which
    open_phase  None where no terminals are seen
    run, direction  for each step the chain it belongs to, and for each chain +1, -1 or 0
    locked      for each chain the first step from which on the drive follows the rotor, -1 where none
    left_out    places where patterns from voltages make no sequence
    rising_ns   rising edges of everything that is chopped, by signal
    """

    capture: Capture
    drive: Drive
    probes: Probes | None
    steps: SeenSteps | None
    from_gates: bool
    open_phase: OpenPhase | None
    run: NDArray[np.int64]
    direction: NDArray[np.int64]
    locked: NDArray[np.int64]
    left_out: int
    rising_ns: dict[str, NDArray[np.int64]]

    @property
    def carrier_ns(self) -> float:
        """Period of the drive's chopping."""
        return NS_PER_S / self.drive.bridge.f_pwm_hz


def read(capture: Capture, drive: Drive) -> Reading:
    """Find patterns and crossings; raises CaptureError where time or voltage is out of all proportion."""
    carrier_ns = NS_PER_S / drive.bridge.f_pwm_hz
    probes = probes_of(dict(capture.volts), capture.step_ns, drive)
    rising = _rising(capture, probes)
    _check_time(capture, drive, rising)
    from_gates = has_all_gates(capture.levels)
    steps = None
    if from_gates:
        steps = find_gate_steps(capture.levels, capture.end_ns, carrier_ns)
    elif probes is not None:
        steps = find_phase_steps(probes, carrier_ns)
    open_phase = look_at_open_phase(probes, steps) if probes is not None and steps is not None else None
    run, direction, left_out = _chains(steps, np.inf if from_gates else UNSEEN_CARRIERS * carrier_ns)
    locked = _locked(steps, open_phase, run)
    return Reading(
        capture, drive, probes, steps, from_gates, open_phase, run, direction, locked, left_out, rising
    )


def _rising(capture: Capture, probes: Probes | None) -> dict[str, NDArray[np.int64]]:
    found = {signal: line.edges(1) for signal, line in capture.levels.items() if signal.endswith(" high")}
    if probes is not None:
        t_ns: NDArray[np.float64] = np.arange(len(probes.volts), dtype=np.float64) * probes.step_ns
        for column, leg in enumerate(probes.legs):
            times, values = thresholded(probes.volts[:, column], t_ns, 0.5 * probes.bus_v, 0.2 * probes.bus_v)
            found[f"phase {LEG_NAMES[leg]}"] = Levels(times, values).edges(1)
    return found


def _check_time(capture: Capture, drive: Drive, rising: dict[str, NDArray[np.int64]]) -> None:
    for signal, edges in rising.items():
        if len(edges) < LEAST_EDGES:
            continue
        seen_hz = NS_PER_S / max(float(np.median(np.diff(edges))), 1.0)
        ratio = seen_hz / drive.bridge.f_pwm_hz
        if not 1.0 / SCALE_SLIP < ratio < SCALE_SLIP:
            raise CaptureError(
                f"{capture.path}: {signal} rises {seen_hz:.4g} times a second, {drive.path} chops at "
                f"{drive.bridge.f_pwm_hz:.6g} Hz. Is the unit of time right (time_unit or sample_ns in "
                f"{capture.mapped.path}, or the file's time scale)?"
            )


def _chains(steps: SeenSteps | None, unseen_ns: float) -> tuple[NDArray[np.int64], NDArray[np.int64], int]:
    """(chain of each step, direction of each chain, places left out).

    A direction is that of most moves by one step. Where nothing is seen for longer than `unseen_ns` a step
    may hide, so no move is told across it. With a finite `unseen_ns` patterns come from voltages: there a
    wrong move between moves that are right is one, while patterns without any sequence (a brake, a rotor
    that coasts or is lost) are no steps; they are left out, and counted.
    """
    if steps is None or not len(steps):
        return np.zeros(0, np.int64), np.zeros(0, np.int64), 0
    apart = steps.start_ns[1:] - steps.stop_ns[:-1] > CHAIN_NS
    stands = steps.stop_ns - steps.start_ns > CHAIN_NS
    apart |= stands[1:] | stands[:-1]
    move = (np.diff(steps.step) + 2) % 6 - 2
    apart |= (steps.gap_ns[1:] > unseen_ns) & (np.abs(move) != 1)
    left_out = 0
    if np.isfinite(unseen_ns):
        confused = _confused(move, apart)
        left_out = int(np.count_nonzero(confused & np.append(True, ~confused[:-1])))
        apart |= confused
    run = np.append(0, np.cumsum(apart))
    single = np.where((np.abs(move) == 1) & ~apart, move, 0)
    counts = np.bincount(run[1:], weights=single, minlength=int(run[-1]) + 1)
    return run, np.sign(counts).astype(np.int64), left_out


def _confused(move: NDArray[np.int64], apart: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Moves that are not right and have no `AROUND` right ones of one direction on both sides."""
    found = np.zeros(len(move), bool)
    told = np.where(apart, 0, move)
    # A change of direction is not right either: the move before it had the other one.
    turned = np.append(False, (told[1:] * told[:-1] == -1))
    for k in np.flatnonzero(~apart & ((np.abs(move) != 1) | turned)):
        around = np.concatenate([told[max(k - AROUND, 0) : k], told[k + 1 : k + 1 + AROUND]])
        right = len(around) == 2 * AROUND and abs(int(around[0])) == 1 and np.all(around == around[0])
        found[k] = not right
    return found


def _locked(
    steps: SeenSteps | None, open_phase: OpenPhase | None, run: NDArray[np.int64]
) -> NDArray[np.int64]:
    chains = int(run[-1]) + 1 if len(run) else 0
    found = np.full(chains, -1, np.int64)
    if steps is None or open_phase is None or len(steps) <= LOCK_STEPS:
        return found
    interval = np.append(np.diff(steps.start_ns), np.nan)
    share = (open_phase.crossing_ns - steps.start_ns) / interval
    known = np.isfinite(share)
    wrong = known & ~((share > LOCK_SHARE[0]) & (share < LOCK_SHARE[1]))
    window = np.ones(LOCK_STEPS, np.int64)
    good = (np.convolve(known, window, "valid") >= LOCK_KNOWN) & (np.convolve(wrong, window, "valid") == 0)
    # Before the first crossing nobody knows the angle.
    good &= known[: len(good)]
    good &= run[LOCK_STEPS - 1 :] == run[: len(run) - LOCK_STEPS + 1]
    for k in np.flatnonzero(good)[::-1]:
        found[run[k]] = k
    return found
