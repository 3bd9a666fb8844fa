"""What the bow thruster does not exceed, whatever the stick, the water and the supply do."""

from dataclasses import replace

import numpy as np

from dryspin.monitors.limits import Limits
from dryspin.recording import Mark, Recording, Signal
from dryspin.rig import Rig
from dryspin.units import rpm_from_rad_s

from .rite import first_s, said, story
from .test_starts_and_speeds import mean_speed

OVERSPEED_RPM = 60.0 / (65e-6 * 6 * 7)
"""Steps of 65 us, two periods of the carrier; six a turn, seven pole pairs."""


def test_an_unloaded_rotor_on_too_high_a_supply_is_held_below_overspeed(lab_supply: Rig) -> None:
    """25 V would bring 25 000 rpm; what the supply does outside its range, the propeller must not pay for."""
    free = story(3.0, ((0.0, 1500.0), (0.4, 1900.0)), load_factor=((0.0, 0.0),))
    fast = rpm_from_rad_s(mean_speed(lab_supply.run(replace(free, supply_v=((0.0, 20.0),)))))
    too_fast = lab_supply.run(replace(free, supply_v=((0.0, 20.0), (1.5, 20.0), (1.6, 25.0))))

    assert 0.85 * OVERSPEED_RPM < fast < OVERSPEED_RPM
    assert fast < rpm_from_rad_s(mean_speed(too_fast)) < 1.02 * OVERSPEED_RPM
    assert float(np.max(too_fast.states["w_rad_s"])) < 1.05 * OVERSPEED_RPM * np.pi / 30.0


def slew(recording: Recording, window_s: float) -> float:
    """Fastest rise of the duty in RUN over any `window_s`, counts."""
    cycles, counts, _ = recording.of(Signal.DUTY)
    t_s = recording.seconds(cycles)
    run = t_s > first_s(recording, Mark.RUN)
    t_s, counts = t_s[run], counts[run].astype(int)
    later = np.searchsorted(t_s, t_s + window_s, side="right") - 1
    return float(np.max(counts[later] - counts))


def test_duty_rises_no_faster_than_its_slew_and_the_current_stays_inside_the_rating(pack: Rig) -> None:
    """The whole way of the stick in one frame, full pack, least resistance: the worst for the FETs."""
    stick = ((0.0, 1500.0), (0.4, 1560.0), (1.2, 1900.0), (1.6, 1560.0), (1.8, 1900.0))
    parts = {"r_phase": 0.9, "kv": 1.05, "j": 1.33}
    run = pack.run(story(2.2, stick, supply_v=((0.0, 12.6),), parts=parts))
    peak_a = max(float(np.max(np.abs(run.states[name]))) for name in ("i_u_a", "i_v_a"))

    assert slew(run, 0.1) <= 0.1 / 0.002 + 1
    assert int(np.max(run.of(Signal.DUTY)[1])) == 255
    assert peak_a < Limits(pack.drive)["i_peak_a"]


def test_a_rotor_let_go_by_a_jam_is_caught_up_with_inside_the_rating(pack: Rig) -> None:
    """Full stick all the time: in the start after the jam it is the step rate that holds the duty down."""
    jam = ((0.0, 1.0), (1.0, 1.0), (1.01, 2000.0), (1.1, 2000.0), (1.11, 1.0))
    run = pack.run(story(3.0, ((0.0, 1500.0), (0.4, 1900.0)), supply_v=((0.0, 12.6),), load_factor=jam))
    lost_s = first_s(run, Mark.COAST, 1.0)
    window = run.states_between(lost_s, 3.0)
    again_s = first_s(run, Mark.RUN, lost_s)
    counts = run.value_at(Signal.DUTY, np.array([run.cycle_of(again_s)]))[0]

    assert lost_s < 1.2
    assert Mark.GIVEN_UP not in said(run)
    assert counts <= 100
    assert max(float(np.max(np.abs(run.states[n][window]))) for n in ("i_u_a", "i_v_a")) < 40.0
    assert mean_speed(run) > 0.0
