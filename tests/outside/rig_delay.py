"""The comparator's delay, from the machine's angle to the bit that software reads."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from dryspin.drive import Range, load_drive
from dryspin.recording import Signal

from ..small_firmware import BOW_THRUSTER, scenario
from .check import Row, RunOnRig, apart, check

SYNCHRONISER_CYCLES = 1.5
"""Mean of "1 - 2 clock cycles" (8161D p. 248), when crossings fall anywhere in a cycle."""
END_S = 0.05


def late_deg(run: RunOnRig, hertz: float, delay_s: float) -> float:
    """Mean lateness (electrical degrees) of the comparator's bit behind the crossing of U's EMF.

    The rotor is driven, all legs are open, the motor slow enough in volts that no diode conducts; the
    bit is the comparator's output in the recording, the crossing a closed form.
    """
    drive = load_drive(BOW_THRUSTER)
    drive = replace(drive, motor=replace(drive.motor, kv_rpm_per_v=Range.exactly(6000.0)))
    speed_rpm = 60.0 * hertz / drive.motor.pole_pairs
    driven = scenario(END_S, rest_deg=210.0, speed_rpm=((0.0, speed_rpm),), parts={"delay_s": delay_s})
    cycles, _, _ = run(drive, driven).of(Signal.COMPARATOR)
    late = []
    for cycle in cycles.tolist()[1:]:
        degrees = 210.0 + 360.0 * hertz * cycle / 16e6
        late.append((degrees + 90.0) % 180.0 - 90.0)
    assert len(late) > 1.9 * hertz * END_S
    return math.fsum(late) / len(late)


@check("data sheet: 500 ns at 4.0 V, 750 ns at 2.7 V (DS40002011A p. 385); 360 f td", on_rig=True)
def comparator_delay(run: RunOnRig) -> Iterator[Row]:
    """0.25, 0.63, 0.38, 0.95 degrees, published to two digits; the synchroniser taken off."""
    for delay_ns, hertz, degrees in (
        *((500.0, 1400.0, 0.25), (500.0, 3500.0, 0.63)),
        *((750.0, 1400.0, 0.38), (750.0, 3500.0, 0.95)),
    ):
        seen = late_deg(run, hertz, delay_ns * 1e-9)
        seen -= 360.0 * hertz * SYNCHRONISER_CYCLES / 16e6
        # half of the last digit, and what is left of the synchroniser over some hundred crossings
        yield apart(
            "comparator delay", degrees, seen, 0.0075, "el. deg", f"{delay_ns:.0f} ns, {hertz:.0f} Hz"
        )
