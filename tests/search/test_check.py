"""The check as a whole, on stand-ins for firmware."""

import json
import os
import signal
from pathlib import Path

import pytest

from dryspin.errors import RigError, UsageError
from dryspin.findings import Outcome, read_finding
from dryspin.report import check_json
from dryspin.search import ScenarioFailedError, WorkerDefectError, check
from dryspin.search.flavours import FLAVOURS
from dryspin.search.strategies import covering_draft

from .subject import StandIn, broken, held, reversal_at_s

ALL = tuple(f"{family}.claim" for family in FLAVOURS)


def all_hold(scenario):
    """Every claim holds, with a margin that depends on the scenario."""
    return [held(claim, 1.0 / (1.0 + scenario.events)) for claim in ALL]


def reversal_breaks(scenario):
    """As a firmware that drives against the rotor on each quick reversal."""
    at_s = reversal_at_s(scenario)
    others = [held(claim) for claim in ALL if claim != "reversal.claim"]
    return [*others, held("reversal.claim") if at_s is None else broken("reversal.claim", at_s + 0.01)]


def timeless(result):
    """The JSON of a result without the two values that may differ between runs."""
    data = check_json(result)
    del data["totals"]["wall_s"], data["totals"]["real_time_factor"]
    return json.dumps(data, sort_keys=True)


@pytest.mark.parametrize("scenarios", [11, 14, 23, 60])
def test_exactly_the_asked_number_of_scenarios_is_run(tmp_path, scenarios):
    """Budgets are promises: Hypothesis alone runs fewer when it repeats itself."""
    result = check(StandIn(tmp_path, all_hold, ALL), scenarios=scenarios, workers=1)

    assert result.scenarios == scenarios
    assert sum(count for count, _ in result.families.values()) == scenarios
    assert result.passed


def test_one_seed_twice_gives_the_same_result(tmp_path):
    """A finding that cannot be found again convinces nobody."""
    subject = StandIn(tmp_path, reversal_breaks, ALL)
    first = timeless(check(subject, scenarios=30, seed=5, workers=1, save=tmp_path / "a"))
    for path in (tmp_path / "a").iterdir():
        path.unlink()

    assert timeless(check(subject, scenarios=30, seed=5, workers=1, save=tmp_path / "a")) == first


def test_the_number_of_workers_does_not_show_in_the_result(tmp_path):
    """A laptop and a build server must agree."""
    subject = StandIn(tmp_path, reversal_breaks, ALL)
    results = []
    for workers in (1, 2, 7):
        results.append(timeless(check(subject, scenarios=30, seed=5, workers=workers, save=tmp_path / "a")))
        for path in (tmp_path / "a").iterdir():
            path.unlink()

    assert results[1:] == results[:1] * 2


def test_two_seeds_try_other_scenarios(tmp_path):
    """Nightly runs with new seeds are to look elsewhere."""
    scenarios = {}
    for seed in (1, 2):
        log = tmp_path / f"{seed}.log"

        def note(scenario, log=log):
            with log.open("a") as file:
                file.write(repr(scenario.to_toml()) + "\n")
            return all_hold(scenario)

        check(StandIn(tmp_path, note, ALL), scenarios=40, seed=seed, workers=1)
        scenarios[seed] = set(log.read_text().splitlines())

    # The simplest scenario of each family may be common to both.
    assert len(scenarios[1] & scenarios[2]) <= len(FLAVOURS)
    # Two families may meet in a plain start.
    assert len(scenarios[1]) >= 38


def test_a_broken_claim_becomes_a_short_scenario_in_a_file(tmp_path):
    """The reader of a finding is to see the cause: one reversal, nothing else."""
    result = check(StandIn(tmp_path, reversal_breaks, ALL), scenarios=50, workers=2)

    assert [claim.claim for claim in result.broken] == ["reversal.claim"]
    (saved,) = result.findings
    assert saved.path == tmp_path / "found" / "reversal-claim-1.toml"
    scenario = read_finding(saved.path).scenario
    assert scenario == saved.finding.scenario
    assert reversal_at_s(scenario) is not None
    assert scenario.events == 2
    assert scenario.rest_deg == 0.0
    assert scenario.parts == {}
    assert scenario.supply_v == scenario.load_factor == ()
    assert scenario.end_s <= reversal_at_s(scenario) + 0.05
    assert not result.passed


def test_shrinking_never_slips_to_another_claim(tmp_path):
    """Two bugs: the shorter scenario of one must not be reported for the other."""

    def judge(scenario):
        reverse = reversal_at_s(scenario)
        reset = next((fault.at_s for fault in scenario.faults), None)
        return [
            held("gates.reset") if reset is None else broken("gates.reset", reset),
            held("reversal.claim") if reverse is None else broken("reversal.claim", reverse),
        ]

    result = check(StandIn(tmp_path, judge, ("gates.reset", "reversal.claim")), scenarios=20, workers=2)

    scenarios = {saved.finding.claim: saved.finding.scenario for saved in result.findings}
    assert scenarios["gates.reset"].events == 1
    assert scenarios["gates.reset"].faults
    assert scenarios["reversal.claim"].events == 2
    assert not scenarios["reversal.claim"].faults


def test_a_declared_claim_that_nothing_exercised_fails_the_check(tmp_path):
    """Silence is no proof."""
    declared = (*ALL, "startup.give_up")
    result = check(StandIn(tmp_path, all_hold, declared), scenarios=16, workers=1)

    assert [claim.claim for claim in result.unproven] == ["startup.give_up"]
    assert result.unproven[0].verdict == "not exercised"
    assert result.families["startup"] == (2, 0)
    assert not result.passed


def test_a_suppressed_claim_may_break(tmp_path):
    """The reason stands in claims.toml; the verdict is still reported."""
    subject = StandIn(tmp_path, reversal_breaks, ALL, suppressed=[("reversal.claim", "bench only")])
    result = check(subject, scenarios=20, workers=1)

    assert result.passed
    assert {claim.claim: claim.suppressed for claim in result.claims}["reversal.claim"] == "bench only"
    assert result.findings == ()


def test_kept_findings_come_first_and_are_counted_apart(tmp_path):
    """A mended bug is watched for ever, without eating the budget of the search."""
    first = check(StandIn(tmp_path, reversal_breaks, ALL), scenarios=20, workers=1)
    mended = check(StandIn(tmp_path, all_hold, ALL), scenarios=20, workers=1)
    still = check(StandIn(tmp_path, reversal_breaks, ALL), scenarios=20, workers=1)

    assert first.kept == ()
    assert [kept.replay.outcome.status for kept in mended.kept] == ["held"]
    assert mended.scenarios == 20
    assert mended.passed
    assert [kept.replay.outcome.status for kept in still.kept] == ["broken"]
    assert not still.passed
    assert [saved.path for saved in still.findings] == [saved.path for saved in first.findings]


def test_only_searches_the_named_family(tmp_path):
    """The budget goes where the work is; claims of other families are reported if they break."""
    result = check(StandIn(tmp_path, reversal_breaks, ALL), scenarios=12, only=["arming"], workers=1)

    assert result.families == {"arming": (12, 12)}
    assert [claim.claim for claim in result.claims if claim.family != "reversal"] == ["arming.claim"]


@pytest.mark.parametrize(
    ("only", "message"),
    [
        (["reversals"], "no family is called 'reversals'; did you mean 'reversal'?"),
        (
            ["xyz"],
            "no family is called 'xyz'; known families: gates, commutation, startup, synchronism, reversal, "
            "arming, calibration, tones, electrical, throttle_map, controller",
        ),
        (["gates"], "declares no claim of family 'gates'; declared: reversal"),
    ],
)
def test_an_unknown_family_is_refused_with_the_nearest(tmp_path, only, message):
    """A typing slip must not run for a minute and prove nothing."""
    with pytest.raises(UsageError) as raised:
        check(StandIn(tmp_path, all_hold, ("reversal.claim",)), only=only)

    assert str(raised.value).endswith(message)


def test_fewer_scenarios_than_families_are_refused(tmp_path):
    """A family without a scenario would be reported as not exercised, which says nothing."""
    with pytest.raises(UsageError, match="7 scenarios for 11 families; give --scenarios at least 11"):
        check(StandIn(tmp_path, all_hold, ALL), scenarios=7)


def test_an_unwritable_folder_is_noticed_before_the_search(tmp_path):
    """Not after an hour."""
    (tmp_path / "file").write_text("")

    def never(scenario):
        raise AssertionError("searched")

    with pytest.raises(UsageError, match=r"findings cannot be written to .*file/found: Not a directory"):
        check(StandIn(tmp_path, never, ALL), save=tmp_path / "file" / "found", workers=1)


def test_firmware_that_cannot_be_run_comes_with_its_scenario(tmp_path):
    """A hang is of no use without what led to it."""

    def judge(scenario):
        if reversal_at_s(scenario) is not None:
            raise RigError("hangs in reversing.c:12")
        return all_hold(scenario)

    with pytest.raises(ScenarioFailedError, match=r"hangs in reversing\.c:12") as raised:
        check(StandIn(tmp_path, judge, ALL), scenarios=20, workers=2)

    assert reversal_at_s(raised.value.scenario) is not None


def test_a_worker_that_dies_is_an_error_and_no_hang(tmp_path):
    """Firmware may bring its process down; the check says so."""

    def judge(scenario):
        os.kill(os.getpid(), signal.SIGKILL)
        return []

    with pytest.raises(RigError, match=r"a worker process died \(signal SIGKILL\)"):
        check(StandIn(tmp_path, judge, ALL), scenarios=11, workers=2)


def test_an_unforeseen_exception_arrives_with_its_traceback(tmp_path):
    """The command reports it as a defect of dryspin; the traceback is for whoever mends it."""

    def judge(scenario):
        return [1 / 0]

    with pytest.raises(WorkerDefectError, match=r"(?s)Traceback.*ZeroDivisionError"):
        check(StandIn(tmp_path, judge, ALL), scenarios=11, workers=1)


def test_a_claim_that_breaks_only_once_gives_no_finding(tmp_path):
    """A scenario that does not break again proves nothing; the claim is still reported as broken."""
    flag = tmp_path / "broke"

    def judge(scenario):
        if not flag.exists():
            flag.touch()
            return [broken("gates.claim", 1.0)]
        return [held("gates.claim")]

    result = check(StandIn(tmp_path, judge, ("gates.claim",)), scenarios=10, workers=1)

    assert [claim.claim for claim in result.broken] == ["gates.claim"]
    assert result.findings == ()


def test_a_check_leaves_nothing_where_it_stands(tmp_path, monkeypatch):
    """Hypothesis would leave its folder in the user's directory."""
    monkeypatch.chdir(tmp_path)
    check(StandIn(Path("firmware"), all_hold, ALL), scenarios=11, workers=1, save=tmp_path)

    assert list(tmp_path.iterdir()) == []


def test_margins_steer_the_search(tmp_path):
    """Margins are targets: what Hypothesis explores ends closer to the limit than the plan came."""
    declared = ("commutation.claim",)

    def judge(scenario):
        return [Outcome("commutation.claim", "held", 1.0 - scenario.rest_deg / 360.0)]

    subject = StandIn(tmp_path, judge, declared)
    plan = [covering_draft(subject.drive, "commutation", row, 0).scenario.rest_deg for row in range(24)]
    result = check(subject, scenarios=240, workers=1)

    assert result.claims[0].worst.margin < 1.0 - max(plan) / 360.0
    assert result.claims[0].worst.margin == 1.0 - 359.0 / 360.0
