"""Carrier frequencies the part can make with its two 8-bit timers.

Data sheet of the family (ATmega128 2467P pp. 152, 154): fast PWM f / (256 N), phase-correct PWM
f / (510 N), prescaler N of 1, 8, 64, 256 or 1024. The two timers share no other prescaler, and
both must run alike. Exact figures from the formulae at 16 MHz: 62 500 fast, 31 372.55
phase-correct, 7 812.5 fast with prescaler 8.
"""

from dataclasses import dataclass

PRESCALERS = (1, 8, 64, 256, 1024)
COUNTS = {"fast": 256, "phase-correct": 510}
TOLERANCE_HZ = 1.0
"""How far the frequency in the file may be rounded."""


@dataclass(frozen=True, slots=True)
class Carrier:
    """One way to run the timers: mode, prescaler, and the frequency it gives."""

    mode: str
    prescaler: int
    f_hz: float

    def __str__(self) -> str:
        return f"{self.f_hz:.8g} Hz ({self.mode}, prescaler {self.prescaler})"

    @property
    def on_rig(self) -> bool:
        """True if the virtual controller runs this carrier."""
        return self.mode == "phase-correct" and self.prescaler == 1


def carriers(f_cpu_hz: float) -> list[Carrier]:
    """Every carrier of the part at this CPU clock, the fastest first."""
    made = [
        Carrier(mode, prescaler, f_cpu_hz / (counts * prescaler))
        for mode, counts in COUNTS.items()
        for prescaler in PRESCALERS
    ]
    return sorted(made, key=lambda carrier: -carrier.f_hz)


def nearest(f_pwm_hz: float, f_cpu_hz: float) -> Carrier:
    """The carrier nearest to a wanted frequency."""
    return min(carriers(f_cpu_hz), key=lambda carrier: abs(carrier.f_hz - f_pwm_hz))
