"""How the bow thruster starts: what precedes the align, and what a second try does differently."""

import numpy as np

from dryspin.findings import HELD, load_subject
from dryspin.recording import LEGS, Leg, Mark, Recording
from dryspin.rig import Rig
from dryspin.scenario import Scenario

from ..small_firmware import BOW_THRUSTER
from .rite import first_s, marks, story


def legs_at(recording: Recording, t_s: float) -> list[int]:
    """State of legs U, V, W."""
    cycle = np.array([recording.cycle_of(t_s)])
    return [int(recording.value_at(leg, cycle)[0]) for leg in LEGS]


def test_bootstrap_capacitors_are_charged_before_a_high_fet_is_needed(pack: Rig) -> None:
    """All low FETs for 1 ms: ten time constants of 1 uF behind 100 ohm (common practice, no source)."""
    run = pack.run(story(0.6, ((0.0, 1500.0), (0.4, 1900.0))))
    charge_s, align_s = first_s(run, Mark.PRECHARGE), first_s(run, Mark.ALIGN)

    assert 0.001 <= align_s - charge_s < 0.003
    assert legs_at(run, charge_s + 0.0005) == [Leg.LOW] * 3
    assert Leg.CHOPPED in legs_at(run, align_s + 0.001)


def test_a_second_try_aligns_half_a_turn_away(pack: Rig) -> None:
    """What a blocked rotor was pulled against once, it is pulled away from the next time, and so on."""
    run = pack.run(story(4.5, ((0.0, 1500.0), (0.4, 1900.0)), speed_rpm=((0.0, 0.0),)))
    aligns_s = [t_s for t_s, code in marks(run) if code == Mark.ALIGN]
    first, second, third = (legs_at(run, t_s + 0.01) for t_s in aligns_s[:3])

    assert first == third == [Leg.CHOPPED, Leg.LOW, Leg.OPEN]
    assert second == [Leg.LOW, Leg.CHOPPED, Leg.OPEN]


def test_a_try_that_the_stick_calls_off_is_none_of_the_next_demand() -> None:
    """Median of three frames: a start for the way before begins just as the stick has gone the other way."""
    steps = ((0.0, 1500.0), (4.0103, 1208.0), (4.1775, 1614.0), (4.3621, 1175.0))
    story = Scenario(seed=0, end_s=4.603, rest_deg=0.0, frame_ms=15.0, throttle_us=steps)
    tries = load_subject(BOW_THRUSTER).try_out(story).of("startup.tries")

    assert (tries.status, tries.seen) == (HELD, 1.0)
