"""What the strategies build: inside the drive's envelope, and exercising their family by construction."""

from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryspin.drive import load_drive
from dryspin.errors import UsageError
from dryspin.scenario import fits
from dryspin.search.course import RITE_FRAMES
from dryspin.search.draws import MAX_VALUES, Draws, SeededDraws
from dryspin.search.envelope import Reached
from dryspin.search.flavours import FLAVOURS, START_UP_S, frames_ms
from dryspin.search.plan import require_ways, tasks_of
from dryspin.search.rehearsal import Rehearsal
from dryspin.search.strategies import build, covering_draft, drafts, retold
from dryspin.timing.measure import full_stick

from .subject import BOW_THRUSTER, StandIn

DRIVES = {name: load_drive(BOW_THRUSTER / name) for name in ("drive.toml", "drive_lab_supply.toml")}
DRIVE = DRIVES["drive.toml"]
ONE_WAY = load_drive(BOW_THRUSTER.parent / "polling_sketch")


def of_family(family, drive=DRIVE):
    """Strategy for scenarios of one family."""
    return drafts(drive, family).map(lambda draft: draft.scenario)


@pytest.mark.parametrize("drive", DRIVES.values(), ids=DRIVES)
@pytest.mark.parametrize("family", FLAVOURS)
def test_every_scenario_is_inside_the_drives_envelope(family, drive):
    """A scenario outside would accuse firmware of what its drive was never declared for."""

    @given(of_family(family, drive))
    @settings(max_examples=60, database=None, deadline=None)
    def holds(scenario):
        fits(scenario, drive)
        factors = drive.load.kq_nm_s2.factors
        assert all(volts in drive.supply.v_v for _, volts in scenario.supply_v)
        heaviest = max((factor for _, factor in scenario.load_factor), default=1.0)
        jammed = family in ("startup", "synchronism", "electrical") and heaviest > 100.0
        assert all(factor in factors or (jammed and factor > 1.0) for _, factor in scenario.load_factor)

    holds()


@pytest.mark.parametrize("family", FLAVOURS)
def test_scenarios_last_two_seconds_or_more(family):
    """Two hundred scenarios are to give more than 400 simulated seconds, three hundred not much over 1000.

    A calibration counts frames by the hundred, and twice; its time-out alone is 10 s. Giving up a blocked
    rotor takes five tries. What goes wrong a second time, or a seventh, has to happen so often. Some armed
    drives are left alone for half a minute, so that counters go round: while nothing turns, that costs next
    to nothing.
    """
    lengths_s = {"calibration": 22.0, "tones": 6.0, "startup": 8.0, "arming": 42.0, "throttle_map": 9.0}
    lengths_s |= {"reversal": 8.5, "electrical": 7.0}
    longest_s = lengths_s.get(family, 5.0)

    @given(of_family(family))
    @settings(max_examples=60, database=None, deadline=None)
    def holds(scenario):
        assert 2.0 <= scenario.end_s <= longest_s

    holds()


@pytest.mark.parametrize("family", ["gates", "commutation", "startup", "synchronism", "reversal"])
def test_stick_rests_in_neutral_for_a_whole_rite_before_the_first_demand(family):
    """Demands before the rite is over would only ever exercise arming."""

    @given(of_family(family))
    @settings(max_examples=60, database=None, deadline=None)
    def holds(scenario):
        first_demand_s = scenario.throttle_us[1][0]
        neutral = [t_s for t_s, width_us in scenario.pulses() if t_s < first_demand_s and width_us == 1500.0]
        assert len(neutral) >= RITE_FRAMES

    holds()


@given(of_family("reversal"))
@settings(max_examples=100, database=None, deadline=None)
def test_reversal_comes_after_a_second_at_high_throttle(scenario):
    """A reversal below half speed proves nothing; the rotor needs the time and the throttle."""
    (_, neutral), *later = scenario.throttle_us
    asks = [(t_s, us - neutral) for t_s, us in later if us != neutral]
    (_, up_us), (back_s, back_us) = next(
        (a, b) for a, b in pairwise(asks) if a[1] * b[1] < 0.0 and b[0] - a[0] > 0.999
    )

    assert abs(up_us) >= 0.8 * 400.0
    assert abs(back_us) > 1.4 * DRIVE.throttle.dead_band_us
    assert scenario.end_s - back_s > 0.999


@given(drafts(DRIVE, "arming").filter(lambda draft: not draft.aside))
@settings(max_examples=100, database=None, deadline=None)
def test_arming_meets_a_bad_pulse_before_the_first_demand(draft):
    """Bad pulses count for nothing: shown only where one came after start-up and before arming."""
    scenario = draft.scenario
    pulses = scenario.pulses()
    bad_s = next(t_s for t_s, us in pulses if not 800.0 <= us <= 2200.0)
    demand_s = next(t_s for t_s, us in pulses if t_s > bad_s and 50.0 < abs(us - 1500.0) <= 400.0)

    assert START_UP_S < bad_s < demand_s
    assert demand_s - bad_s > 9 * scenario.frame_ms / 1000.0


@given(of_family("gates"))
@settings(max_examples=100, database=None, deadline=None)
def test_gates_always_meet_a_reset_under_way(scenario):
    """All gates open within a cycle of reset: shown only where a reset came while legs were driven."""
    (reset,) = [fault for fault in scenario.faults if fault.kind == "reset"]

    assert reset.at_s > scenario.throttle_us[1][0]
    assert reset.at_s < scenario.end_s


@pytest.mark.parametrize("family", FLAVOURS)
def test_simplest_choices_give_the_simplest_scenario(family):
    """Hypothesis shrinks choices to zero: that must be nominal parts, rest angle 0, no noise, few events."""

    class Zeros(Draws):
        def _choose(self, n):
            return 0

    scenario = build(Zeros(), DRIVE, family).scenario

    assert scenario.parts == {}
    assert scenario.rest_deg == 0.0
    assert scenario.seed == 0
    assert scenario.frame_ms == frames_ms(family)[0]
    assert scenario.comparator_noise_mv == ()
    assert scenario.supply_v == ((0.0, 11.1),)
    assert scenario.load_factor[0] == (0.0, 1.0)
    assert len(scenario.load_factor) == (5 if family == "synchronism" else 1)
    # A new start needs another rite; a calibration has three positions, and there are two.
    assert scenario.events <= {"synchronism": 6, "arming": 10, "calibration": 16, "throttle_map": 36}.get(
        family, 5
    )


@pytest.mark.parametrize("seed", [0, 1, 2**40])
def test_two_hundred_scenarios_reach_every_end_of_the_envelope(seed):
    """Chance would now and then miss a rest sector or a corner; a plan never does."""
    reached = Reached()
    for task in tasks_of(list(FLAVOURS), 200, seed):
        for k in range(task.planned):
            reached.add(covering_draft(DRIVE, task.family, task.first_row + k, seed).scenario, DRIVE)

    assert reached.sectors == set(range(24))
    assert reached.supply_v == [9.6, 12.6]
    assert reached.load_factor == [0.5, 1.5]
    assert len(reached.corners) == 4
    assert reached.full_forward > 20
    assert reached.full_reverse > 20


def test_the_plan_goes_where_a_second_time_differs_from_the_first():
    """What is not reset shows there only: after giving up, in a stream, after an overload, a hasty stick."""

    def planned(family):
        store_s = ((0.01, 0.02),)
        return [covering_draft(DRIVE, family, row, 0, Rehearsal(store_s)).scenario for row in range(24)]

    asked = [sum(us != 1500.0 for _, us in each.throttle_us) for each in planned("startup")]
    freed = [each for each in planned("startup") if each.load_factor[0][1] > 1000.0]
    drifts = [each for each in planned("startup") if each.load_nm and each.end_s > 7.0]
    blocked = {each.parts.get("offset_v", 0.0) for each in planned("startup") if each.speed_rpm}
    jams = [sum(factor > 1000.0 for _, factor in each.load_factor) for each in planned("electrical")]
    hands = {len(each.throttle_us) for each in planned("reversal")}
    halves = [each for each in planned("throttle_map") if each.throttle_us[0][1] > 1700.0]

    assert max(asked) >= 2
    assert len(freed) == len(drifts) == 2
    assert len(blocked) == 2
    assert max(jams) == 4
    assert max(hands) > 14
    assert len(halves) == 3


@given(st.integers(0, 500), st.sampled_from(sorted(FLAVOURS)))
@settings(max_examples=50, database=None, deadline=None)
def test_noted_choices_build_the_same_scenario_again(row, family):
    """What is noted is handed to Hypothesis to shrink; it must be the whole scenario."""

    class Noted(Draws):
        def __init__(self, choices):
            super().__init__()
            self._left = list(choices)

        def _choose(self, n):
            return self._left.pop(0)

    draft = covering_draft(DRIVE, family, row, seed=3)

    assert build(Noted(draft.choices), DRIVE, family).scenario == draft.scenario


def test_a_choice_of_more_than_a_hundred_values_is_refused():
    """Hypothesis would mix constants of whatever modules are loaded into it, so results would vary."""
    draws = SeededDraws(Random(0))

    with pytest.raises(ValueError, match="choice 'speed' has 101 values, must have 1 to 100"):
        draws.index("speed", MAX_VALUES + 1)


def test_a_choice_of_one_value_is_not_noted():
    """Hypothesis is not asked for it either, so the note stays in step."""
    draws = SeededDraws(Random(0))

    assert draws.index("only one", 1) == 0
    assert draws.choices == []


@pytest.mark.parametrize("family", [family for family in FLAVOURS if family != "calibration"])
def test_a_drive_that_pushes_one_way_is_always_asked_to_push(family):
    """In all rows of the plan but those that are about no demand; the other end comes in turns only."""
    throttle = ONE_WAY.throttle
    forward = throttle.neutral_us + throttle.dead_band_us
    rows = [covering_draft(ONE_WAY, family, row, seed=0).scenario for row in range(24)]
    asked = [any(forward < us <= throttle.valid_high_us for _, us in each.throttle_us) for each in rows]

    assert sum(asked) >= (12 if family == "tones" else 24)
    for each in rows:
        first = next((us for _, us in each.throttle_us[1:] if us > 0.0), throttle.forward_full_us)
        assert family in ("tones", "arming") or first > throttle.neutral_us


@pytest.mark.parametrize("family", ["reversal", "gates", "tones"])
def test_noted_choices_of_a_one_way_drive_build_the_same_scenario_again(family):
    """What is settled is neither noted nor asked for, by whoever answers."""
    for row in range(6):
        draft = covering_draft(ONE_WAY, family, row, seed=1)
        assert retold(ONE_WAY, draft, draft.choices).scenario == draft.scenario


def test_claims_on_the_other_way_are_refused_for_a_drive_without_one(tmp_path):
    """They could never be exercised; by name, so that those that can stay."""
    subject = StandIn(tmp_path, lambda _: (), ("reversal.neutral", "reversal.in_time"))
    require_ways(subject.drive, subject.claims)
    with pytest.raises(UsageError, match=r"declares reversal\.in_time, but .* one_way = true"):
        require_ways(ONE_WAY, subject.claims)


def test_highest_speed_of_a_one_way_drive_is_measured_forward():
    """The stick's other end would only stop it."""
    for story in full_stick(ONE_WAY):
        assert [us for _, us in story.throttle_us] == [1100.0, 1900.0]
    assert all(len(story.throttle_us) == 3 for story in full_stick(DRIVE))
