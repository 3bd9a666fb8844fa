"""The bow thruster and a rotor that turns already: caught where it turns as asked, else braked and held."""

import numpy as np
import pytest

from dryspin.monitors.limits import Limits
from dryspin.recording import Mark, Recording
from dryspin.rig import Rig
from dryspin.scenario import Trace
from dryspin.units import rpm_from_rad_s

from .rite import first_s, marks, said, story
from .test_starts_and_speeds import mean_speed

ASKED_S = 0.8


def water(torque_nm: float) -> Trace:
    """A current through the tunnel from 0.3 s on; positive turns the propeller forward."""
    return ((0.0, 0.0), (0.3, 0.0), (0.31, -torque_nm))


def rpm_at(recording: Recording, t_s: float) -> float:
    """Speed, rpm."""
    return rpm_from_rad_s(float(recording.w_at(t_s)))


def spans_s(recording: Recording, code: int) -> float:
    """Time spent under a state mark, s."""
    states = [(t_s, mark) for t_s, mark in marks(recording) if mark < Mark.CROSSING]
    ends = [t_s for t_s, _ in states[1:]] + [recording.end_s]
    return sum(end_s - t_s for (t_s, mark), end_s in zip(states, ends, strict=True) if mark == code)


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize("torque_nm", [0.012, 0.05])
def test_a_rotor_that_turns_as_asked_is_caught_without_a_start(pack: Rig, torque_nm: float, way: int) -> None:
    """A thruster in a current is at work in a fiftieth of a second, and nothing is aligned against it."""
    stick = ((0.0, 1500.0), (ASKED_S, 1500.0 + 400.0 * way))
    run = pack.run(story(2.0, stick, load_nm=water(torque_nm * way)))
    before_rpm, run_s = rpm_at(run, ASKED_S), first_s(run, Mark.RUN)
    window = run.states_between(ASKED_S, 2.0)

    assert way * before_rpm > 2000.0
    assert ASKED_S < run_s < ASKED_S + 0.01 + 0.03
    assert not {Mark.ALIGN, Mark.BRAKE} & said(run)
    assert way * rpm_at(run, run_s + 0.02) > 0.95 * way * before_rpm
    assert way * rpm_from_rad_s(mean_speed(run)) > 8000.0
    assert float(np.max(np.abs(run.states["i_u_a"][window]))) < Limits(pack.drive)["i_peak_a"]


def test_the_first_steps_of_a_caught_rotor_hardly_push_it(pack: Rig) -> None:
    """The duty is that of its EMF: the current stays below a third of what the bridge bears."""
    stick = ((0.0, 1500.0), (ASKED_S, 1900.0))
    for torque_nm in (0.012, 0.03, 0.05):
        run = pack.run(story(1.0, stick, load_nm=water(torque_nm)))
        run_s = first_s(run, Mark.RUN)
        window = run.states_between(run_s, run_s + 0.01)

        assert float(np.max(np.abs(run.states["i_u_a"][window]))) < 40.0 / 3.0


def test_a_jammed_rotor_that_is_free_again_is_caught_after_the_pause(pack: Rig) -> None:
    """Full speed, lost for a moment: after cooling down it still turns, and runs on without a stop."""
    jam = ((0.0, 1.0), (1.0, 1.0), (1.003, 3000.0), (1.012, 3000.0), (1.013, 0.0), (1.6, 0.0), (1.61, 1.0))
    run = pack.run(
        story(
            2.5,
            ((0.0, 1500.0), (0.4, 1900.0)),
            load_factor=jam,
            load_nm=((0.0, 0.0), (1.0, 0.0), (1.02, -0.01)),
        )
    )
    lost_s = first_s(run, Mark.COAST, 1.0)
    again_s = first_s(run, Mark.RUN, lost_s)

    assert lost_s < 1.1
    assert 0.5 < again_s - lost_s < 0.56
    assert first_s(run, Mark.ALIGN, lost_s) == float("inf")


def test_a_rotor_that_the_water_turns_the_other_way_is_held_and_started_from_the_hold(pack: Rig) -> None:
    """At 9 mNm the short holds it near 110 rpm: slow enough for a start, which must not wait for ever."""
    run = pack.run(story(2.6, ((0.0, 1500.0), (ASKED_S, 1100.0)), load_nm=water(0.009)))
    align_s = first_s(run, Mark.ALIGN)

    assert rpm_at(run, ASKED_S) > 1500.0
    assert spans_s(run, Mark.BRAKE) < 0.6
    assert 0.0 < rpm_at(run, align_s) < 400.0
    assert align_s < ASKED_S + 0.75
    assert rpm_from_rad_s(mean_speed(run)) < -7000.0


@pytest.mark.parametrize("then", [0, -1])
@pytest.mark.parametrize("way", [1, -1])
def test_the_brake_is_let_go_where_the_water_is_stronger(pack: Rig, way: int, then: int) -> None:
    """One second and 60 ms of it at most: beyond, the short only heats the windings. Nothing is driven."""
    stick = ((0.0, 1500.0), (0.4, 1500.0 + 400.0 * way), (1.3, 1500.0 + 400.0 * way * then))
    run = pack.run(story(3.5, stick, load_nm=((0.0, 0.0), (1.2, 0.0), (1.3, -0.03 * way))))

    assert 0.9 < spans_s(run, Mark.BRAKE) <= 1.06
    assert first_s(run, Mark.ALIGN, 1.3) == float("inf")
    assert way * rpm_at(run, 3.4) > 3000.0


def test_water_that_relents_lets_it_start(pack: Rig) -> None:
    """Whoever waits for the water must not need a new demand when it is calm again."""
    current = ((0.0, 0.0), (0.3, 0.0), (0.31, -0.03), (2.2, -0.03), (2.3, 0.0))
    run = pack.run(story(4.0, ((0.0, 1500.0), (ASKED_S, 1100.0)), load_nm=current))

    assert first_s(run, Mark.ALIGN) > 2.3
    assert rpm_from_rad_s(mean_speed(run)) < -7000.0
