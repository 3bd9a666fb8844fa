"""A watch for one crossing, of a rotor that is driven while no leg is.

The comparator shows the EMF alone, and its edges in the recording are the truth. A crossing that is
taken shows in what commutation makes of it: a step is asked for half an interval later, less the
latency; one that came too early to be seen shortens the interval.
"""

from dryspin.call import CallableFirmware
from dryspin.recording import Vector

from .moments import LATENCY, Moments, turning

U, V, W = 0, 1, 2
FALLS_BELOW, RISES_ABOVE = 0, 1
STEP = 2000
"""Ticks of a step: 1 ms."""
BEGUN = 1000
"""Tick at which the step begins."""
SEE_TICKS = 1.25
"""0.5 us of comparator and 2 cycles of synchroniser."""


def watching(
    firmware: CallableFirmware,
    crossing_at: float,
    *,
    leg: int = V,
    rises: bool = True,
    step: int = STEP,
    begun: int = BEGUN,
    rotor_step: float | None = None,
) -> Moments:
    """A watch begun at tick `begun` for a crossing of the rotor's at `crossing_at`; interrupts on."""
    firmware.reset(turning(leg, rises, crossing_at, rotor_step or step))
    call, moments = firmware.call, Moments(firmware)
    call.crossing_start()
    call.port_compare_a_interrupt(1)
    call.timing_begin(step)
    moments.until(begun)
    call.crossing_watch(leg, RISES_ABOVE if rises else FALLS_BELOW, begun % 65536, step)
    call.port_interrupts_restore(1)
    return moments


def looks(moments: Moments) -> list[float]:
    """Ticks of the looks that compare B begins."""
    return moments.entries(Vector.COMPARE_B)


def taken_at(moments: Moments, step: int = STEP) -> list[float]:
    """Ticks of the crossings that were seen, from the steps asked for."""
    return [tick - step // 2 + LATENCY for tick in moments.entries(Vector.COMPARE_A)]
