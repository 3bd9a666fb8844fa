"""The bow thruster really turns the motor: from every angle, with every propeller, both ways."""

import math
from functools import cache
from itertools import product

import numpy as np
import pytest

from dryspin.monitors.limits import Limits
from dryspin.plant.ideal import ideal_speed
from dryspin.plant.parameters import PlantInput, plant_params
from dryspin.recording import Mark, Recording, Signal
from dryspin.rig import Rig
from dryspin.scenario import Scenario

DEMAND_S = 0.6  # after the rite of 25 pulses at 20 ms
SETTLED_S = 2.2
WINDOW_S = 0.05  # some six mechanical revolutions


def full_stick(
    rig: Rig,
    way: int,
    rest_deg: float = 0.0,
    end_s: float = SETTLED_S,
    supply_v: float | None = None,
    **parts: float,
) -> Scenario:
    """Armed at rest, then full stick one way (+1, -1) until the end."""
    throttle = rig.drive.throttle
    full_us = throttle.forward_full_us if way > 0 else throttle.reverse_full_us
    return Scenario(
        seed=1,
        end_s=end_s,
        rest_deg=rest_deg,
        frame_ms=20.0,
        throttle_us=((0.0, throttle.neutral_us), (DEMAND_S, full_us)),
        supply_v=() if supply_v is None else ((0.0, supply_v),),
        parts=parts,
    )


def mean_speed(recording: Recording) -> float:
    """Mean speed over the last WINDOW_S, rad/s, from the turned angle."""
    end_s = recording.end_s
    theta = np.interp([end_s - WINDOW_S, end_s], recording.states["t_s"], recording.states["theta_rad"])
    return float(theta[1] - theta[0]) / WINDOW_S / recording.drive.motor.pole_pairs


def first_closed_loop_s(recording: Recording) -> float:
    """When the firmware first said that its steps follow the crossings."""
    cycles, marks, _ = recording.of(Signal.MARK)
    running = cycles[marks == Mark.RUN]
    return float(running[0]) / recording.f_cpu_hz if len(running) else math.inf


@cache
def ideal_rad_s(rig: Rig, kq: float, way: int) -> float:
    """What commutation at the ideal angle brings on the equation plant, full duty."""
    params = plant_params(rig.drive, full_stick(rig, way, kq=kq))
    return ideal_speed(params, PlantInput(rig.drive.supply.v_v.nominal), direction=way)


LIKELY_AND_HEAVIEST = {(1.0, 1.0, 1), (1.0, 1.0, -1), (1.5, 1.5, -1)}
PROPELLERS = [
    pytest.param(*each, marks=() if each in LIKELY_AND_HEAVIEST else pytest.mark.long)
    for each in product((0.5, 1.0, 1.5), (0.5, 1.0, 1.5), (1, -1))
]
"""Shares of the nominal torque and inertia, and the way."""


@pytest.mark.parametrize(("kq", "j", "way"), PROPELLERS)
def test_starts_from_every_angle_and_reaches_the_ideal_speed(
    pack: Rig, kq: float, j: float, way: int
) -> None:
    """24 rest angles; 95 % of the speed that commutation at the ideal angle would bring."""
    limit_s = Limits(pack.drive)["start_s"]
    worst_s, slowest = 0.0, math.inf
    for k in range(24):
        recording = pack.run(full_stick(pack, way, 15.0 * k, kq=kq, j=j))
        worst_s = max(worst_s, first_closed_loop_s(recording) - DEMAND_S)
        slowest = min(slowest, way * mean_speed(recording))

    assert worst_s <= limit_s
    assert slowest >= 0.95 * abs(ideal_rad_s(pack, kq, way))


def test_no_load_speed_follows_the_supply(lab_supply: Rig) -> None:
    """Without a propeller the settled speed goes with the voltage (common practice, no source)."""
    speeds = {}
    for supply_v in (13.0, 19.0):
        run = full_stick(lab_supply, 1, supply_v=supply_v, end_s=3.5)
        no_propeller = Scenario(**{**vars(run), "load_factor": ((0.0, 0.0),)})
        speeds[supply_v] = mean_speed(lab_supply.run(no_propeller))

    assert speeds[19.0] / speeds[13.0] == pytest.approx(19.0 / 13.0, rel=0.05)
