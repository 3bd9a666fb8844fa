"""A stop, beat by beat, of a rotor that seems to rest or to turn as told."""

from dryspin.call import CallableFirmware
from dryspin.recording import Mark

from .legs import ABOVE, BELOW, legs_now, marks, show

OPEN, LOW = 0, 1
NOTHING, FORWARD, REVERSE = 0, 1, 2
GOES_ON, STOPPED = 0, 1
FIRST, AGAIN, LAST, HELD, LONGEST = 100, 40, 60, 500, 1000
"""settings.h, ms of braking: shorted windings stop the rotor with 28 ms to 42 ms; what turns after the last
two is held or turned by the water."""

LOOKS = 160


class Stopper:
    """Beats by hand."""

    def __init__(self, firmware: CallableFirmware) -> None:
        self.firmware, self.call = firmware, firmware.call

    def beats(self, count: int, wanted: int = NOTHING) -> set[int]:
        """The answers to that many beats, as a set."""
        return {self.call.stopping_beat(wanted) for _ in range(count)}

    def brakes_for(self, wanted: int = NOTHING) -> int | None:
        """Beats until the legs open again."""
        assert legs_now(self.firmware) == [LOW] * 3
        for beats in range(1, 300):
            assert self.call.stopping_beat(wanted) == GOES_ON
            if marks(self.firmware)[-1] == Mark.COAST:
                assert legs_now(self.firmware) == [OPEN] * 3
                return beats
        return None

    def seems_at_rest(self, wanted: int = NOTHING) -> int:
        """The answer to the last of all looks."""
        assert self.beats(LOOKS - 1, wanted) == {GOES_ON}
        assert legs_now(self.firmware) == [OPEN] * 3
        return self.call.stopping_beat(wanted)

    def seems_to_turn(self, wanted: int = NOTHING, looks: int = 5) -> int:
        """The answer to the look that shows the second change of mind."""
        show(self.firmware, ABOVE)
        assert self.beats(looks - 2, wanted) == {GOES_ON}
        show(self.firmware, BELOW)
        assert self.beats(1, wanted) == {GOES_ON}
        answer = self.call.stopping_beat(wanted)
        show(self.firmware, ABOVE)
        return answer

    def brake_until(self, braked_ms: int, wanted: int = NOTHING) -> None:
        """Turning whenever it is listened to, until so much was braked, listening again."""
        self.call.stopping_begin()
        braked = self.brakes_for(wanted)
        while braked < braked_ms:
            assert self.seems_to_turn(wanted) == GOES_ON
            braked += self.brakes_for(wanted)
        assert braked == braked_ms

    def brake_for_the_longest(self) -> None:
        """Now at rest, now turning, until exactly so much was braked."""
        self.call.stopping_begin()
        braked = self.brakes_for()
        while braked < LONGEST:
            assert self.seems_at_rest() == GOES_ON
            braked += self.brakes_for()
            assert self.seems_to_turn() == GOES_ON
            braked += self.brakes_for()
        assert braked == LONGEST
