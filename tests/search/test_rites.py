"""Scenarios of the families that a firmware's rites belong to: synchronism, arming, calibration, tones."""

import math
from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings

from dryspin.drive import load_drive
from dryspin.errors import UsageError
from dryspin.search.course import START_UP_S, fall_s
from dryspin.search.draws import SeededDraws
from dryspin.search.learning import calibration_alone
from dryspin.search.plan import require_rites
from dryspin.search.positions import SPANS, ranges
from dryspin.search.rehearsal import Rehearsal
from dryspin.search.strategies import covering_draft, drafts

from .subject import BOW_THRUSTER

DRIVE = load_drive(BOW_THRUSTER)
RITE = DRIVE.calibration

WRITES = tuple((0.09 + 0.0034 * k, 0.0933 + 0.0034 * k) for k in range(16))
"""Sixteen bytes, 90 ms after the last pulse."""

TONES = dict.fromkeys((10.0, 15.0, 20.0, 25.0), ((1.0, 1.3), (3.5, 3.58)))
SEEN = Rehearsal(WRITES, TONES)


def of_family(family, rehearsal=SEEN):
    """Strategy for scenarios of one family."""
    return drafts(DRIVE, family, rehearsal).map(lambda draft: draft.scenario)


def planned(family, count=40, rehearsal=SEEN):
    """Scenarios of the covering plan."""
    return [covering_draft(DRIVE, family, row, 0, rehearsal).scenario for row in range(count)]


def last_pulse_s(scenario, from_s):
    """End of the pulse with which the declared rite, begun by power-on at `from_s`, is complete, or None.

    Written from drive.toml's words: so many high pulses in a row, then high, neutral, low held still.
    """
    pulses = [(t, us) for t, us in scenario.pulses() if t > from_s + START_UP_S]
    high = 0
    while high < RITE.enter_frames:
        if high == len(pulses) or pulses[high][1] <= RITE.enter_us:
            return None
        high += 1
    found, run = [], []
    for t_s, us in pulses[high:]:
        run = [w for w in run if abs(w - us) <= RITE.still_us] + [us]
        if len(run) == RITE.hold_frames and (not found or us < found[-1] - 100.0):
            found.append(us)
            if len(found) == 3:
                return t_s + us * 1e-6
    return None


def starts_s(scenario):
    """Moments at which the controller is powered."""
    return [0.0, *(f.at_s + f.for_ms / 1000.0 for f in scenario.faults if f.kind == "power cut")]


def test_rehearsed_calibration_follows_the_declared_rite():
    """The rehearsal tells nothing if it waits for writes from another moment on."""
    scenario, done_s = calibration_alone(DRIVE)

    assert last_pulse_s(scenario, 0.0) == pytest.approx(done_s, abs=1e-6)


def cuts_in_writing(scenario):
    """(kind of fault, number of the write, phase of it) of every fault within a write."""
    found = []
    for start_s in starts_s(scenario):
        end_s = last_pulse_s(scenario, start_s)
        for fault in scenario.faults if end_s else ():
            at_s = fault.at_s + (fall_s(DRIVE) if fault.kind == "supply gap" else 0.0) - end_s
            for k, (a, b) in enumerate(WRITES):
                if a - 1e-6 <= at_s < b - 1e-6:
                    found.append((fault.kind, k, (at_s - a) / (b - a)))
    return found


def test_two_calibrations_of_five_are_cut_within_a_write():
    """Old or new is shown only where the store was cut while it was written to; others tell other stories."""
    scenarios = planned("calibration")

    assert sum(bool(cuts_in_writing(scenario)) for scenario in scenarios) >= 0.4 * len(scenarios)


@pytest.mark.parametrize("way", [0, 1])
@pytest.mark.parametrize("taught", range(SPANS + 1))
@pytest.mark.parametrize("row", range(6))
def test_old_and_new_range_ask_for_another_duty_where_they_are_told_apart(way, taught, row):
    """And before the cut the old range is seen at either share, so that a map between them exists."""
    draws = SeededDraws(Random(row), {"both ways": 0})
    old, new, telling = ranges(draws, DRIVE, RITE, taught, way, one_way=False)
    band_us = DRIVE.throttle.dead_band_us

    def share(us, at):
        full_us = at.high if us > at.neutral else at.low
        return (abs(us - at.neutral) - band_us) / (abs(full_us - at.neutral) - band_us)

    (told_us,) = telling.told_us
    seen = sorted(share(us, old) for us in telling.seen_us)
    middle_us = (old.neutral + new.neutral) / 2.0

    assert (told_us > 1500.0) == (way == 0)
    assert abs(share(told_us, old) - share(told_us, new)) > 0.08
    for one in (old, new):
        assert seen[0] - 0.02 <= share(told_us, one) <= seen[1] + 0.02
        assert abs(middle_us - one.neutral) < band_us
        assert one.high > RITE.enter_us
        assert RITE.span_min_us < one.neutral - one.low < RITE.span_max_us


def test_every_phase_of_a_write_is_met():
    """A byte is torn differently early, in the middle and late; and each byte may be the one.

    Half of the cuts come at the beginning, between two bytes; the others are spread evenly.
    """
    cuts = [cut for scenario in planned("calibration", 800) for cut in cuts_in_writing(scenario)]
    tenths = [int(10.0 * phase) for _, _, phase in cuts]
    numbers = [number for _, number, _ in cuts]

    assert len(cuts) >= 440
    assert {kind for kind, _, _ in cuts} == {"power cut", "reset", "supply gap"}
    for tenth in range(1, 10):
        assert tenths.count(tenth) >= 0.02 * len(cuts)
    assert tenths.count(0) >= 0.4 * len(cuts)
    for number in range(len(WRITES)):
        assert numbers.count(number) >= 0.02 * len(cuts)


@given(of_family("synchronism"))
@settings(max_examples=100, database=None, deadline=None)
def test_jam_stops_the_rotor_and_is_over_soon(scenario):
    """At 600 rpm it takes most of what the motor has, 0.54 Nm; after a tenth of a second it lets go again."""
    demand_s, _ = scenario.throttle_us[1]
    if scenario.faults:
        (gap,) = scenario.faults
        assert gap.kind == "supply gap"
        assert gap.at_s > demand_s + 0.5
        return
    usual = scenario.load_factor[0][1]
    jammed_s = [t_s for t_s, factor in scenario.load_factor if factor > usual]
    w_rad_s = 600.0 * math.pi / 30.0
    torque_nm = DRIVE.load.kq_nm_s2.nominal * max(f for _, f in scenario.load_factor) * w_rad_s**2
    r_ohm = 2.0 * (DRIVE.motor.r_phase_ohm.nominal + DRIVE.bridge.r_on_ohm.nominal)
    r_ohm += DRIVE.supply.r_ohm.nominal

    # Torque of a locked rotor: kt V / R (textbook).
    locked_nm = DRIVE.motor.kt_nm_per_a * DRIVE.supply.v_v.nominal / r_ohm
    assert locked_nm == pytest.approx(0.54, abs=0.01)
    assert torque_nm > 0.7 * locked_nm
    assert demand_s + 0.5 < jammed_s[0]
    assert jammed_s[-1] - jammed_s[0] < 0.2
    assert scenario.load_factor[-1][1] == usual
    assert scenario.end_s - scenario.load_factor[-1][0] > 1.5


def test_most_arming_scenarios_start_the_controller_anew_under_drive():
    """By reset, power cut and supply gap alike, with the stick up, in the middle and the other way."""
    kinds, sticks, count = set(), set(), 0
    for scenario in planned("arming"):
        for fault in scenario.faults:
            kinds.add(fault.kind)
            stick_us = max((t, us) for t, us in scenario.throttle_us if t <= fault.at_s)[1]
            sticks.add((stick_us > 1550.0) - (stick_us < 1450.0))
        count += bool(scenario.faults)

    assert kinds == {"reset", "power cut", "supply gap"}
    assert sticks == {-1, 0, 1}
    assert count >= 22


def test_tones_are_cut_by_stick_and_restart_and_left_alone():
    """Inside the tones that the rehearsal has shown."""
    moved = restarted = left = 0
    for scenario in planned("tones", 100):
        spans = TONES[scenario.frame_ms]
        moves = [t for t, us in scenario.throttle_us if t > 0.0 and us != 1500.0]
        moved += any(a <= t <= b for t in moves for a, b in spans)
        restarted += any(a - 0.03 <= f.at_s <= b + 0.03 for f in scenario.faults for a, b in spans)
        left += not moves and not scenario.faults and scenario.end_s >= 5.0

    assert moved >= 8
    assert restarted >= 8
    assert left >= 8


@given(of_family("tones", Rehearsal()) | of_family("calibration", Rehearsal()))
@settings(max_examples=60, database=None, deadline=None)
def test_scenarios_can_be_built_without_a_rehearsal(scenario):
    """A firmware that never sounded or stored is to be searched all the same."""
    assert scenario.end_s >= 2.0


@pytest.mark.parametrize("family", ["calibration", "tones"])
def test_a_family_without_its_table_is_refused(family):
    """Claims about a rite that nobody described would never be exercised."""
    bare = replace(DRIVE, calibration=None, tones=())
    with pytest.raises(UsageError, match=r"drive\.toml has no \[.*, so claims of the family"):
        require_rites(bare, [family])
    require_rites(DRIVE, [family])


def test_a_drive_is_left_without_a_signal_at_rest_and_for_long():
    """What is missing is counted, and counts go round: 256 frames of 20 ms, 256 wraps of 32.8 ms."""
    at_rest = long = again = 0
    for scenario in planned("arming"):
        pulses = [(t, us) for t, us in scenario.pulses() if t > START_UP_S]
        good = [(t, us) for t, us in pulses if 800.0 <= us <= 2200.0]
        gaps = [(a, b) for a, b in pairwise(good) if b[0] - a[0] > 0.25]
        at_rest += any(all(abs(us - 1500.0) < 40.0 for t, us in good if t <= a[0]) for a, _ in gaps)
        long += any(b[0] - a[0] > 8.4 for a, b in gaps)
        again += not gaps and scenario.end_s > 9.0

    assert at_rest >= 2
    assert long >= 2
    assert again >= 2


def test_a_stick_that_teaches_loses_its_signal_and_teaches_once_more():
    """None of the positions is complete, or one of them is; and a third range follows a second."""
    most = lost = 0
    for scenario in planned("calibration", 24):
        learns_s = START_UP_S + (RITE.enter_frames + 2) * scenario.frame_ms / 1000.0
        most = max(most, sum(last_pulse_s(scenario, from_s) is not None for from_s in starts_s(scenario)))
        for from_s in starts_s(scenario):
            good = [t for t, us in scenario.pulses() if t > from_s and 800.0 <= us <= 2200.0]
            gaps = [(a, b) for a, b in pairwise(good) if b - a > 0.15]
            lost += any(0.0 < a - from_s - learns_s < 1.6 for a, _ in gaps)

    assert most >= 3
    assert lost >= 2
