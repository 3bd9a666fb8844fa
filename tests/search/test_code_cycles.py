"""A check that judges its scenarios again with other cycles for the code."""

import json
from pathlib import Path

import pytest

from dryspin.cli.command import exit_code
from dryspin.drive import load_drive
from dryspin.findings import load_subject
from dryspin.report import check_json, check_lines
from dryspin.scenario import read_scenario
from dryspin.search import check
from dryspin.search.code_cycles import AtFactor, charged, charged_as, together

from .subject import BOW_THRUSTER, StandIn, broken, held, reversal_at_s

DECLARED = ("gates.pattern", "arming.idle")


def checked(tmp_path: Path, workers: int = 2):
    """Half the cycles change nothing; with twice as many a reversal breaks gates.pattern."""
    log = {name: tmp_path / f"{name}.log" for name in ("plain", "half", "twice")}

    def judge(name, breaks):
        def of(scenario):
            with log[name].open("a") as file:
                file.write(repr(scenario.to_toml()) + "\n")
            at_s = reversal_at_s(scenario) if breaks else None
            return [
                held("arming.idle"),
                held("gates.pattern", 0.5) if at_s is None else broken("gates.pattern", at_s),
            ]

        return StandIn(tmp_path, of, DECLARED)

    given = judge("plain", False)
    result = check(
        given,
        scenarios=24,
        workers=workers,
        save=tmp_path / "found",
        charged={0.5: judge("half", False), 2.0: judge("twice", True)},
    )
    runs = {name: sorted(path.read_text().splitlines()) for name, path in log.items()}
    return given, result, runs


def test_the_very_scenarios_of_the_check_are_judged_again(tmp_path: Path) -> None:
    """Others would show the search's luck, not what the cycles do."""
    _, result, runs = checked(tmp_path)

    assert len(runs["half"]) == result.scenarios == 24
    assert runs["half"] == runs["twice"]
    assert set(runs["half"]) <= set(runs["plain"])


def test_a_claim_whose_verdict_changes_is_named_with_the_scenario_that_shows_it(tmp_path: Path) -> None:
    """And one that does not change is not; the check itself has passed."""
    given, result, _ = checked(tmp_path)
    path = tmp_path / "found" / "gates-pattern-code-cycles-x2.scenario"
    count = result.at_factors[1].tallies["gates.pattern"].counts["broken"]
    lines = check_lines(result, given.drive)

    assert result.passed
    assert result.owed_to_cycles == ("gates.pattern",)
    assert reversal_at_s(read_scenario(path)) is not None
    assert "   x 0.5: 2 held" in lines
    assert "   x 2: 1 broken, 1 held" in lines
    assert f"gates.pattern: above held +0.5; x 0.5 held +0.5; x 2 broken -1 in {count} of 24" in lines
    assert f"   dryspin timing {BOW_THRUSTER} {path} --factors 2" in lines
    data = json.loads(json.dumps(check_json(result)))["code_cycles"]
    assert data["changed"] == ["gates.pattern"]
    assert data["scenarios"] == {"gates.pattern": {"factor": 2.0, "file": path.as_posix()}}
    assert [each["claims"][0]["broken"] for each in data["factors"]] == [0, count]


def test_where_nothing_changes_it_is_said(tmp_path: Path) -> None:
    """Silence could mean that nobody looked."""
    given = StandIn(tmp_path, lambda _: [held("arming.idle")], ("arming.idle",))
    result = check(given, scenarios=2, workers=1, charged={0.5: given})

    assert "no verdict depends on these factors" in check_lines(result, given.drive)
    assert check_json(check(given, scenarios=2, workers=1))["code_cycles"] is None


def test_the_scenario_kept_is_that_of_the_factor_nearest_to_one(tmp_path: Path) -> None:
    """It owes the least to a guess."""
    breaks = StandIn(tmp_path, lambda _: [broken("arming.idle", 0.1)], ("arming.idle",))
    given = StandIn(tmp_path, lambda _: [held("arming.idle")], ("arming.idle",))
    result = check(given, scenarios=2, workers=1, charged={0.25: breaks, 2.0: breaks, 4.0: breaks})

    assert result.charged_scenarios["arming.idle"][0] == 2.0


def test_parts_of_a_check_add_up(tmp_path: Path) -> None:
    """Families are searched by workers of their own."""
    stand_in = StandIn(tmp_path, lambda given: [held("a.b", given.end_s)], ("a.b",))
    story = read_scenario(BOW_THRUSTER.parents[1] / "traces" / "by_hand" / "reference.toml")
    parts = [AtFactor(2.0), AtFactor(2.0)]
    for part in parts:
        part.run(stand_in, story)
    (whole,) = together([[part] for part in parts])

    assert whole.tallies["a.b"].exercised == 2
    assert whole.verdict("a.b") == "held"
    assert whole.verdict("a.c") == "not exercised"


def test_a_charged_subject_differs_in_its_cycles_only() -> None:
    """Same build, same claims: what differs in the verdict is owed to the cycles."""
    subject = load_subject(BOW_THRUSTER)
    other = charged(subject, 2.0)

    assert (other.image, other.claims, other.directory) == (subject.image, subject.claims, subject.directory)
    assert charged_as(other.drive) == "the part's object code, cycles x 2"
    assert "takes no time" in charged_as(load_drive(BOW_THRUSTER))


@pytest.mark.parametrize("factors", ["2,", "0", "1,nan", "100", ""])
def test_a_factor_that_is_none_is_refused(factors: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Before anything is built."""
    assert exit_code(["check", str(BOW_THRUSTER), "--code-cycles-factors", factors]) == 2
    assert "is no factor from 0.1 to 10" in capsys.readouterr().err


@pytest.mark.needs_avr
@pytest.mark.slow
def test_twice_the_cycles_change_verdicts_of_the_shipped_firmware(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With twice the cycles the rotor is lost at the end of the ramp, and no start is in time."""
    result = tmp_path / "result.json"
    code = exit_code(
        [
            *("check", str(BOW_THRUSTER), "--only", "startup", "--scenarios", "3"),
            *("--save", str(tmp_path), "--code-cycles-factors", "2", "--json", str(result)),
        ]
    )
    told = json.loads(result.read_text())["code_cycles"]

    assert code in (0, 1)
    assert "startup.in_time" in told["changed"]
    named = told["scenarios"]["startup.in_time"]
    assert f"dryspin timing {BOW_THRUSTER} {named['file']} --factors 2" in capsys.readouterr().out
    assert exit_code(["timing", str(BOW_THRUSTER), named["file"], "--factors", "2"]) in (0, 1)
    shown = capsys.readouterr().out
    assert any("startup.in_time" in line and "x 2 broken" in line for line in shown.splitlines())
