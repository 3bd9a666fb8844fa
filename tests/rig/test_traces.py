"""Breakpoints of the scenario's linear traces, on the rig."""

import math

import pytest

from ..small_firmware import Bench, scenario

IDLE = """
    #include "say.h"
    int main(void)
    {
        SLEEP_FOREVER
    }
"""


def test_the_driven_rotor_passes_through_every_point_of_its_trace(bench: Bench) -> None:
    """Points in ms fall on a cycle only up to rounding; none may stop time or be left out."""
    rig = bench.rig(IDLE)
    points = tuple((k / 1000.0, 100.0 * (k % 3)) for k in range(60))
    recording = rig.run(scenario(0.06, speed_rpm=points))

    for t_s, rpm in points[1:]:
        assert recording.w_at(t_s) * 30.0 / math.pi == pytest.approx(rpm, abs=0.5)


@pytest.mark.parametrize("name", ["supply_v", "load_factor", "load_nm", "comparator_noise_mv"])
def test_points_of_any_trace_may_lie_anywhere(bench: Bench, name: str) -> None:
    """1000 points at moments of no pattern: the run ends, and twice alike."""
    rig = bench.rig(IDLE)
    low = {"supply_v": 11.0, "load_factor": 0.5, "load_nm": 0.0, "comparator_noise_mv": 0.0}[name]
    points = tuple((0.0001 * k + 3e-5 * math.sin(k), low + 1e-3 * (k % 7)) for k in range(1, 1000))
    given = {name: ((0.0, low), *points)}

    assert rig.run(scenario(0.11, **given)).digest() == rig.run(scenario(0.11, **given)).digest()
