"""In a short step the handlers of the stick and of the clock wait from the first look to the next step.

The stick's edges are dated by the capture register, the crossing by its handler: what comes before that one
makes the step late.
"""

from dataclasses import replace

import pytest

from dryspin.recording import Vector

from .moments import START_UP_S, TICK_S, Moments, turning
from .watching import RISES_ABOVE, V

SHORT_STEP = 400
WRAP = 65536


def watching_alone(firmware, rise_tick: int, alone: int = 1) -> Moments:
    """A watch of a short step, begun 200 ticks before a pulse of 1.5 ms rises, with no crossing in sight."""
    frame_ms = 1e3 * (START_UP_S + rise_tick * TICK_S) / 2.5
    rotor = turning(V, True, rise_tick + 20_000, 40_000)
    firmware.reset(replace(rotor, throttle_us=((0.0, 1500.0),), frame_ms=frame_ms))
    call, moments = firmware.call, Moments(firmware)
    call.clock_start()
    call.throttle_start()
    call.crossing_start()
    moments.until(rise_tick - 200)
    call.crossing_watch(V, RISES_ABOVE, (rise_tick - 200) % WRAP, SHORT_STEP)
    call.crossing_alone(alone)
    call.port_interrupts_restore(1)
    moments.until(rise_tick + 100)
    return moments


def end_of(firmware, how: str) -> None:
    """What ends the watch."""
    firmware.call.port_interrupts_off()
    if how == "next step":
        firmware.call.crossing_alone(0)
    else:
        firmware.call.crossing_ignore()
    firmware.call.port_interrupts_restore(1)


@pytest.mark.parametrize("how", ["next step", "ignored"])
@pytest.mark.parametrize("rise_tick", [34_000, WRAP - 40], ids=["between wraps", "just before a wrap"])
def test_the_pulse_is_heard_after_the_watch_and_read_to_the_tick(firmware, rise_tick, how):
    """Also where the timer has wrapped meanwhile: the wrap is not counted before the edge is dated."""
    moments = watching_alone(firmware, rise_tick)
    assert len(moments.entries(Vector.COMPARE_B)) >= 1
    assert moments.entries(Vector.THROTTLE_EDGE) == []
    assert moments.entries(Vector.WRAP) == []
    end_of(firmware, how)
    moments.until(rise_tick + 3100)

    assert rise_tick + 100 <= moments.entries(Vector.THROTTLE_EDGE)[0] < rise_tick + 105
    pulse = firmware.call.throttle_last()
    assert (pulse.good, pulse.width_ticks) == (1, 3000)
    assert pulse.end_ticks == pytest.approx(rise_tick + 3000, abs=2)


def test_in_a_long_step_the_stick_is_heard_at_once(firmware):
    """Pulses may be shorter than the rest of the step."""
    moments = watching_alone(firmware, 34_000, alone=0)

    assert moments.entries(Vector.THROTTLE_EDGE)[0] == pytest.approx(34_000, abs=2)
