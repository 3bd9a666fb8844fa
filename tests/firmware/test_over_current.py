"""The board's current limit and the firmware: legs open at once, fewer amperes, an end, and a word."""

from dataclasses import replace
from typing import Any

import numpy as np

from dryspin.monitors.limits import Limits
from dryspin.recording import Leg, Mark, Recording, Signal
from dryspin.recording.signals import LEGS
from dryspin.rig import Rig

from .conftest import bench
from .rite import first_s, marks, said, story

FAULT_TONE = 38
FULL = ((0.0, 1500.0), (0.4, 1900.0))
REACTION_S = 10e-6
"""A handler under way (up to 5 us), entry, the call that opens the legs."""


def jams(*times_s: float) -> tuple[tuple[float, float], ...]:
    """Load factors of a propeller that something holds for 100 ms from each of these moments on."""
    points = [(0.0, 1.0)]
    for t_s in times_s:
        points += [(t_s, 1.0), (t_s + 0.01, 5000.0), (t_s + 0.1, 5000.0), (t_s + 0.11, 1.0)]
    return tuple(points)


def jammed(rig: Rig, end_s: float, *times_s: float, **more: Any) -> Recording:
    """Full stick on a full pack all the time."""
    return rig.run(story(end_s, FULL, supply_v=((0.0, 12.6),), load_factor=jams(*times_s), **more))


def pulled_s(run: Recording) -> list[float]:
    """Moments at which the board's limit begins to pull."""
    cycles, levels, _ = run.of(Signal.OVER_CURRENT)
    return [float(run.seconds(cycle)) for cycle in cycles[levels == 1]]


def peak_a(run: Recording) -> float:
    """The highest current of any phase."""
    return float(np.max(run.state_i_peak_a))


def test_a_jam_at_full_speed_opens_the_legs_at_once_and_inside_the_rating(pack: Rig) -> None:
    """Without the limit the same jam draws more than the FETs bear: the EMF is gone before the duty is."""
    run = jammed(pack, 1.6, 1.3)
    first = pulled_s(run)[0]
    legs = [int(run.value_at(leg, np.array([run.cycle_of(first + REACTION_S)]))[0]) for leg in LEGS]
    bare = replace(pack.drive, bridge=replace(pack.drive.bridge, over_current_a=None))

    assert 1.3 < first < 1.32
    assert legs == [Leg.OPEN] * 3
    assert peak_a(run) < Limits(pack.drive)["i_peak_a"] < peak_a(jammed(Rig(pack.image, bare), 1.6, 1.3))


def test_after_one_jam_it_runs_again_with_an_eighth_less(pack: Rig) -> None:
    """It may have been a weed."""
    run = jammed(pack, 4.5, 1.3)
    duty = run.of(Signal.DUTY)[1]

    assert len(pulled_s(run)) == 1
    assert int(np.max(duty)) == 255
    assert int(run.value_at(Signal.DUTY, np.array([run.end_cycle]))[0]) == 255 - 32
    assert Mark.GIVEN_UP not in said(run)


def test_the_third_time_it_gives_up_and_says_so(pack: Rig) -> None:
    """Bounded: something is broken, or nobody looks. Neutral, and then a demand, begins anew."""
    # Cold copper: with nominal copper a quarter less duty may already keep the third jam below the limit.
    run = jammed(pack, 6.5, 1.3, 3.2, 5.1, parts={"r_phase": 0.92})
    spoken = [code for _, code in marks(run)]
    after = spoken[spoken.index(Mark.GIVEN_UP) :]

    assert len(pulled_s(run)) == 3
    assert peak_a(run) < Limits(pack.drive)["i_peak_a"]
    assert FAULT_TONE in after
    assert Mark.RUN not in after
    assert first_s(run, Mark.GIVEN_UP) < pulled_s(run)[-1] + 0.01


def test_an_ordinary_drive_never_meets_the_limit() -> None:
    """A limit that acts in starts and reversals would be a fault of its own: supply of 14 V, both ways."""
    rig = bench("drive_lab_supply.toml")
    rig.drive = replace(rig.drive, bridge=replace(rig.drive.bridge, over_current_a=36.0))
    stick = (*FULL, (1.6, 1100.0))
    run = rig.run(story(3.0, stick, supply_v=((0.0, 14.0),)))

    assert pulled_s(run) == []
    assert [code for _, code in marks(run)].count(Mark.RUN) == 2
