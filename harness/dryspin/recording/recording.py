"""One run as seen: every edge with its cycle and program counter, and the plant's state.

Nothing here judges. What monitors need again and again (who drives what when, where the rotor
is) is derived once, on first use, and kept.
"""

import hashlib
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryspin.drive import Drive
from dryspin.errors import RecordingError
from dryspin.recording.pulses import Pulses, find_pulses
from dryspin.recording.signals import EDGE, GATES, LEGS, STATE, Signal, frozen_array
from dryspin.recording.spans import Span, Steps, find_steps, mark_spans
from dryspin.recording.timeline import Ints, Stream, Timeline, merge
from dryspin.scenario import Scenario

Floats = NDArray[np.float64]

DIGEST_EDGE_FIELDS = ("cycle", "value", "signal", "context")
"""Program counters are left out: they move with every compiler, what happened does not."""

STEP_HELD_S = 3e-6
"""A pattern that stands shorter is on the way to another: three port calls take 18 cycles, 1.1 us."""

_SIXTH_TURN = math.pi / 3.0


@dataclass(frozen=True, eq=False)
class Recording:
    """What one run of the rig, or one capture of a bench, has shown.

    edges         `EDGE` rows in the order of time, read-only
    states        `STATE` rows in the order of time, read-only; empty where nobody saw the plant
    f_cpu_hz      true frequency of the CPU clock: cycle / f_cpu_hz is time in s
    end_cycle     cycle at which the recording ends
    image_digest  of the firmware build that ran
    lines         program counter -> "file.c:88" or ""; None where no firmware image is at hand
    store         the byte store at the end of the run; empty where nobody saw it

    Raises `RecordingError` where the arrays have another layout or run backwards in time.
    """

    edges: NDArray[Any]
    states: NDArray[Any]
    f_cpu_hz: float
    end_cycle: int
    drive: Drive
    scenario: Scenario
    image_digest: str
    lines: Callable[[int], str] | None = field(default=None, repr=False)
    store: bytes = field(default=b"", repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "edges", frozen_array(self.edges, EDGE, "edges"))
        object.__setattr__(self, "states", frozen_array(self.states, STATE, "states"))
        if not (math.isfinite(self.f_cpu_hz) and self.f_cpu_hz > 0.0):
            raise RecordingError(f"a recording needs a clock above 0 Hz, not {self.f_cpu_hz} Hz")
        for name, times in (("edges", self.cycles), ("states", self.state_t_s)):
            back = np.flatnonzero(times[1:] < times[:-1])
            if len(back):
                raise RecordingError(
                    f"row {back[0] + 1} of the {name} is earlier ({times[back[0] + 1]}) than the row before "
                    f"({times[back[0]]}); a recording is in the order of time"
                )
        if len(self.cycles) and self.cycles[-1] > self.end_cycle:
            raise RecordingError(
                f"the last edge is at cycle {self.cycles[-1]}, after the end at {self.end_cycle}; "
                "end_cycle must cover every edge"
            )

    # ---- edges ---------------------------------------------------------------------------------

    @cached_property
    def cycles(self) -> Ints:
        """Cycle of every edge."""
        return np.ascontiguousarray(self.edges["cycle"])

    @cached_property
    def _signals(self) -> NDArray[np.uint8]:
        return np.ascontiguousarray(self.edges["signal"])

    @cached_property
    def _by_signal(self) -> dict[int, Stream]:
        return {}

    def of(self, signal: Signal) -> Stream:
        """Edges of one signal as (cycles, values, rows), `rows` being indices into `edges`."""
        found = self._by_signal.get(signal)
        if found is None:
            rows = np.flatnonzero(self._signals == signal)
            found = self.cycles[rows], self.edges["value"][rows].astype(np.int64), rows
            self._by_signal[signal] = found
        return found

    def seen(self, signal: Signal) -> bool:
        """Whether the recording has any edge of `signal`; a capture of a bench may lack some."""
        return len(self.of(signal)[0]) > 0

    def value_at(self, signal: Signal, cycle: Any) -> Any:
        """Value of `signal` at `cycle` (number or array), edges of that very cycle included.

        Before the first edge, its value. Raises `RecordingError` where the signal was never seen.
        """
        cycles, values, _ = self.of(signal)
        if not len(cycles):
            raise RecordingError(f"the recording has no edge of {signal.name}; ask `seen` first")
        found = values[np.maximum(np.searchsorted(cycles, cycle, side="right") - 1, 0)]
        return int(found) if np.ndim(cycle) == 0 else found

    def seconds(self, cycle: Any) -> Any:
        """True time in s of `cycle` (number or array)."""
        return cycle / self.f_cpu_hz

    def cycle_of(self, seconds: float) -> int:
        """Cycle nearest to a true time in s."""
        return round(seconds * self.f_cpu_hz)

    @property
    def end_s(self) -> float:
        """Length of the recording in s."""
        return self.end_cycle / self.f_cpu_hz

    def line_of(self, row: int | None) -> str:
        """Firmware line that caused the edge at `row`, "" where none is known."""
        if row is None or self.lines is None or not 0 <= row < len(self.edges):
            return ""
        pc = int(self.edges["pc"][row])
        return self.lines(pc) if pc else ""

    # ---- derived from edges ----------------------------------------------------------------------

    @cached_property
    def gates(self) -> Timeline:
        """The FETs of the three legs over time, after chopping (bit 0 high on, bit 1 low on)."""
        return merge([self.of(signal) for signal in GATES], self.end_cycle)

    @cached_property
    def legs(self) -> Timeline:
        """The commands of the three legs over time (`Leg`)."""
        return merge([self.of(signal) for signal in LEGS], self.end_cycle)

    @cached_property
    def marks(self) -> tuple[Span, ...]:
        """What the firmware said it was doing, as spans in order."""
        return mark_spans(self.of(Signal.MARK), self.of(Signal.RESET), self.end_cycle)

    @cached_property
    def steps(self) -> Steps:
        """The six-step patterns driven, in order, transients left out."""
        return find_steps(self.legs, max(1, round(STEP_HELD_S * self.f_cpu_hz)))

    @cached_property
    def pulses(self) -> Pulses:
        """Complete throttle pulses at the pin."""
        cycles, levels, _ = self.of(Signal.THROTTLE)
        return find_pulses(cycles, levels)

    # ---- the rotor -------------------------------------------------------------------------------

    @cached_property
    def state_t_s(self) -> Floats:
        """Time of every state, s."""
        return np.ascontiguousarray(self.states["t_s"])

    @cached_property
    def state_theta_rad(self) -> Floats:
        """Rotor angle of every state: electrical, unwrapped."""
        return np.ascontiguousarray(self.states["theta_rad"])

    @cached_property
    def state_w_rad_s(self) -> Floats:
        """Rotor speed of every state: mechanical."""
        return self.states["w_rad_s"].astype(np.float64)

    @cached_property
    def state_i_peak_a(self) -> NDArray[np.float32]:
        """Largest of the three phase currents of every state, A, without its sign."""
        u, v = self.states["i_u_a"], self.states["i_v_a"]
        peaks: NDArray[np.float32] = np.maximum(np.maximum(np.abs(u), np.abs(v)), np.abs(u + v))
        return peaks

    def theta_at(self, t_s: Any) -> Any:
        """Rotor angle at `t_s` (number or array): electrical, unwrapped, linear between states."""
        return np.interp(t_s, self.state_t_s, self.state_theta_rad)

    def w_at(self, t_s: Any) -> Any:
        """Rotor speed at `t_s` (number or array): mechanical, linear between states."""
        return np.interp(t_s, self.state_t_s, self.state_w_rad_s)

    def states_between(self, from_s: float, to_s: float) -> slice:
        """The states with from_s <= t_s <= to_s, as a slice."""
        first = np.searchsorted(self.state_t_s, from_s, side="left")
        return slice(int(first), int(np.searchsorted(self.state_t_s, to_s, side="right")))

    @cached_property
    def sixths(self) -> tuple[Floats, Ints, Ints]:
        """Passages of the rotor through multiples of 60 degrees: (t_s, multiple, direction +1 or -1).

        Every multiple is a zero of one phase's EMF: U at 0 and 180, V at 120 and 300, W at 240 and 60.
        """
        t_s, theta = self.state_t_s, self.state_theta_rad
        sixth = np.floor(theta * (1.0 / _SIXTH_TURN))
        at = np.flatnonzero(sixth[1:] != sixth[:-1])
        up = sixth[at + 1] > sixth[at]
        multiple = np.where(up, sixth[at + 1], sixth[at])
        share = (multiple * _SIXTH_TURN - theta[at]) / (theta[at + 1] - theta[at])
        times = t_s[at] + np.clip(share, 0.0, 1.0) * (t_s[at + 1] - t_s[at])
        return times, multiple.astype(np.int64), np.where(up, 1, -1)

    def true_crossings(self, leg: int) -> tuple[Floats, NDArray[np.bool_]]:
        """Zeros of the EMF of phase `leg` (0..2) as (t_s, whether it rises in time).

        At a given angle the EMF k w f(theta) rises whichever way the rotor turns, or falls
        whichever way: with w also f's slope in time changes sign.
        """
        t_s, multiple, _ = self.sixths
        # Multiples of 60 degrees modulo 3: 0 belongs to U, 1 to W, 2 to V. Rising: 0, 120, 240.
        mine = multiple % 3 == (0, 2, 1)[leg]
        return t_s[mine], multiple[mine] % 2 == 0

    # ---- identity ----------------------------------------------------------------------------------

    def digest(self) -> str:
        """blake2b, 16 bytes in hex, over the named fields of edges and states, the two clocks, the store.

        Equal for two runs exactly when the same happened at the same time; which line caused it is
        not part of it.
        """
        mix = hashlib.blake2b(digest_size=16)
        mix.update(np.array([self.f_cpu_hz], "<f8").tobytes())
        mix.update(np.array([self.end_cycle, len(self.edges), len(self.states)], "<i8").tobytes())
        for name in DIGEST_EDGE_FIELDS:
            mix.update(np.ascontiguousarray(self.edges[name]).data)
        for name in STATE.names or ():
            mix.update(np.ascontiguousarray(self.states[name]).data)
        mix.update(self.store)
        return mix.hexdigest()
