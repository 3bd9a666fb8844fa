"""The words we print are output under test."""

import math
from pathlib import Path

import pytest

from dryspin.drive import load_drive
from dryspin.findings import Outcome, Replay
from dryspin.report import finding_lines, replay_lines, verdict_line
from dryspin.report.json import check_json
from dryspin.report.numbers import margin, number, quantity
from dryspin.report.scenario import scenario_lines
from dryspin.report.text import CAUTION, check_lines
from dryspin.scenario import Fault, Scenario
from dryspin.search.envelope import Visit
from dryspin.search.highest_speed import balanced_rpm
from dryspin.search.result import CheckResult, ClaimResult, SavedFinding

from ..findings.samples import OUTCOME, SCENARIO, finding
from ..search.subject import BOW_THRUSTER

DRIVE = load_drive(BOW_THRUSTER / "drive.toml")


@pytest.mark.parametrize(
    ("value", "text"),
    [(3120.0, "3 120"), (1234567.0, "1 234 567"), (61.37, "61.37"), (0.25, "0.25"), (400.0, "400")],
)
def test_numbers_read_easily(value, text):
    """Thousands apart, no digits that say nothing."""
    assert number(value) == text


def test_units_follow_their_number():
    """A count has none."""
    assert quantity(3120.0, "rpm") == "3 120 rpm"
    assert quantity(5.0, "") == "5"


def test_a_margin_shows_its_sign():
    """Negative is broken; none where nothing was judged."""
    assert [margin(value) for value in (0.42, -6.8, 1.0, None)] == ["+0.42", "-6.8", "+1", "none"]


def test_a_finding_reads_like_this(tmp_path):
    """The page a user acts on: verdict, scenario, what happened, which line, how to see it again."""
    lines = finding_lines(finding(tmp_path), DRIVE, Path("traces/found/reversal-opposing-drive-1.toml"))

    assert lines == [
        "broken  reversal.opposing_drive   margin -6.8 (limit 400 rpm, seen 3 120 rpm)",
        "shortest scenario",
        "   0.000 s   pack 12.1 V, rotor at 210 deg, r_phase x 1.05",
        "   0.400 s   throttle 1500 -> 1900 us",
        "   1.220 s   throttle 1900 -> 1100 us",
        "   1.231 s   reset",
        "at 1.2314 s the legs drive reverse while the rotor turns forward at 3 120 rpm: 61.4 A in phase V",
        "commanded at reversing.c:88",
        "replay: dryspin replay traces/found/reversal-opposing-drive-1.toml",
    ]


def test_a_scenario_tells_everything_that_is_not_as_usual():
    """What is left out of the page cannot be what breaks the claim."""
    scenario = Scenario(
        seed=3,
        end_s=3.0,
        rest_deg=15.0,
        frame_ms=10.0,
        throttle_us=((0.0, 1900.0), (1.0, 0.0), (1.5, 1500.0)),
        supply_v=((0.0, 12.6), (1.0, 12.6), (1.3, 9.6)),
        load_factor=((0.0, 0.5),),
        load_nm=((0.0, 0.002),),
        speed_rpm=((0.0, 0.0), (2.0, 3000.0)),
        comparator_noise_mv=((0.0, 2.0),),
        parts={"kv": 0.95, "offset_v": -0.04, "delay_s": 7.5e-7},
        faults=(Fault("reset", 2.0),),
    )

    assert scenario_lines(scenario, DRIVE) == [
        "   0.000 s   pack 12.6 V, rotor at 15 deg, throttle 1900 us, a throttle pulse every 10 ms, "
        "propeller torque, factor 0.5, added torque 0.002 Nm, driven rotor 0 rpm, comparator noise 2 mV, "
        "kv x 0.95, offset_v -0.04 V, delay_s 7.5e-07 s",
        "   1.000 s   throttle 1900 -> no pulse",
        "   1.000 s   supply 12.6 V begins to change",
        "   1.300 s   supply 12.6 -> 9.6 V, evenly since 1.000 s",
        "   1.500 s   throttle no pulse -> 1500 us",
        "   2.000 s   driven rotor 0 -> 3 000 rpm, evenly since 0.000 s",
        "   2.000 s   reset",
    ]


def test_a_verdict_without_a_limit_shows_none():
    """Discrete claims have a margin of one either way, and no limit to speak of."""
    assert verdict_line(Outcome("gates.both_fets", "held", 1.0)) == "held  gates.both_fets   margin +1"
    assert verdict_line(Outcome("arming.loss", "not exercised")) == "not exercised  arming.loss"


def result(**changes):
    """A check of two claims that held."""
    values = {
        "claims": (
            ClaimResult("gates.both_fets", "held", 195, Outcome("gates.both_fets", "held", 1.0)),
            ClaimResult(
                "reversal.in_time",
                "held",
                35,
                Outcome("reversal.in_time", "held", 0.29, 2.1, limit=0.9, seen=0.6416, unit="s"),
            ),
        ),
        "findings": (),
        "kept": (),
        "families": {"gates": (40, 36)},
        "reached": {"rest_sectors_of_15_deg": 24, "supply_v": [9.6, 12.6], "parts_varied": ["j", "kv"]},
        "scenarios": 40,
        "simulated_s": 93.7,
        "shrink_trials": 0,
        "seed": 1,
        "wall_s": 4.0,
        "versions": {},
        "rite_frames": {20.0: 25},
    }
    return CheckResult(**{**values, **changes})


def test_a_check_that_held_reads_like_this():
    """It ends with what a pass does not mean."""
    assert check_lines(result(), DRIVE) == [
        "bow thruster, pack: 40 scenarios, 93.7 s simulated in 4 s (23.43 times real time), seed 1",
        "",
        "held           gates.both_fets   exercised  195  margin      +1",
        "held           reversal.in_time  exercised   35  margin   +0.29 (limit 0.9 s, seen 0.6416 s)",
        "",
        "gates: 40 scenarios of its own, 36 exercise all its declared claims",
        "arming: 25 frames at neutral, as rehearsed; demands come after that",
        "reached: rest sectors of 15 deg 24, supply v 9.6 to 12.6, parts varied j kv",
        "",
        "all 2 declared claims held",
        CAUTION,
    ]


@pytest.mark.parametrize(("rpm", "told"), [(496.0, True), (4480.0, True), (4500.0, False)])
def test_a_check_that_never_ran_at_speed_says_so(rpm, told):
    """From half the speed on at which motor and propeller balance; held claims at a crawl look the same."""
    seen = result(
        visits=(Visit(11.1, 1.0, (-20.0, rpm)), Visit(11.1, 1.0, None)),
        balanced_rpm=9000.0,
        reached={"full_forward": 7, "full_reverse": 2},
    )
    said = "\n".join(check_lines(seen, DRIVE))
    share = {496.0: 6, 4480.0: 50}.get(rpm)

    assert (f"no scenario ran above {share} % of the drive's highest speed" in said) == told
    assert ("the stick was full out in 9 scenarios" in said) == told
    assert check_json(seen)["totals"]["speed"] == {
        "fastest_rpm": rpm,
        "balanced_rpm": 9000.0,
        "share": pytest.approx(rpm / 9000.0),
        "at_speed": not told,
    }


def test_nothing_is_said_of_speed_where_no_stick_was_full_out_or_nobody_saw_the_rotor():
    """A check of tones alone asks for none."""
    slow = (Visit(11.1, 1.0, (0.0, 3.0)),)
    for quiet in (
        result(visits=slow, balanced_rpm=9000.0, reached={"full_forward": 0, "full_reverse": 0}),
        result(balanced_rpm=9000.0, reached={"full_forward": 7, "full_reverse": 2}),
    ):
        assert not any("highest speed" in line for line in check_lines(quiet, DRIVE))


def test_highest_speed_is_the_one_at_which_torques_balance():
    """By hand: 11.1 V, kt = 9.549e-3 Nm/A, 0.195 ohm; 1e-7 w^2 + 4.676e-4 w = 0.5406 Nm at 959.2 rad/s."""
    assert balanced_rpm(DRIVE) == pytest.approx(959.2 * 30.0 / math.pi, rel=1e-4)


def test_a_check_that_broke_ends_with_its_findings(tmp_path):
    """And never with a word that could be taken for a pass."""
    broken = ClaimResult("reversal.opposing_drive", "broken", 24, OUTCOME)
    unproven = ClaimResult("arming.loss", "not exercised", 0, Outcome("arming.loss", "not exercised"))
    saved = SavedFinding(Path("found/a.toml"), finding(tmp_path))
    lines = check_lines(result(claims=(broken, unproven), findings=(saved,)), DRIVE)

    assert finding_lines(saved.finding, DRIVE, saved.path) == lines[9:18]
    assert lines[-2:] == [
        "arming.loss is declared, but nothing was shown about it (not exercised); "
        "raise --scenarios, or take it out of claims.toml",
        "1 claim broken",
    ]


def test_a_broken_claim_without_finding_is_called_unrepeatable():
    """The user must hear of it: determinism is a promise of ours."""
    lines = check_lines(result(claims=(ClaimResult("reversal.opposing_drive", "broken", 1, OUTCOME),)), DRIVE)

    assert lines[-2].startswith("reversal.opposing_drive broke, but not again when its scenario was repeated")


def test_a_replay_says_what_moved(tmp_path):
    """Held now, and by which change it may have been mended."""
    now = Outcome("reversal.opposing_drive", "held", 1.0, limit=400.0, seen=0.0, unit="rpm")
    replay = Replay(finding(tmp_path), now, 1.25, (("firmware", "f0", "f1"),), False)

    assert replay_lines(replay, DRIVE, Path("a.toml")) == [
        "a.toml: reversal.opposing_drive, kept as broken",
        "scenario",
        *scenario_lines(SCENARIO, DRIVE),
        "then   broken  reversal.opposing_drive   margin -6.8 (limit 400 rpm, seen 3 120 rpm)",
        "today  held  reversal.opposing_drive   margin +1 (limit 400 rpm, seen 0 rpm)",
        "moved since: firmware f0 -> f1",
        "the recording differs, as it may after the above moved",
    ]
