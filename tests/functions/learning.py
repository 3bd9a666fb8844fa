"""A stick and a rotor for the calibration: pulses and beats by hand, the comparator led."""

from dryspin.call import CallableFirmware

from .legs import ABOVE, BELOW, show

NO_NEWS, BEGINS, POSITION, STORED, ENDS = range(5)
POWER_ON = 1
UP, MIDDLE, DOWN = 3800, 3000, 2200
UP_PULSES, HOLD_PULSES, LOOKS = 100, 25, 160
FRAME_TICKS = 40_000
"""20 ms, at which two seconds are 100 pulses."""


class Learner:
    """Somebody at the stick of a drive that was just turned on; the legs are open."""

    def __init__(self, firmware: CallableFirmware, cause: int = POWER_ON) -> None:
        self.firmware, self.call = firmware, firmware.call
        self.now_ticks = 1_000_000
        self.call.calibration_allow(cause)

    def pulse(self, width: int, gap: int = FRAME_TICKS, good: int = 1) -> int:
        """What one more pulse leads to."""
        self.now_ticks = (self.now_ticks + gap) % 2**32
        pulse = {"end_ticks": self.now_ticks, "width_ticks": width, "good": good}
        return int(self.call.calibration_pulse(pulse))

    def hold(self, width: int, pulses: int = HOLD_PULSES, gap: int = FRAME_TICKS) -> list[int]:
        """What so many pulses of one width lead to."""
        return [self.pulse(width, gap) for _ in range(pulses)]

    def beats(self, count: int) -> list[int]:
        """What so many beats lead to."""
        return [self.call.calibration_beat() for _ in range(count)]

    def turn(self) -> list[int]:
        """Beats during which the rotor is seen to turn, from the first look on."""
        show(self.firmware, ABOVE)
        first = self.beats(3)
        show(self.firmware, BELOW)
        second = self.beats(2)
        show(self.firmware, ABOVE)
        return first + second

    @property
    def wants_beats(self) -> int:
        """Whether the way in, or the way on, waits for a rotor at rest."""
        return int(self.call.calibration_wants_beats())

    def ask(self) -> None:
        """Stick up long enough."""
        assert self.hold(UP, UP_PULSES) == [NO_NEWS] * UP_PULSES
        assert self.wants_beats == 1

    def enter(self) -> None:
        """Calibrating, nothing learnt yet."""
        self.ask()
        assert self.beats(LOOKS + 1) == [NO_NEWS] * LOOKS + [BEGINS]
        assert self.wants_beats == 0

    def learn(self, *widths: int) -> None:
        """These positions one after the other, each taken when it was held long enough."""
        for width in widths:
            assert POSITION in self.hold(width, HOLD_PULSES + 1), width

    def write(self, at_most: int = 30) -> int:
        """Beats with time for a byte between them, until something comes of it."""
        for _ in range(at_most):
            news = int(self.call.calibration_beat())
            if news != NO_NEWS:
                return news
            self.firmware.wait(ms=3.5)
        return NO_NEWS
