"""A commutation brought to where a test begins: in the ramp, following, caught.

Compare A alone calls its handler. The comparator is not listened to: crossings are those that a test
gives, at the tick that it names, as crossing.c would.
"""

from itertools import accumulate

from dryspin.call import CallableFirmware
from dryspin.recording import LEGS, Signal, Vector
from dryspin.scenario import Scenario

from .moments import CYCLES_PER_TICK, Moments

FORWARD, REVERSE = 1, 2
OPEN, LOW, CHOPPED = 0, 1, 3
ALL_OPEN, ALL_LOW = (OPEN, OPEN, OPEN), (LOW, LOW, LOW)
SEEN, PAST = 1, 2
PULSE, BEAT, STEP, CAUGHT, LOST, HIDDEN, TRIPPED = 1, 2, 4, 8, 16, 32, 64
"""Events."""

MS = 2000
"""Ticks."""
HANDOVER_TICKS, HANDOVER_STREAK, CAUGHT_STREAK, CATCH_STREAK = 2200, 6, 6, 8
"""settings.h: the step at which crossings are followed, and how many in a row prove something."""

_NOTHING = 0x80


class Running(Moments):
    """The time line of a commutation, with interrupts on."""

    def __init__(self, firmware: CallableFirmware, scenario: Scenario | None = None) -> None:
        if scenario is not None:
            firmware.reset(scenario)
        super().__init__(firmware)
        self.call = firmware.call
        self.call.port_compare_a_interrupt(1)
        self.call.port_interrupts_restore(1)

    def cross(self, at: float, how: int = SEEN, *, stamped: float | None = None) -> None:
        """A crossing at tick `at`, with interrupts off as in a handler; `stamped` at another tick."""
        self.until(at)
        self.call.port_interrupts_off()
        self.call.commutation_crossing(int(at if stamped is None else stamped) % 65536, how)
        self.interrupts_on()

    def interrupts_on(self) -> None:
        """What is due runs at the next call of the port, as on the part after the next instruction."""
        self.call.port_interrupts_restore(1)
        self.call.port_ticks()

    def acted(self) -> list[float]:
        """Ticks at which compare A called its handler."""
        return self.entries(Vector.COMPARE_A)

    def watches(self) -> bool:
        """Whether a crossing is watched for: only then a look of compare B clears the comparator's flag."""
        self.call.port_interrupts_off()
        edge = self.level(Signal.SENSE_EDGE)
        self.call.port_sense_edge(1 - edge)
        self.call.port_sense_edge(edge)
        assert self.call.port_sense_flag() == 1
        self.call.on_compare_b()
        watched = bool(self.call.port_sense_flag() == 0)
        self.call.port_sense_clear()
        self.interrupts_on()
        return watched

    def events(self) -> int:
        """What was posted since last asked."""
        self.call.port_interrupts_off()
        self.call.events_post(_NOTHING)
        return int(self.call.events_wait()) & ~_NOTHING

    def legs_at(self, tick: float) -> tuple[int, ...]:
        """U, V, W as commanded at a tick."""
        cycle = self._start + round(tick * CYCLES_PER_TICK)
        return tuple(int(self.recording.value_at(leg, cycle)) for leg in LEGS)

    def pattern(self, step: int) -> tuple[int, ...]:
        """U, V, W of one of the six."""
        return tuple(self.call.steps_pattern(step % 6)[0:3])

    def patterns_after(self, ticks: list[float]) -> list[tuple[int, ...]]:
        """What is driven three ticks after each: the handler's entry and two legs take 19 cycles."""
        return [self.legs_at(tick + 3) for tick in ticks]

    def sensed(self) -> tuple[int, int]:
        """Leg and edge that the comparator is set to."""
        return self.level(Signal.SENSE_LEG), self.level(Signal.SENSE_EDGE)


def way(direction: int) -> int:
    """Steps go up forward, down in reverse."""
    return 1 if direction == FORWARD else -1


def ramp_intervals(firmware: CallableFirmware) -> list[int]:
    """Ticks of each step of a ramp, as ramp.h gives them."""
    firmware.call.ramp_begin()
    return list(iter(firmware.call.ramp_next, 0))


class Ramp(Running):
    """A ramp begun at tick `begun`; step k begins at `starts[k]` and lasts `intervals[k]`."""

    def __init__(
        self,
        firmware: CallableFirmware,
        begun: int = 100,
        before: int = 0,
        direction: int = FORWARD,
        scenario: Scenario | None = None,
    ) -> None:
        super().__init__(firmware, scenario)
        self.intervals = ramp_intervals(firmware)
        self.starts = list(accumulate(self.intervals, initial=begun))
        self.handover = next(k for k, ticks in enumerate(self.intervals) if ticks <= HANDOVER_TICKS)
        """The first step short enough to be followed."""
        self.until(begun)
        self.call.commutation_ramp(before, direction)

    def cross_in(self, k: int, share: float = 0.5, how: int = SEEN) -> int:
        """A crossing in the clock's step k; the tick."""
        at = self.starts[k] + int(share * self.intervals[k])
        self.cross(at, how)
        return at


class Following(Ramp):
    """A ramp whose steps have just begun to follow: `crossed` is the crossing that did it."""

    def __init__(
        self,
        firmware: CallableFirmware,
        direction: int = FORWARD,
        how: int = SEEN,
        scenario: Scenario | None = None,
        begun: int = 100,
    ) -> None:
        super().__init__(firmware, begun, direction=direction, scenario=scenario)
        for k in range(self.handover - HANDOVER_STREAK + 1, self.handover):
            self.cross_in(k)
        self.crossed = self.cross_in(self.handover, how=how)
        self.interval = self.intervals[self.handover]

    def cross_again(self, gap: int | None = None, how: int = SEEN) -> int:
        """The next crossing, one interval after the one before; the tick."""
        self.crossed += self.interval if gap is None else gap
        self.cross(self.crossed, how)
        return self.crossed


class Caught(Running):
    """A turning rotor that was joined: `crossed` is the crossing that did it, `step` its pattern."""

    def __init__(
        self, firmware: CallableFirmware, interval: int = 400, direction: int = FORWARD, begun: int = 1000
    ) -> None:
        super().__init__(firmware)
        self.interval = interval
        self.until(begun)
        self.call.commutation_catch(direction)
        self.crossed = begun
        for _ in range(CATCH_STREAK):
            self.cross_again()
        self.step = self.call.catching_step()

    def cross_again(self, gap: int | None = None, how: int = SEEN) -> int:
        """The next crossing, one interval after the one before; the tick."""
        self.crossed += self.interval if gap is None else gap
        self.cross(self.crossed, how)
        return self.crossed
