"""The rig led throttle frame by throttle frame, from any state met before.

A run of its own takes a fraction of a millisecond a frame, so thousands of sequences can be gone
through that share their beginnings. The plant takes long segments: what is asked about is what the
firmware does while the rotor stands still.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from dryspin.build.variables import Place, Variables
from dryspin.drive import Drive
from dryspin.drive.model import Timekeeping
from dryspin.errors import BuildError, DriveError, RigError
from dryspin.recording import EDGE
from dryspin.rig.fault import failure
from dryspin.rig.rig import Rig
from dryspin.scenario import Scenario

H_MAX_S = 2e-3
"""Longest plant segment here: a rotor at rest, no winding driven, a bus that the regulator empties slowly."""

_EDGE_ROOM = 1 << 15
_STATE_ROOM = 1 << 15
_PRINT_ROOM = 1 << 18
_TICKS_PER_WRAP = 65536
TICK_CYCLES = 8


@dataclass(frozen=True, slots=True)
class Standing:
    """A state of the rig at the beginning of frame number `frame`.

    memory: what the core saves. given: edges of the throttle pin so far. print: what tells the state of
    firmware and controller from others, whenever it comes.
    """

    frame: int
    memory: bytes = field(repr=False)
    given: int
    print: bytes = field(repr=False)


class Frames:
    """`rig`, its throttle given one frame at a time; frames have the number they would have in a scenario.

    scenario: of the length of the longest sequence, and without pulses. Raises DriveError where a variable of
    [timekeeping] is not there.
    """

    def __init__(self, rig: Rig, scenario: Scenario) -> None:
        self._rig, self._core, self._ffi = rig, rig.core, rig.ffi
        self._settings = rig.settings(scenario)
        struct = self._settings.struct
        struct.plant.h_max_s = H_MAX_S
        self._frame_s = scenario.frame_ms / 1000.0
        self._pin = np.full(2 * int(scenario.end_s / self._frame_s) + 8, np.iinfo(np.int64).max, np.int64)
        struct.throttle_cycle = self._ffi.cast("int64_t *", self._ffi.from_buffer(self._pin))
        struct.n_throttle = 0
        self._edges = np.empty(_EDGE_ROOM, EDGE)
        self._states = self._ffi.new("core_sample[]", _STATE_ROOM)
        self._moments, self._n_moments = _moments(self._ffi, rig.drive, Variables(rig.image.path))
        # a moment counts by the frame it falls into
        self._grain = round(self._frame_s * rig.drive.controller.f_cpu_hz / TICK_CYCLES)
        self._print = self._ffi.new("unsigned char[]", _PRINT_ROOM)

    def from_power_on(self, frame: int) -> tuple[Standing, np.ndarray[Any, Any]]:
        """The rig at the beginning of that frame, no pulse having come, and all edges until then."""
        self._lend()
        self._settings.struct.n_throttle = 0
        self._core.core_start(self._settings.struct)
        return self._to(frame, 0)

    def after(self, standing: Standing, width_us: float) -> tuple[Standing, np.ndarray[Any, Any]]:
        """One frame later, with a pulse of that width in its middle (0: none), and the edges of that frame.

        Raises RigError where the firmware crashes or hangs.
        """
        self._core.core_continue(self._ffi.from_buffer(standing.memory), self._settings.struct)
        given = standing.given
        if width_us > 0.0:
            # as of Scenario.pulses and settings.throttle_edges, to the cycle
            rise_s = (2 * standing.frame + 1) * (self._frame_s * 1000.0) / 2000.0
            self._pin[given] = round(rise_s * self._settings.f_cpu_hz)
            self._pin[given + 1] = round((rise_s + width_us * 1e-6) * self._settings.f_cpu_hz)
            given += 2
        self._settings.struct.n_throttle = given
        self._lend()
        return self._to(standing.frame + 1, given)

    def _lend(self) -> None:
        edges, states = self._core.core_edges(), self._core.core_states()
        edges.edge = self._ffi.cast("core_edge *", self._ffi.from_buffer(self._edges))
        edges.n, edges.room = 0, _EDGE_ROOM
        states.sample, states.n, states.room = self._states, 0, _STATE_ROOM

    def _to(self, frame: int, given: int) -> tuple[Standing, np.ndarray[Any, Any]]:
        core, ffi = self._core, self._ffi
        # Asleep where possible: a handler on its way would be a state of its own.
        core.core_pause_asleep(round(frame * self._frame_s * self._settings.f_cpu_hz))
        core.core_pause(round((frame + 0.25) * self._frame_s * self._settings.f_cpu_hz))
        taken: list[np.ndarray[Any, Any]] = []
        while (reason := core.core_run()) != core.CORE_PAUSED:
            if reason == core.CORE_STATES_FULL:
                core.core_states().n = 0
            elif reason == core.CORE_EDGES_FULL:
                taken.append(self._edges.copy())
                core.core_edges().n = 0
            else:
                raise failure(core, reason, self._settings, self._rig.image)
        taken.append(self._edges[: core.core_edges().n].copy())
        memory = ffi.new("char[]", core.core_checkpoint_bytes())
        core.core_checkpoint(memory)
        n = core.core_fingerprint(self._moments, self._n_moments, self._grain, self._print, _PRINT_ROOM)
        if n < 0:
            raise RigError(
                f"variables and stack of the firmware take over {_PRINT_ROOM} bytes, far more than a part has"
            )
        seen = bytes(ffi.buffer(self._print, n))
        return Standing(frame, bytes(ffi.buffer(memory)), given, seen), _joined(taken)


def _joined(pieces: Sequence[np.ndarray[Any, Any]]) -> np.ndarray[Any, Any]:
    return pieces[0] if len(pieces) == 1 else np.concatenate([p.view(np.uint8) for p in pieces]).view(EDGE)


def _moments(ffi: Any, drive: Drive, variables: Variables) -> tuple[Any, int]:
    kept = drive.timekeeping or Timekeeping(())
    named = [(name, ms, 1) for name, ms in kept.moments]
    named += [(name, ms, 0) for name, ms in kept.spans]
    named += [(name, ms, _TICKS_PER_WRAP) for name, ms in kept.wraps]
    array = ffi.new("core_moment[]", max(len(named), 1))
    ticks_per_ms = drive.controller.f_cpu_hz / TICK_CYCLES / 1000.0
    for slot, (name, ms, ticks) in zip(array, named, strict=False):
        try:
            slot.at, slot.bytes = variable_part(name, variables)
        except BuildError as error:
            raise DriveError(f"{drive.path}: [timekeeping] {error}") from None
        slot.ticks, slot.within = ticks, round(ms * ticks_per_ms)
    return array, len(named)


def variable_part(name: str, variables: Variables) -> tuple[int, int]:
    """Offset and bytes of "file.c:name", or of the part of a structure that begins "+bytes" into it.

    Raises BuildError where it is not there, or is no number of 1, 2 or 4 bytes.
    """
    whole, _, offset = name.partition("+")
    place: Place = variables.place_of(whole)
    if not offset:
        if place.size not in (1, 2, 4):
            raise BuildError(
                f"{name} has {place.size} bytes, which is no moment; name a part of it, as in {name}+0"
            )
        return place.at, place.size
    if not offset.isdigit() or int(offset) + 4 > place.size:
        raise BuildError(f"{name}: {whole} has {place.size} bytes; give an offset with 4 bytes behind it")
    return place.at + int(offset), 4
