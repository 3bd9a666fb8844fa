"""The measures of a program, and the limits it is held to."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from dryspin.drive import Drive
from firmware_under_test.targets.errors import TargetError
from firmware_under_test.targets.forbidden import guarded_writes, slow_calls
from firmware_under_test.targets.image import Image
from firmware_under_test.targets.paths import Paths
from firmware_under_test.targets.stack import Chain, Stack, read_frames
from firmware_under_test.targets.steps import Steps, read_steps
from firmware_under_test.targets.toolchain import HERE, Program

FLASH_BYTES = 16 * 1024
RAM_BYTES = 1024
"""Of the ATmega168 (data sheet, section "Features")."""

ENTRY_CYCLES = 7
"""Four until the vector's address, three for the jump there (8271H section 7.7.1)."""

STEP_SHARE = 0.5
"""Share of a step that finding its crossing and commutating may take: the other half is for the look that
ends the blanking, the throttle, the tick's wrap and the main line, which feeds the watchdog."""

FLASH_SECTIONS = (".text", ".data")
RAM_SECTIONS = (".data", ".bss", ".noinit")


@dataclass(frozen=True, slots=True)
class HandlerMeasure:
    """A handler's longest path in cycles, from the interrupt to the end of its reti, and its stack."""

    name: str
    cycles: int
    stack_bytes: int


@dataclass(frozen=True, slots=True)
class StepMeasure:
    """Cycles of one of the drive's shortest steps, entries included.

    `cycles`: the crossing's handler and the compare handler that commutates, or the crossing's alone
    where it commutates itself, whichever takes longer. `to_bridge_cycles`: from the compare match
    to the first instruction of the function that commutates. `also_cycles`: what else runs once a step.
    """

    crossing_cycles: int
    compare_cycles: int
    cycles: int
    to_bridge_cycles: int
    also_cycles: dict[str, int]


@dataclass(frozen=True, slots=True)
class Check:
    """One limit: what was seen, what is allowed, and whether that holds. `seen` above `limit` does not."""

    name: str
    seen: int
    limit: int
    unit: str

    @property
    def held(self) -> bool:
        """The limit itself is still allowed."""
        return self.seen <= self.limit


@dataclass(frozen=True)
class Measures:
    """All that is told of a program."""

    firmware: Path
    flash_bytes: int
    static_bytes: int
    main: Chain
    handler: Chain
    handlers: tuple[HandlerMeasure, ...]
    step: StepMeasure
    objections: tuple[str, ...]
    fuses: tuple[int, ...]
    checks: tuple[Check, ...]

    @property
    def stack_bytes(self) -> int:
        """Main's deepest chain with the deepest handler on it."""
        return self.main.bytes + self.handler.bytes

    @property
    def held(self) -> bool:
        """Every limit held, and nothing found in a step that has no place there."""
        return all(check.held for check in self.checks) and not self.objections


def no_load_rpm(drive: Drive) -> float:
    """The ideal no-load speed at the highest supply, with the fastest winding of the drive's range."""
    return drive.motor.kv_rpm_per_v.high * drive.supply.v_v.high


def shortest_step_cycles(drive: Drive) -> float:
    """CPU cycles of a sixth of an electrical turn at that speed: 10 / (p n) seconds."""
    return drive.controller.f_cpu_hz * 10.0 / (drive.motor.pole_pairs * no_load_rpm(drive))


def steps_file(drive: Drive, firmware_dir: Path) -> Path:
    """The TOML file of steps.py: named after the firmware's directory, a variant's after its base."""
    base = (drive.layers or (firmware_dir,))[-1]
    return HERE / f"{base.resolve().name}.toml"


def measure(program: Program, firmware_dir: Path, drives: Sequence[Drive]) -> Measures:
    """Measure a program built from the first of `drives`, and hold its steps to those of each of them.

    Raises TargetError where the object code cannot be measured.
    """
    image = Image(program.elf)
    steps = read_steps(steps_file(drives[0], firmware_dir), program.texts)
    missing = [name for name in (steps.crossing, steps.compare, *steps.also) if name not in image.handlers]
    if missing:
        raise TargetError(f"{steps.path}: no vector leads to {', '.join(missing)}; there are "
                          f"{', '.join(image.handlers)}")  # fmt: skip
    at_any_speed = Paths(image, steps.bounds(program.texts, short_step=False))
    stack = Stack(image, read_frames(program.folder))
    chains = {name: stack.deepest(address) for name, address in image.handlers.items()}
    handlers = tuple(
        HandlerMeasure(name, ENTRY_CYCLES + at_any_speed.of(address).longest, chains[name].bytes)
        for name, address in image.handlers.items()
    )
    in_a_step = image.reachable([image.handlers[n] for n in (steps.crossing, steps.compare, *steps.also)])
    main = stack.deepest(image.function("main"))
    deepest = max(chains.values(), key=lambda chain: chain.bytes)
    flash = sum(image.section_bytes.get(name, 0) for name in FLASH_SECTIONS)
    static = sum(image.section_bytes.get(name, 0) for name in RAM_SECTIONS)
    step = measure_step(image, steps, program.texts)
    checks = [
        Check("flash", flash, FLASH_BYTES, "bytes"),
        Check("RAM, worst stack included", static + main.bytes + deepest.bytes, RAM_BYTES, "bytes"),
    ]
    for drive in drives:
        limit = math.floor(STEP_SHARE * shortest_step_cycles(drive))
        checks.append(Check(f"work of a step, {drive.path.name}", step.cycles, limit, "cycles"))
    return Measures(
        firmware=firmware_dir,
        flash_bytes=flash,
        static_bytes=static,
        main=main,
        handler=deepest,
        handlers=handlers,
        step=step,
        objections=(*slow_calls(image, in_a_step), *guarded_writes(image, in_a_step)),
        fuses=image.fuses,
        checks=tuple(checks),
    )


def measure_step(image: Image, steps: Steps, texts: dict[str, list[str]]) -> StepMeasure:
    """The work of one of the shortest steps. Raises TargetError if no path of it commutates."""
    paths = Paths(
        image,
        steps.bounds(texts, short_step=True),
        image.function(steps.commutation),
        frozenset(address for name in steps.never for address in image.all_functions(name)),
    )
    crossing = paths.of(image.handlers[steps.crossing])
    compare = paths.of(image.handlers[steps.compare])
    if crossing.plain is None or compare.marked is None:
        raise TargetError(
            f"{steps.path}: in no path of an ordinary step {steps.crossing} leaves the commutation to "
            f"{steps.compare}, which calls {steps.commutation}; correct the names, and never"
        )
    in_two = 2 * ENTRY_CYCLES + crossing.plain + compare.marked
    in_one = ENTRY_CYCLES + (crossing.marked or 0)
    also = {name: ENTRY_CYCLES + (paths.of(image.handlers[name]).plain or 0) for name in steps.also}
    return StepMeasure(
        crossing_cycles=ENTRY_CYCLES + crossing.plain,
        compare_cycles=ENTRY_CYCLES + compare.marked,
        cycles=max(in_two, in_one),
        to_bridge_cycles=ENTRY_CYCLES + (paths.until_marked(image.handlers[steps.compare]) or 0),
        also_cycles=also,
    )
