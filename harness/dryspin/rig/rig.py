"""One run: resume the core until it is done, carry its buffers away, answer for an outside plant."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from dryspin.build import Image, core_declarations
from dryspin.drive import Drive
from dryspin.errors import RigError
from dryspin.plant.contract import PlantFactory
from dryspin.plant.energy import Energies
from dryspin.plant.equations import EquationPlant
from dryspin.recording import EDGE, STATE, Recording
from dryspin.rig import checked
from dryspin.rig.checkpoint import Checkpoint
from dryspin.rig.chunks import Chunks
from dryspin.rig.fault import failure
from dryspin.rig.outside import OutsidePlant
from dryspin.rig.settings import Settings
from dryspin.rig.twin import energies
from dryspin.scenario import Scenario
from dryspin.scenario.schema import STORE_BYTES
from dryspin.target import CodeCosts, code_costs

PLANTS = ("twin", "equations")

Progress = Callable[[float], None]
"""Called now and then with the virtual time reached, s."""

_EDGE_ROOM = 1 << 17
_STATE_ROOM = 1 << 17
_EXPECTED_PER_S = 100_000
"""Rows a second of chopping takes of either kind, at most, without noise."""
_EXPECTED_MOST = 1 << 22


@dataclass(frozen=True, slots=True)
class OffSpan:
    """Cycles with interrupts off, since `line` ("file.c:88"), or, "", since the handler of `vector` began."""

    cycles: int
    line: str
    vector: int


class Rig:
    """A firmware image on the bench with its drive, ready for one scenario after another.

    One run at a time per image and process: the image's variables are the run's state.
    """

    def __init__(self, image: Image, drive: Drive) -> None:
        self.image, self.drive = image, drive
        self.ffi = core_declarations()
        self.core: Any = self.ffi.dlopen(str(image.path))
        self._f_cpu_hz = drive.controller.f_cpu_hz

    def run(
        self,
        scenario: Scenario,
        plant: str = "twin",
        *,
        plant_factory: PlantFactory | None = None,
        equations_from_s: float | None = None,
        block_cycles: int | None = None,
        account_energy: bool = False,
        progress: Progress | None = None,
    ) -> Recording:
        """Run `scenario` from power-on to its end.

        plant: "twin", the compiled plant, or "equations", the plain one in Python, some hundred
        times slower. plant_factory: makes the plant that takes the place of the equations, see
        plant/README.md; implies "equations". equations_from_s: start on the twin and let the
        equations take its state over at that moment. block_cycles: CPU cycles charged per basic
        block, instead of what the drive says, be it by the block or by object code. account_energy: meter
        the ports of the compiled plant, see `energy`; costs time.

        Raises FirmwareError where the firmware crashes or hangs, RigError where it never calls the port.
        """
        if plant not in PLANTS:
            raise RigError(f"no plant is named {plant!r}; use one of {', '.join(PLANTS)}")
        own = plant_factory is not None and equations_from_s is None
        settings = self.settings(scenario, block_cycles, plant == "equations" or own)
        if equations_from_s is not None:
            settings.take_over_at(equations_from_s)
        settings.struct.account_energy = account_energy
        outside = OutsidePlant(self.core, settings, scenario, plant_factory or EquationPlant)
        buffers = self._started(settings)
        return self._carried(settings, scenario, buffers, outside, progress)

    @cached_property
    def _costs(self) -> CodeCosts | None:
        """What the image's code costs on the part; worked out by the first run that charges it."""
        return code_costs(self.drive, self.image) if self.drive.controller.by_object_code else None

    def settings(
        self, scenario: Scenario, block_cycles: int | None = None, outside: bool = False
    ) -> Settings:
        """What the core is told of a run. block_cycles as for `run`: given, no object code is charged."""
        if block_cycles is not None:
            return Settings(self.drive, scenario, block_cycles, outside)
        return Settings(self.drive, scenario, self.drive.controller.block_cycles, outside, self._costs)

    def checkpoint(
        self,
        scenario: Scenario,
        at_s: float,
        *,
        after: Checkpoint | None = None,
        block_cycles: int | None = None,
    ) -> Checkpoint:
        """Run `scenario` to the first moment from `at_s` on at which code may run, and freeze it there.

        On the compiled plant, without energy meters. after: go on from an earlier checkpoint instead of
        from power-on. Raises RigError as `run` does, and where the scenario ends before.
        """
        settings, buffers = self._standing(scenario, after, block_cycles)
        if left := self._frozen(settings, scenario, buffers, at_s):
            return left
        raise RigError(
            f"the scenario ends at {scenario.end_s} s, before code runs after {at_s} s; "
            "take the checkpoint earlier"
        )

    def run_leaving(self, scenario: Scenario, at_s: float) -> tuple[Recording, Checkpoint | None]:
        """Run `scenario` to its end, as `run` does, and leave a checkpoint on the way, as `checkpoint` does.

        None where the scenario ends before code runs after `at_s`.
        """
        settings = self.settings(scenario)
        buffers = self._started(settings)
        left = self._frozen(settings, scenario, buffers, at_s)
        return self._carried(settings, scenario, buffers, None, None), left

    def _frozen(
        self, settings: Settings, scenario: Scenario, buffers: tuple[Chunks, Chunks], at_s: float
    ) -> Checkpoint | None:
        """Where the started core comes to stand, from which the next core_run goes on; None at the end."""
        core, ffi = self.core, self.ffi
        core.core_pause(round(at_s * settings.f_cpu_hz))
        if self._until_told(settings, buffers, None, None) == core.CORE_DONE:
            return None
        memory = ffi.new("char[]", core.core_checkpoint_bytes())
        core.core_checkpoint(memory)
        settled = int(core.core_settled())
        return Checkpoint(
            scenario=scenario,
            at_s=core.core_now() / settings.f_cpu_hz,
            settled_s=settled / settings.f_cpu_hz,
            image_digest=self.image.digest,
            memory=bytes(ffi.buffer(memory)),
            # copied, so that the blocks behind them, made for a whole run, are lent again
            edges=buffers[0].all().copy(),
            states=buffers[1].all().copy(),
            settings=settings,
            settled_cycle=settled,
        )

    def resume(
        self, checkpoint: Checkpoint, scenario: Scenario | None = None, settings: Settings | None = None
    ) -> Recording:
        """Go on from a checkpoint to the end of `scenario`, by default the checkpoint's own.

        settings: of `scenario`, where the caller has asked `Checkpoint.begins` with them. The recording is
        that of a straight run of `scenario`, bit for bit, from power-on. Raises RigError as `run` does, and
        where the scenario differs before the checkpoint.
        """
        scenario = scenario or checkpoint.scenario
        if settings is None:
            settings, buffers = self._standing(scenario, checkpoint, checkpoint.settings.asked_cycles)
        else:
            buffers = self._going_on(settings, checkpoint)
        return self._carried(settings, scenario, buffers, None, None)

    def shuttle(self, checkpoint: Checkpoint) -> Callable[[], int]:
        """A function that takes a checkpoint where this one stands and goes back to it: for measurements.

        It returns the bytes moved each way.
        """
        self._standing(checkpoint.scenario, checkpoint, checkpoint.settings.asked_cycles)
        core, config = self.core, checkpoint.settings.struct
        memory = self.ffi.new("char[]", core.core_checkpoint_bytes())

        def there_and_back() -> int:
            core.core_checkpoint(memory)
            core.core_continue(memory, config)
            return len(memory)

        return there_and_back

    def _standing(
        self, scenario: Scenario, after: Checkpoint | None, block_cycles: int | None
    ) -> "tuple[Settings, tuple[Chunks, Chunks]]":
        """The core at power-on, or where a checkpoint froze it; the next core_run goes on from there."""
        settings = self.settings(scenario, block_cycles)
        if after is None:
            return settings, self._started(settings)
        if after.image_digest != self.image.digest:
            raise RigError("the checkpoint is of another build; run the scenario from power-on")
        after.require_same_start(settings, scenario)
        return settings, self._going_on(settings, after)

    def _going_on(self, settings: Settings, after: Checkpoint) -> "tuple[Chunks, Chunks]":
        buffers = self._buffers(settings, after.edges, after.states)
        self.core.core_continue(self.ffi.from_buffer(after.memory), settings.struct)
        return buffers

    def run_unrecorded(self, scenario: Scenario) -> None:
        """The same run with nothing written down: no monitor can judge it; `counts` and `store` remain.

        For measuring what recording costs, and for whoever only wants the store at the end.
        Raises RigError as `run`.
        """
        settings = self.settings(scenario)
        settings.struct.unrecorded = True
        buffers = self._started(settings)
        outside = OutsidePlant(self.core, settings, scenario, EquationPlant)
        self._until_told(settings, buffers, outside, None)

    def replay(self, recording: Recording) -> Recording:
        """Lead plant and peripherals through a recording's gates and sense selection, without the firmware.

        For comparisons, and to know what of a run's time is the firmware's. The store is not touched,
        and neither resets nor brown-outs end it.
        """
        settings, outside, buffers = self._replayed(recording, unrecorded=False)
        return self._carried(settings, recording.scenario, buffers, outside, None)

    def replay_unrecorded(self, recording: Recording) -> None:
        """The same with nothing written down: plant and peripherals by themselves."""
        settings, outside, buffers = self._replayed(recording, unrecorded=True)
        self._until_told(settings, buffers, outside, None)

    def branches_until(self, cycle: int) -> None:
        """Of an image that is made to be compared: keep the branches before this cycle in the next run."""
        self.core.core_branches_until(cycle)

    def branches(self) -> list[tuple[int, int, bool]]:
        """Those kept of the last run, (cycle, pc, whether its condition held), the oldest first."""
        count = self.core.core_branches(self.ffi.NULL, 0)
        rows = self.ffi.new("core_branch[]", count)
        self.core.core_branches(rows, count)
        return [(int(row.cycle), int(row.pc), bool(row.held)) for row in rows]

    def store(self) -> bytes:
        """The byte store at the end of the last run."""
        return bytes(self.ffi.buffer(self.core.core_store(), STORE_BYTES))

    def _replayed(
        self, recording: Recording, unrecorded: bool
    ) -> "tuple[Settings, OutsidePlant, tuple[Chunks, Chunks]]":
        settings = Settings(self.drive, recording.scenario, 0, outside=False)
        settings.struct.unrecorded = unrecorded
        outside = OutsidePlant(self.core, settings, recording.scenario, EquationPlant)
        given = settings.keep(np.ascontiguousarray(recording.edges))
        buffers = self._started(settings)
        self.core.core_replay(self.ffi.cast("core_edge *", self.ffi.from_buffer(given)), len(given))
        return settings, outside, buffers

    def _started(self, settings: Settings) -> "tuple[Chunks, Chunks]":
        """Start the core; the buffers of edges and states it writes to."""
        buffers = self._buffers(settings)
        self._f_cpu_hz = settings.f_cpu_hz
        self.core.core_start(settings.struct)
        return buffers

    def _buffers(
        self,
        settings: Settings,
        edges: "np.ndarray[Any, Any] | None" = None,
        states: "np.ndarray[Any, Any] | None" = None,
    ) -> "tuple[Chunks, Chunks]":
        core, ffi = self.core, self.ffi
        expected = min(round(settings.end_cycle / settings.f_cpu_hz * _EXPECTED_PER_S), _EXPECTED_MOST)
        return (
            Chunks(ffi, core.core_edges(), "edge", EDGE, _EDGE_ROOM, expected, edges),
            Chunks(ffi, core.core_states(), "sample", STATE, _STATE_ROOM, expected, states),
        )

    def _carried(
        self,
        settings: Settings,
        scenario: Scenario,
        buffers: tuple[Chunks, Chunks],
        outside: OutsidePlant | None,
        progress: Progress | None,
    ) -> Recording:
        """What comes of resuming the started core until it is done."""
        self._until_told(settings, buffers, outside, progress)
        edges, states = buffers
        return Recording(
            edges=edges.all(),
            states=states.all(),
            f_cpu_hz=settings.f_cpu_hz,
            end_cycle=settings.end_cycle,
            drive=self.drive,
            scenario=scenario,
            image_digest=self.image.digest,
            lines=self.image.line_of,
            store=self.store(),
        )

    def _until_told(
        self,
        settings: Settings,
        buffers: tuple[Chunks, Chunks],
        outside: OutsidePlant | None,
        progress: Progress | None,
    ) -> int:
        """Resume the core until it is done or paused, which of the two; RigError where it cannot be."""
        core, (edges, states) = self.core, buffers
        while True:
            reason: int = core.core_run()
            if reason == core.CORE_PLAN and outside:
                outside.plan()
            elif reason == core.CORE_COMMIT and outside:
                outside.commit()
            elif reason == core.CORE_EDGES_FULL:
                edges.take()
            elif reason == core.CORE_STATES_FULL:
                states.take()
                if progress:
                    progress(core.core_now() / settings.f_cpu_hz)
            elif reason in (core.CORE_DONE, core.CORE_PAUSED):
                return reason
            else:
                raise failure(core, reason, settings, self.image)

    def counts(self) -> dict[str, int]:
        """What the last run took: plant segments, events, port calls, handlers, guard hits."""
        names = ("segments", "events", "port_calls", "handlers", "guard_hits")
        return {name: int(self.core.core_count(k)) for k, name in enumerate(names)}

    def longest_without_interrupts(self) -> OffSpan:
        """The longest stretch of the last run with interrupts off, from when they had first been on."""
        cycles, pc, vector = (int(self.core.core_count(k)) for k in (5, 6, 7))
        return OffSpan(cycles, self.image.line_of(pc) if pc else "", vector)

    def watch(self) -> None:
        """From here on keep what a checked build does to its variables; over all runs that follow."""
        self.core.core_accesses_watch()

    def accesses(self) -> np.ndarray[tuple[int], np.dtype[np.void]]:
        """What was seen since `watch`, as rows of `checked.ACCESS`. Raises RigError if too much."""
        return checked.accesses(self.ffi, self.core)

    def enables(self) -> tuple[int, ...]:
        """Interrupts turned on by the code of each handler in vector order; the last: of the main line."""
        return tuple(int(self.core.core_enables(k)) for k in range(32))

    def tear(self, pc: int, handler: int, from_s: float = 0.0) -> None:
        """In the next run of a checked build, let a handler come between the bytes of an access, once.

        pc: of the access, see `checked.ACCESS`; handler: its bit in vector order; from_s: not before.
        """
        self.core.core_tear(pc, handler, round(from_s * self.drive.controller.f_cpu_hz))

    def torn(self) -> checked.Torn | None:
        """What came of `tear`: None where the access was not met with the interrupt on."""
        return checked.torn(self.ffi, self.core, self._f_cpu_hz)

    def undefined(self) -> list[checked.Undefined]:
        """What the last run of a checked build met that C leaves undefined."""
        return checked.undefined(self.ffi, self.core, self._f_cpu_hz)

    def energy(self) -> Energies:
        """What passed each port of the plant in the last run (J), if that accounted for it; else all 0."""
        return energies(self.core)


def run(image: Image, drive: Drive, scenario: Scenario, plant: str = "twin") -> Recording:
    """Run one scenario of `image`; see `Rig.run`."""
    return Rig(image, drive).run(scenario, plant)
