"""When things happen to a firmware whose functions are called: ticks since power-on, and a rotor for them."""

from dryspin.call import CallableFirmware
from dryspin.recording import LEGS, Recording, Signal, Vector
from dryspin.scenario import Scenario

CYCLES_PER_TICK = 8
START_UP_S = 0.065
"""From power-on to main(), when the count of ticks begins."""

POLE_PAIRS = 7
TICK_S = 0.5e-6
LATENCY = 22
"""settings.h: from the crossing at the pin to its stamp, and from compare match to the legs, on the part."""

RISES_DEG = (0.0, 120.0, 240.0)
"""Electrical angle at which the EMF of U, V, W rises through zero, turning forward (core/README.md)."""


def turning(leg: int, rises: bool, at_tick: float, step_ticks: float, *, forward: bool = True) -> Scenario:
    """A driven rotor, 60 degrees in `step_ticks`, of which one leg's EMF crosses at `at_tick`.

    Backwards the EMF has the other sign at every angle, and at a given one it rises as it does forward:
    sign and order of the angles change together.
    """
    way = 1.0 if forward else -1.0
    deg_per_s = way * 60.0 / (step_ticks * TICK_S)
    at_deg = RISES_DEG[leg] + (0.0 if rises else 180.0)
    rest_deg = (at_deg - deg_per_s * (START_UP_S + at_tick * TICK_S)) % 360.0
    rpm = deg_per_s / 6.0 / POLE_PAIRS
    return Scenario(
        seed=0,
        end_s=10.0,
        rest_deg=rest_deg,
        frame_ms=20.0,
        throttle_us=((0.0, 0.0),),
        speed_rpm=((0.0, rpm),),
    )


class Moments:
    """The time line of one firmware. Ticks begin with main() and do not wrap here."""

    def __init__(self, firmware: CallableFirmware) -> None:
        self._firmware = firmware
        self._f_cpu_hz = firmware.drive.controller.f_cpu_hz
        self._start = round(START_UP_S * self._f_cpu_hz)
        self._seen: Recording | None = None

    @property
    def cycle(self) -> int:
        """Cycles since main() began."""
        return round(self._firmware.now_s * self._f_cpu_hz) - self._start

    @property
    def tick(self) -> int:
        """Whole ticks since main() began."""
        return self.cycle // CYCLES_PER_TICK

    def until(self, tick: float) -> None:
        """Wait for the moment; handlers run if interrupts are on. Fails where it is past."""
        left = round(tick * CYCLES_PER_TICK) - self.cycle
        assert left >= 0, f"tick {tick} is past, it is {self.cycle / CYCLES_PER_TICK}"
        self._firmware.wait(ms=left / self._f_cpu_hz * 1e3)

    @property
    def recording(self) -> Recording:
        """What has happened so far; whatever acts takes a cycle at least."""
        now = self.cycle + self._start
        if self._seen is None or self._seen.end_cycle != now:
            self._seen = self._firmware.recording()
        return self._seen

    def edges(self, signal: Signal) -> list[tuple[float, int]]:
        """(tick, value) of what has happened to a signal since main() began."""
        cycles, values, _ = self.recording.of(signal)
        return [
            ((int(cycle) - self._start) / CYCLES_PER_TICK, int(value))
            for cycle, value in zip(cycles, values, strict=True)
            if cycle > self._start
        ]

    def entries(self, vector: Vector) -> list[float]:
        """Ticks at which a handler was entered."""
        return [tick for tick, value in self.edges(Signal.HANDLER) if value == vector]

    def marks(self) -> list[int]:
        """What was marked."""
        return [value for _, value in self.edges(Signal.MARK)]

    def legs(self) -> tuple[int, int, int]:
        """U, V, W as commanded now."""
        u, v, w = (int(self.recording.of(leg)[1][-1]) for leg in LEGS)
        return u, v, w

    def level(self, signal: Signal) -> int:
        """Last value of a signal."""
        return int(self.recording.of(signal)[1][-1])
