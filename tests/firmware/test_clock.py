"""A board without a crystal, never taught its stick: what its clock makes of pulses is nobody's fault."""

import pytest

from dryspin.findings import BROKEN, Subject, load_subject
from dryspin.scenario import Scenario

from ..small_firmware import BOW_THRUSTER


@pytest.fixture(scope="module")
def subject() -> Subject:
    """The drive with an RC oscillator."""
    return load_subject(BOW_THRUSTER, BOW_THRUSTER / "drives" / "rc_clock.toml")


@pytest.mark.parametrize(
    ("claim", "clock", "frame_ms", "end_s", "throttle_us"),
    [
        # 1380 us are 1518 us to it, neutral; 1100 us are 1210 us, three quarters of the way to full.
        ("throttle_map.full", 1.1, 20.0, 2.2, ((0.0, 1500.0), (0.4, 1380.0), (1.0, 1100.0))),
        # 1620 us are 1499 us to it, and it plays that it is ready; 1500 us are 1388 us, full astern.
        ("tones.pattern", 0.925, 10.0, 0.82, ((0.0, 1500.0), (0.39, 1620.0), (0.8, 1500.0))),
        ("tones.pattern", 0.925, 20.0, 1.67, ((0.0, 1500.0), (0.65, 1620.0), (1.45, 1500.0))),
    ],
)
def test_what_its_clock_makes_of_the_stick_is_not_held_against_it(
    subject, claim, clock, frame_ms, end_s, throttle_us
):
    """Width times clock is what the controller measures: arithmetic, not firmware."""
    scenario = Scenario(
        seed=0, end_s=end_s, rest_deg=0.0, frame_ms=frame_ms, throttle_us=throttle_us, parts={"clock": clock}
    )
    assert subject.try_out(scenario).of(claim).status != BROKEN
