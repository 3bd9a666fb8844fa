"""Files of traces/found are tests."""

from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.findings import Finding, load_subject, read_finding, write_finding
from dryspin.scenario import Scenario

from ..small_firmware import BOW_THRUSTER

WRONG = BOW_THRUSTER.parent / "known_bad" / "aligns_at_power_on"
FLAT = Scenario(seed=0, end_s=0.2, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 1500.0),))


@pytest.fixture
def found(pytester: pytest.Pytester) -> Path:
    """A folder of findings at the root of the inner run."""
    folder = pytester.path / "traces" / "found"
    folder.mkdir(parents=True)
    return folder


@pytest.fixture(scope="module")
def finding() -> Finding:
    """What a known-bad firmware does at power-on, as a check would keep it."""
    subject = load_subject(WRONG)
    trial = subject.try_out(FLAT)
    outcome, drive = trial.of("arming.idle"), subject.drive.path
    return Finding("broken", outcome, FLAT, WRONG, drive, dict(subject.hashes), trial.digest)


def test_a_finding_passes_while_its_claim_is_as_it_is_kept(found, run, finding):
    """Kept as broken for a known-bad firmware: the tester is tested."""
    write_finding(found / "arming-idle-1.toml", finding)

    run(firmware=None).assert_outcomes(passed=1)


def test_a_finding_kept_as_held_fails_while_its_claim_breaks(found, run, finding):
    """A repair that is undone, with the words of the monitor and the command that shows it."""
    write_finding(found / "arming-idle-1.toml", replace(finding, expected="held"))
    result = run(firmware=None)

    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(
        ["*what broke*", "  broken  arming.idle*", "  replay: dryspin replay traces/found/arming-idle-1.toml"]
    )
    assert read_finding(found / "arming-idle-1.toml").expected == "held"


def test_a_scenario_passes_while_it_breaks_no_claim(found, run):
    """On the firmware that the options name."""
    (found / "flat.scenario").write_text(FLAT.to_toml())

    run().assert_outcomes(passed=1)
    run(firmware=WRONG).assert_outcomes(failed=1)


def test_a_damaged_finding_is_told_in_a_line_without_a_traceback(found, run, finding):
    """Half a file, as a full disk would leave it."""
    write_finding(found / "whole.toml", finding)
    text = (found / "whole.toml").read_text()
    (found / "whole.toml").write_text(text[: len(text) // 2])
    result = run(firmware=None)

    result.assert_outcomes(failed=1)
    assert "Traceback" not in result.stdout.str()
    result.stdout.fnmatch_lines(["*whole.toml*"])


def test_other_files_of_a_project_are_none_of_ours(pytester, run):
    """A TOML file elsewhere, or in a folder `found` beside no drive, is no test."""
    (pytester.path / "found").mkdir()
    (pytester.path / "found" / "lost.toml").write_text("a = 1")
    pytester.makefile(".toml", settings="a = 1")

    run(firmware=None).assert_outcomes()
