"""Of the drive's guesses, the one to replace first is named, by what it does to the claims."""

import json
from dataclasses import replace

import pytest

from dryspin.cli.command import exit_code
from dryspin.drive import Range, load_drive
from dryspin.errors import RigError
from dryspin.findings import Outcome
from dryspin.report import check_json
from dryspin.report.unknowns import unknown_lines
from dryspin.search import check
from dryspin.search.effect import Effect
from dryspin.search.envelope import varied_parts
from dryspin.search.plan import tasks_of
from dryspin.search.strategies import covering_draft
from dryspin.search.unknowns import PART_OF, at_end, effects, nominal, spanned_unknowns

from .subject import BOW_THRUSTER, StandIn, held

GUESSES = ("motor.l_phase_h", "motor.j_kg_m2", "load.coulomb_nm", "supply.v_v", "motor.pole_pairs")
CLAIMS = ("startup.in_time", "electrical.phase_current")


def judged(scenario):
    """Starts are slow with a heavy rotor, currents high with little inductance; L matters less than J."""
    parts = scenario.parts
    return [
        held("startup.in_time", 0.8 - 0.6 * (parts.get("j", 1.0) - 1.0)),
        held("electrical.phase_current", 0.5 + 0.3 * (parts.get("l_phase", 1.0) - 1.0)),
        Outcome("reversal.neutral", "not exercised"),
    ]


@pytest.fixture
def subject(tmp_path):
    """A drive with five guesses, of which one is no range."""
    made = StandIn(tmp_path, judged, CLAIMS)
    motor = replace(made.drive.motor, j_kg_m2=Range(1e-5, 2e-5, 4e-5), l_phase_h=Range(1e-5, 2e-5, 4e-5))
    made.drive = replace(made.drive, motor=motor, unknown=GUESSES)
    return made


def test_guesses_without_a_range_are_not_tried(subject):
    """Pole pairs are a number that is right or wrong; the supply is varied as scenarios vary it."""
    spans = spanned_unknowns(subject.drive)

    assert [PART_OF[key] for key in spans] == ["l_phase", "j", "coulomb", "supply_v"]
    assert spans["motor.j_kg_m2"] == Range(0.5, 1.0, 2.0)


def test_one_end_of_one_guess_changes_nothing_else():
    """Else what another part does would be put down to it."""
    story = covering_draft(load_drive(BOW_THRUSTER), "startup", 4, 0).scenario
    plain = nominal(story)

    assert at_end(plain, "j", 1.3) == replace(plain, parts={"j": 1.3})
    assert at_end(plain, "supply_v", 9.6) == replace(plain, supply_v=((0.0, 9.6),))
    assert (plain.throttle_us, plain.end_s, plain.faults) == (story.throttle_us, story.end_s, story.faults)
    assert (plain.parts, plain.supply_v, plain.load_factor, plain.comparator_noise_mv) == ({}, (), (), ())


def test_the_one_that_moves_a_claim_most_comes_first(subject):
    """J from half to twice: 1.1 to 0.2, the far one taken as 1; L: 0.35 to 0.8; the others nothing."""
    found = effects(
        subject.try_out, subject.drive, CLAIMS, tasks_of(["startup", "electrical"], 4, 0), workers=2
    )

    assert [effect.key for effect in found[:2]] == ["motor.j_kg_m2", "motor.l_phase_h"]
    assert [effect.swing for effect in found] == pytest.approx([0.8, 0.45, 0.0, 0.0])
    assert (found[0].claim, found[0].low, found[0].high) == (
        "startup.in_time",
        pytest.approx(1.1),
        pytest.approx(0.2),
    )


def test_claims_that_are_not_declared_do_not_count(subject):
    """What nobody is held to is nothing to measure for."""
    tasks = tasks_of(["electrical"], 2, 0)
    found = effects(subject.try_out, subject.drive, CLAIMS[1:], tasks, workers=1)

    assert (found[0].key, found[0].claim) == ("motor.l_phase_h", "electrical.phase_current")


def test_a_firmware_that_cannot_be_run_says_nothing_of_the_unknowns(subject):
    """The search itself tells of it."""

    def fails(scenario):
        raise RigError("no")

    found = effects(fails, subject.drive, CLAIMS, tasks_of(["startup"], 2, 0), workers=1)

    assert {effect.claim for effect in found} == {""}
    assert unknown_lines(subject.drive, found) == [
        f"still unknown in drive.toml, guesses all: {', '.join(GUESSES)}"
    ]


def test_the_report_says_what_to_measure_first(subject):
    """And in JSON for everything tried."""
    result = check(subject, scenarios=4, workers=1)
    lines = unknown_lines(subject.drive, result.unknowns)

    assert lines[1] == (
        "measure first: motor.j_kg_m2, which moves startup.in_time from margin +1.1 at its low end "
        "to +0.2 at its high end"
    )
    assert lines[2].startswith("then: motor.l_phase_h, which moves electrical.phase_current")
    assert len(lines) == 3
    assert [entry["key"] for entry in check_json(result)["totals"]["unknowns"]][:1] == ["motor.j_kg_m2"]


def test_guesses_that_move_nothing_are_said_to(subject):
    """An answer, too: leave them as they are."""
    still = [Effect("motor.l_phase_h", "startup.in_time", 0.5, 0.51)]

    assert unknown_lines(subject.drive, still)[1].startswith(
        "within their ranges none of motor.l_phase_h moves"
    )
    assert unknown_lines(replace(subject.drive, unknown=()), still) == []


@pytest.mark.slow
def test_a_firmware_for_registers_is_searched_with_its_unknowns_and_told_which_matters(tmp_path, capsys):
    """L, J and friction as `new` leaves them: with the rotor four times as heavy or not the same ramp swings
    it back or takes it along, so that something must be named."""
    sketch = BOW_THRUSTER.parent / "two_way_interrupts" / "thruster.cpp"
    mine = tmp_path / "mine"
    exit_code(["new", str(mine), "--from", str(sketch)])
    sheet = mine / "drive.toml"
    sheet.write_text(sheet.read_text().replace("[pins]", '[pins]\nmark_register = "GPIOR0" #', 1))
    (mine / "claims.toml").write_text('declared = ["startup.swing_back", "gates.dead_time"]\n')
    capsys.readouterr()
    budget = ["--scenarios", "4", "--workers", "2", "--save", str(tmp_path / "found")]
    exit_code(["check", str(mine), *budget, "--json", str(tmp_path / "r.json")])
    said = capsys.readouterr().out
    totals = json.loads((tmp_path / "r.json").read_text())["totals"]
    tried = {entry["key"] for entry in totals["unknowns"]}

    assert {"j", "l_phase", "coulomb"} <= set(varied_parts(load_drive(mine)))
    assert {"motor.l_phase_h", "motor.j_kg_m2", "load.coulomb_nm"} <= tried
    assert "motor.pole_pairs" not in tried
    assert totals["unknowns"][0]["swing"] > 0.1
    assert f"measure first: {totals['unknowns'][0]['key']}, which moves startup.swing_back" in said
