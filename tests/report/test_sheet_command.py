"""`dryspin report` and `dryspin check --report`: files whole or not at all, exit codes, errors that help."""

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dryspin.cli.command import exit_code
from dryspin.cli.report import require_folder, write_check_sheet
from dryspin.errors import UsageError
from dryspin.findings import Outcome, load_subject, read_finding, write_finding
from dryspin.search import SavedFinding

from ..findings.samples import SCENARIO as SAMPLE
from ..findings.samples import finding
from ..small_firmware import BOW_THRUSTER
from .test_text import result

ROOT = Path(__file__).parents[2]
KNOWN_BAD = ROOT / "firmware_under_test" / "known_bad" / "reverses_without_stopping"
FINDING = KNOWN_BAD / "found" / "reversal-opposing-drive-1.toml"
SCENARIO = """
dryspin_scenario = 1
seed = 0
end_s = 0.1
rest_deg = 0.0
frame_ms = 20.0
throttle_us = [[0.0, 1500.0]]
"""


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def report(*arguments: str, capsys: Any) -> tuple[int, str, str]:
    """Exit code, output, errors."""
    code = exit_code(["report", *arguments])
    shown = capsys.readouterr()
    return code, shown.out, shown.err


def test_a_finding_becomes_a_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Named after it, with its claim, its limit on the speed, the line that acted, and the bench."""
    code, out, _ = report(str(FINDING), "--json", capsys=capsys)
    told = json.loads(out)
    page = (tmp_path / "reversal-opposing-drive-1.html").read_text(encoding="utf-8")

    assert code == 1
    assert told["claim"] == "reversal.opposing_drive"
    assert told["verdict"] == "broken"
    assert told["bytes"] == len(page.encode()) < 10e6
    assert "limit 400 rpm" in page
    assert "commanded at" in page.lower()
    (acted,) = re.findall(r'class="acted"[^>]*>(.*)', page)
    assert acted.split(maxsplit=2)[2].startswith("port_leg(PORT_U, ")
    assert "called from" in page
    assert "Propeller off. Tried so in the model" in page
    assert [path.name for path in tmp_path.iterdir()] == ["reversal-opposing-drive-1.html"]


def test_the_run_of_a_page_can_be_written_as_a_dump_a_table_and_sound(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """All of the run, as `replay` writes it, to the byte: also where the page keeps only some edges."""
    monkeypatch.setattr("dryspin.report.sheet.described.MOST_EDGES", 10_000)
    monkeypatch.setattr("dryspin.report.sheet.described.still", lambda *_: "")
    code, out, _ = report(
        str(FINDING), "--vcd", "a.vcd", "--csv", "a.csv", "--wav", "a.wav", "--from-s", "1.6", capsys=capsys
    )
    assert code == 1
    assert "sound in a.wav: 1 tone" in out
    assert "a page keeps 10,000" in (tmp_path / "reversal-opposing-drive-1.html").read_text(encoding="utf-8")
    assert exit_code(["replay", str(FINDING), "--vcd", "b.vcd", "--csv", "b.csv", "--wav", "b.wav",
                      "--from-s", "1.6"]) == 1  # fmt: skip
    for kind in ("vcd", "csv", "wav"):
        mine = (tmp_path / f"a.{kind}").read_bytes()
        assert len(mine) > 1000, kind
        assert mine == (tmp_path / f"b.{kind}").read_bytes(), kind


FAULTS = {
    "code.crash": "*(volatile uint8_t *)2 = 1U;",
    "code.hang": "for (;;) { }",
    "code.out_of_bounds": "{ static uint8_t seen[3]; uint8_t *at = seen; at[nth > 20U ? 4 : 0] = 1U; }",
}


@pytest.mark.parametrize(
    "claim", ["code.crash", *(pytest.param(name, marks=pytest.mark.slow) for name in list(FAULTS)[1:])]
)
def test_a_fault_of_the_c_is_drawn_up_to_its_moment(
    claim: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """From the 21st edge of the throttle on; a run that the firmware ends is drawn to there."""
    folder = tmp_path / "thruster"
    folder.mkdir()
    lines = (BOW_THRUSTER / "throttle.c").read_text().splitlines()
    first = next(k for k, line in enumerate(lines) if line.startswith("void on_throttle_edge"))
    body = next(k for k in range(first, len(lines)) if lines[k].startswith("{"))
    lines[body] += f" static volatile uint8_t nth; nth = (uint8_t)(nth + 1U); if (nth > 20U) {FAULTS[claim]}"
    (folder / "throttle.c").write_text("\n".join(lines) + "\n")
    (folder / "drive.toml").write_text(f'[firmware]\nbase = "{BOW_THRUSTER}"\n')
    (folder / "claims.toml").write_text((BOW_THRUSTER / "claims.toml").read_text())
    story = replace(SAMPLE, throttle_us=((0.0, 1500.0),), end_s=0.5, faults=())
    outcome = Outcome(claim, "broken", -1.0, 0.27, text="as found", source_line=f"throttle.c:{body + 1}")
    write_finding(
        tmp_path / "fault.toml",
        finding(tmp_path, firmware=folder, drive=folder / "drive.toml", scenario=story, outcome=outcome),
    )
    code, out, err = report("fault.toml", "--json", capsys=capsys)
    told, page = json.loads(out), (tmp_path / "fault.html").read_text(encoding="utf-8")

    assert (code, err) == (1, "")
    assert (told["claim"], told["verdict"]) == (claim, "broken")
    assert f"Fault at <code>throttle.c:{body + 1}</code>" in page
    assert re.search(r'class="happened">At 0\.2\d+ s: ', page)
    assert "on_throttle_edge" in page
    assert 'class="block"' in page


@pytest.mark.slow
def test_the_sheet_of_the_reference_scenario_is_small(capsys: pytest.CaptureFixture[str]) -> None:
    """Four seconds with both ways around, every edge of it: below 10 MB (its opening: tests.browser.show)."""
    reference, firmware = (
        ROOT / "traces" / "by_hand" / "reference.toml",
        ROOT / "firmware_under_test" / "bow_thruster",
    )
    code, out, _ = report(str(reference), "--firmware", str(firmware), "--json", capsys=capsys)

    assert code == 0
    assert 1e6 < json.loads(out)["bytes"] < 10e6
    assert "edges before" not in Path("reference.html").read_text(encoding="utf-8")


def test_files_that_clash_are_refused_before_the_run(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is written."""
    code, _, err = report(str(FINDING), "--vcd", "a", "--csv", "a", capsys=capsys)

    assert code == 2
    assert "two of --vcd, --csv and --wav name the same file" in err
    assert list(tmp_path.iterdir()) == []


def test_a_scenario_needs_its_firmware(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It names none."""
    (tmp_path / "story.toml").write_text(SCENARIO)
    code, _, error = report("story.toml", capsys=capsys)

    assert code == 2
    assert "story.toml is a scenario, which names no firmware; give it with --firmware DIR" in error


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["gone.toml", "--firmware", str(KNOWN_BAD)], "gone.toml: no such file"),
        ([str(FINDING), "--claim", "reversal.oposing"], "no declared claim is called reversal.oposing"),
        ([str(FINDING), "--out", "no/such/place.html"], "cannot be written"),
        ([str(FINDING), "--out", "."], "is a directory"),
        ([str(FINDING), "--firmware", "nowhere"], "nowhere: no such directory"),
    ],
)
def test_what_cannot_be_done_is_said(
    arguments: list[str], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With exit code 2, and nothing written."""
    code, _, error = report(*arguments, capsys=capsys)

    assert code == 2
    assert words in error
    assert list(tmp_path.iterdir()) == []


def test_a_page_that_fails_leaves_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Written beside it and renamed, once all of it is there."""
    (tmp_path / "page.html").write_text("old")
    (tmp_path / "story.toml").write_text(SCENARIO)

    def fail(*_: object) -> str:
        raise UsageError("the drawing failed")

    monkeypatch.setattr("dryspin.report.sheet.case_page", fail)
    code, _, error = report("story.toml", "--firmware", str(KNOWN_BAD), "--out", "page.html", capsys=capsys)

    assert code == 2
    assert "the drawing failed" in error
    assert (tmp_path / "page.html").read_text() == "old"
    assert {path.name for path in tmp_path.iterdir()} == {"page.html", "story.toml"}


def test_missing_libraries_are_named(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the command that brings them, before anything is run."""
    monkeypatch.setitem(__import__("sys").modules, "matplotlib", None)
    code, _, error = report(str(FINDING), capsys=capsys)

    assert code == 2
    assert "pip install 'dryspin[report]'" in error


def test_a_check_writes_its_findings_into_one_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each run again; the folder is made; nothing else is left in it."""
    monkeypatch.setattr("dryspin.report.sheet.described.still", lambda *_: '<svg class="drawing"></svg>')
    subject = load_subject(KNOWN_BAD)
    found = SavedFinding(FINDING, read_finding(FINDING))
    path = write_check_sheet(tmp_path / "a" / "b", subject, result(findings=(found,)))
    text = path.read_text(encoding="utf-8")

    assert path == tmp_path / "a" / "b" / "check.html"
    assert [one.name for one in path.parent.iterdir()] == ["check.html"]
    assert text.count('<section class="case"') == 1
    assert f"dryspin replay {FINDING}" in text


def test_the_folder_of_a_check_is_asked_for_before_the_search(tmp_path: Path) -> None:
    """Half an hour of scenarios must not end in a name that is taken."""
    (tmp_path / "taken").write_text("")

    with pytest.raises(UsageError, match=r"--report .*taken: is a file; give the name of a folder"):
        require_folder(tmp_path / "taken")
    require_folder(tmp_path / "new")
    assert not (tmp_path / "new").exists()
