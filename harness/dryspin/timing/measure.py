"""Runs of one firmware with the part's object code charged, at several factors: what they took, what held."""

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from dryspin.build import build_image
from dryspin.drive import Drive
from dryspin.errors import FirmwareError
from dryspin.findings import Subject, Trial
from dryspin.lint.stack import StackUse, stack_use
from dryspin.lint.target import compile_for_part
from dryspin.recording import Recording
from dryspin.rig import Rig
from dryspin.rig.rig import OffSpan
from dryspin.scenario import Scenario
from dryspin.target import code_costs
from dryspin.timing.handlers import HandlerTime, calls_of, handler_name, nestings, times_of
from dryspin.timing.steps import Lateness, StepTime, lateness, step_time, top_window

Notice = Callable[[int, int], None]
"""Told how many runs of how many are done."""


@dataclass(frozen=True)
class Nesting:
    """Handlers active at once, by vector, the outermost first; how often; stack bytes of the part at most."""

    vectors: tuple[int, ...]
    times: int
    stack_bytes: int


@dataclass(frozen=True)
class Sensitivity:
    """All scenarios at one factor on the cycles of code: a trial each, or what ended it."""

    factor: float
    trials: tuple[Trial | str, ...]
    steps: StepTime | None
    lateness: Lateness

    @property
    def in_time_rpm(self) -> float | None:
        """Speed up to which every commutation of these runs is in time; None where no handler commutated.

        That of the slowest one seen late, or, if less, the one at which the handlers' cycles fill their time.
        """
        limits = [self.steps.limit_rpm] if self.steps is not None else []
        slowest = self.lateness.slowest_rpm
        return min([*limits, *([slowest] if slowest is not None else [])], default=None)


@dataclass(frozen=True)
class Measured:
    """What runs at factor 1 took, and every factor's verdicts.

    compiler: the part's. assumed: loops for which a count was assumed, see `dryspin.target.cycles`.
    fastest: the scenario with the highest speed, to which shares, steps belong. off: the longest stretch
    with interrupts off in any of them.
    """

    drive: Drive
    compiler: str
    assumed: tuple[str, ...]
    fastest: int
    handlers: tuple[HandlerTime, ...]
    steps: StepTime | None
    off: OffSpan
    nested: tuple[Nesting, ...]
    stack: StackUse
    factors: tuple[Sensitivity, ...]

    @property
    def plain(self) -> Sensitivity:
        """All scenarios at factor 1."""
        return next(each for each in self.factors if each.factor == 1.0)

    @property
    def fits(self) -> bool:
        """Whether variables and the deepest stack that the runs came to have room in the part's memory."""
        return self.stack.fits and all(
            self.stack.variables + each.stack_bytes <= self.stack.ram for each in self.nested
        )


def full_stick(drive: Drive) -> tuple[Scenario, Scenario]:
    """Full stick each way the drive pushes on the highest supply: with the lightest load, with the heaviest.

    The lightest has the highest speed, which leaves a step the least time; the heaviest the most current,
    which hides the crossing for longest after a step that came late.
    """
    kq, throttle = drive.load.kq_nm_s2, drive.throttle
    factors = (kq.low / kq.nominal, kq.high / kq.nominal) if kq.nominal > 0.0 else (1.0, 1.0)
    lightest, heaviest = (
        Scenario(
            seed=1,
            end_s=4.0,
            rest_deg=210.0,
            frame_ms=20.0,
            throttle_us=(
                (0.0, throttle.neutral_us),
                (1.0, throttle.forward_full_us),
                *(() if throttle.one_way else ((2.5, throttle.reverse_full_us),)),
            ),
            supply_v=((0.0, drive.supply.v_v.high),),
            load_factor=((0.0, factor),),
        )
        for factor in factors
    )
    return lightest, heaviest


def measure(
    subject: Subject, scenarios: Sequence[Scenario], factors: Sequence[float], notice: Notice | None = None
) -> Measured:
    """Run the scenarios at factor 1 and at all `factors`. Raises TargetError, BuildError, RigError."""
    drive = _charged(subject.drive, 1.0)
    image = build_image(drive, subject.directory)
    costs = code_costs(drive, image)
    stack = _stack(drive, subject)
    trials: dict[float, list[Trial | str]] = {}
    steps: dict[float, StepTime | None] = {}
    late: dict[float, Lateness] = {}
    seen: list[_Seen] = []
    wanted = sorted({1.0, *factors})
    for factor in wanted:
        rig = Rig(image, _charged(subject.drive, factor))
        trials[factor], at_top = [], []
        for scenario in scenarios:
            try:
                recording = rig.run(scenario)
            except FirmwareError as error:
                trials[factor].append(error.text)
            else:
                trials[factor].append(subject.judge(recording))
                at_top.append(_Seen.of(recording, rig, subject))
            if notice is not None:
                notice(sum(map(len, trials.values())), len(wanted) * len(scenarios))
        steps[factor] = max(at_top, key=_Seen.speed).steps if at_top else None
        late[factor] = Lateness(0, 0, None)
        for each in at_top:
            late[factor] = late[factor].and_also(each.lateness)
        if factor == 1.0:
            seen = at_top
    fastest = max(range(len(seen)), key=lambda k: seen[k].top_rad_s, default=0)
    nested: dict[tuple[int, ...], int] = {}
    for each in seen:
        for chain, times in each.nested.items():
            nested[chain] = nested.get(chain, 0) + times
    return Measured(
        drive=drive,
        compiler=costs.compiler,
        assumed=costs.assumed,
        fastest=fastest,
        handlers=seen[fastest].handlers if seen else (),
        steps=steps[1.0],
        off=max((each.off for each in seen), key=lambda off: off.cycles, default=OffSpan(0, "", 0)),
        nested=tuple(
            Nesting(chain, times, stack.nested([handler_name(vector, drive) for vector in chain]))
            for chain, times in sorted(nested.items())
        ),
        stack=stack,
        factors=tuple(
            Sensitivity(factor, tuple(trials[factor]), steps[factor], late[factor]) for factor in wanted
        ),
    )


@dataclass(frozen=True)
class _Seen:
    """What one run at factor 1 showed."""

    top_rad_s: float
    handlers: tuple[HandlerTime, ...]
    steps: StepTime | None
    off: OffSpan
    nested: Mapping[tuple[int, ...], int]
    lateness: Lateness

    @classmethod
    def of(cls, recording: Recording, rig: Rig, subject: Subject) -> "_Seen":
        calls = calls_of(recording)
        window = top_window(recording)
        speeds = recording.state_w_rad_s
        return cls(
            top_rad_s=float(abs(speeds).max()) if len(speeds) else 0.0,
            handlers=tuple(times_of(calls, window, recording.f_cpu_hz)),
            steps=step_time(recording, calls, window),
            off=rig.longest_without_interrupts(),
            nested=nestings(calls),
            lateness=lateness(recording, subject.claims),
        )

    def speed(self) -> float:
        return self.top_rad_s


def _charged(drive: Drive, factor: float) -> Drive:
    controller = replace(drive.controller, code_cycles="object code", code_cycles_factor=factor)
    return replace(drive, controller=controller)


def _stack(drive: Drive, subject: Subject) -> StackUse:
    text = subject.image.text
    assert text is not None  # load_subject has built it
    with tempfile.TemporaryDirectory(prefix="dryspin-timing-") as folder:
        compiled = compile_for_part(drive, text, Path(folder))
        return stack_use(compiled.objects, drive)
