"""Mutants before the tests that a firmware came with."""

import json
from pathlib import Path

import pytest

from dryspin.cli.command import exit_code
from dryspin.errors import UsageError
from dryspin.findings import load_subject
from dryspin.mutate.own_tests import BY_TEST, OwnTests

from ..small_firmware import BOW_THRUSTER

FIXTURES = """
from pathlib import Path

import pytest

from dryspin.call import load_firmware


@pytest.fixture
def firmware(request):
    return load_firmware(Path(request.config.getoption("--firmware")))
"""

FORWARD_ONLY = """
def test_six_steps_lead_back(firmware):
    step = 0
    for _ in range(6):
        step = firmware.call.steps_next(step, 1)
    assert step == 0
"""

ENDLESS = """
def test_waits_for_a_step(firmware):
    while firmware.call.steps_next(5, 1) != 0:
        pass
"""


@pytest.fixture
def own_tests(tmp_path: Path) -> Path:
    """A folder of tests of one function, in one of its two directions."""
    folder = tmp_path / "own"
    folder.mkdir()
    (folder / "conftest.py").write_text(FIXTURES)
    (folder / "test_steps.py").write_text(FORWARD_ONLY)
    return folder


@pytest.mark.long
def test_a_test_kills_what_it_looks_at_and_leaves_the_rest(own_tests, tmp_path, capsys):
    """Twenty processes with pytest. The tests turn the six steps forward only."""
    arguments = [
        "mutate",
        str(BOW_THRUSTER),
        "--function",
        "steps_next",
        "--sample",
        "8",
        "--tests",
        str(own_tests),
    ]
    code = exit_code([*arguments, "--tests-only", "--json", str(tmp_path / "m.json")])
    out = capsys.readouterr().out
    mutants = json.loads((tmp_path / "m.json").read_text())["mutants"]
    by_line = {}
    for mutant in mutants:
        by_line.setdefault(mutant["old_line"], set()).add((mutant["verdict"], mutant["by"]))
    backwards = "return (step == 0U) ? (uint8_t)(STEPS - 1U) : (uint8_t)(step - 1U);"
    forward = "return (step == STEPS - 1U) ? 0U : (uint8_t)(step + 1U);"

    assert code == 1
    assert by_line[backwards] == {("survived", None)}
    (by,) = {by for verdict, by in by_line[forward] if verdict == "killed"}
    assert by.startswith(BY_TEST)
    assert by.endswith("test_steps.py::test_six_steps_lead_back")
    assert "by a test" in out
    assert "survived the tests; no scenario was asked" in out


@pytest.mark.slow
@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("def test_x(firmware):\n    assert firmware.call.steps_next(0, 1) == 2\n", "pytest ends with 1"),
        ("import nowhere_to_be_found\n", "pytest ends with 2"),
        ("", "pytest ends with 5"),
    ],
    ids=["fails", "cannot be imported", "no test"],
)
def test_tests_that_do_not_pass_on_the_firmware_itself_are_refused(own_tests, tmp_path, text, message):
    """Every mutant would seem killed, or none could be."""
    (own_tests / "test_steps.py").write_text(text)
    (tmp_path / "place").mkdir()
    with pytest.raises(UsageError, match=message):
        OwnTests(load_subject(BOW_THRUSTER), [own_tests], tmp_path / "place")


@pytest.mark.slow
def test_a_test_that_no_longer_ends_kills(own_tests, tmp_path, monkeypatch):
    """A loop outside the firmware: the rig cannot see it."""
    (own_tests / "test_steps.py").write_text(ENDLESS)
    subject = load_subject(BOW_THRUSTER)
    for name in ("itself", "changed", "comment"):
        (tmp_path / name).mkdir()
    tests = OwnTests(subject, [own_tests], tmp_path / "itself")
    monkeypatch.setattr(tests, "_limit_s", 8.0)
    text = (BOW_THRUSTER / "steps.c").read_bytes()

    assert tests.objection("steps.c", text.replace(b"? 0U :", b"? 1U :"), tmp_path / "changed") == (
        f"{BY_TEST}does not end"
    )
    monkeypatch.setattr(tests, "_limit_s", 60.0)
    assert tests.objection("steps.c", text + b"/* no more */\n", tmp_path / "comment") == ""


def test_a_firmware_of_changes_is_refused(own_tests, tmp_path):
    """Its changed lines would no longer be found in a file laid over it."""
    (tmp_path / "drive.toml").write_text(
        f"[firmware]\nbase = {str(BOW_THRUSTER)!r}\n\n"
        "[[firmware.change]]\nfile = 'steps.c'\nbefore = '? 0U :'\nafter = '? 1U :'\n"
    )
    with pytest.raises(UsageError, match="cannot be laid over it"):
        OwnTests(load_subject(tmp_path), [own_tests], tmp_path)


def test_no_scenarios_and_no_tests_is_refused(capsys):
    """Everything would survive."""
    assert exit_code(["mutate", str(BOW_THRUSTER), "--tests-only"]) == 2
    assert "name tests with --tests PATH" in capsys.readouterr().err
