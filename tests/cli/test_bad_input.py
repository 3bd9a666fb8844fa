"""Bad input, each kind: a clear message, exit code 2, nothing half-written, never a traceback."""

import re
import shutil
from pathlib import Path

import pytest

from dryspin.cli.command import exit_code

from ..findings.samples import finding
from ..search.subject import BOW_THRUSTER

PORT_HEADER = Path(__file__).parents[2] / "harness" / "dryspin" / "port" / "drive_port.h"

SCENARIO = """\
dryspin_scenario = 1
seed = 0
end_s = 0.2
rest_deg = 0.0
frame_ms = 20.0
throttle_us = [[0.0, 1500.0], [0.1, 1600.0]]
"""


@pytest.fixture
def refusal(tmp_path, monkeypatch, capsys):
    """Runs the command where nothing else is; returns its message after checking how it failed."""
    monkeypatch.chdir(tmp_path)

    def run(*arguments: object) -> str:
        before = snapshot(tmp_path)
        code = exit_code([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        assert code == 2
        assert out == ""
        assert "Traceback" not in err
        assert "defect" not in err
        assert snapshot(tmp_path) == before
        return err

    return run


def snapshot(folder: Path) -> dict[Path, bytes]:
    """All files below a folder with their content."""
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def firmware(tmp_path) -> Path:
    """A copy of the bow thruster to be spoilt."""
    return shutil.copytree(BOW_THRUSTER, tmp_path / "fw")


def test_a_missing_directory(refusal):
    """A typing slip."""
    assert "nowhere: no such directory; give the directory that holds drive.toml" in refusal(
        "check", "nowhere"
    )


def test_a_file_for_a_directory(refusal, tmp_path):
    """The sources' own name, say."""
    (tmp_path / "main.c").write_text("")

    assert "main.c is not a directory" in refusal("check", "main.c")


def test_a_directory_without_a_drive(refusal, tmp_path):
    """Firmware alone says nothing about the motor."""
    (tmp_path / "fw").mkdir()

    assert "fw/drive.toml: no such file; write one beside the firmware" in refusal("check", "fw")


def test_a_drive_file_that_is_not_there(refusal, firmware):
    """--drive given wrongly."""
    assert "no.toml: no such file; check the path given to --drive" in refusal(
        "check", "fw", "--drive", "no.toml"
    )


def test_a_binary_drive_file(refusal, firmware):
    """An object file under the wrong name."""
    (firmware / "drive.toml").write_bytes(b"\x7fELF\x00\xff")

    assert "fw/drive.toml:1: " in refusal("check", "fw")


def test_c_that_does_not_compile(refusal, firmware):
    """The compiler's own words, with file and line."""
    (firmware / "broken.c").write_text("int broken(void)\n{\n\treturn nothing;\n}\n")
    message = refusal("check", "fw")

    assert "broken.c:3" in message
    assert "nothing" in message


HANDLERS = "".join(
    f"void {name}(void)\n{{\n}}\n"
    for name in re.findall(r"^void (on_\w+)\(void\);", PORT_HEADER.read_text(), re.MULTILINE)
)
"""All the seam asks for, doing nothing."""


def replace_sources(firmware: Path, text: str) -> None:
    """One source instead of all."""
    for path in firmware.glob("*.c"):
        path.unlink()
    (firmware / "only.c").write_text('#include "drive_port.h"\n' + text)


def test_firmware_without_main(refusal, firmware):
    """Every firmware starts somewhere."""
    replace_sources(firmware, HANDLERS)

    assert "main" in refusal("check", "fw")


def test_firmware_without_a_handler(refusal, firmware):
    """The port would call into nothing."""
    replace_sources(firmware, "int main(void)\n{\n\tfor (;;)\n\t\tport_idle();\n}\n")

    assert "on_throttle_edge" in refusal("check", "fw")


DEAF = HANDLERS + "int main(void)\n{\n\tvolatile int busy = 1;\n\twhile (busy) {\n\t}\n\treturn 0;\n}\n"


def test_firmware_that_never_calls_the_port_cannot_be_run(refusal, firmware, tmp_path):
    """It would run for ever in virtual time, and prove nothing."""
    replace_sources(firmware, DEAF)
    (tmp_path / "s.toml").write_text(SCENARIO)

    assert "port" in refusal("run", "fw", "s.toml")


def test_firmware_that_cannot_be_run_leaves_its_scenario(firmware, tmp_path, monkeypatch, capsys):
    """The one thing a check keeps when it cannot go on: what led there."""
    monkeypatch.chdir(tmp_path)
    replace_sources(firmware, DEAF)
    assert exit_code(["check", "fw", "--save", "kept"]) == 2
    err = capsys.readouterr().err

    assert "Traceback" not in err
    assert "the scenario is kept: dryspin run fw kept/could-not-run.scenario" in err
    assert "throttle_us" in (tmp_path / "kept" / "could-not-run.scenario").read_text()


SPOILT = {
    "binary": b"\x00\x01\x02\xff",
    "empty": b"",
    "truncated": SCENARIO[: SCENARIO.index("1600")].encode(),
    "of another version": SCENARIO.replace("dryspin_scenario = 1", "dryspin_scenario = 9").encode(),
    "out of order": SCENARIO.replace("[0.1, 1600.0]", "[0.1, 1600.0], [0.05, 1500.0]").encode(),
    "no scenario": b"[motor]\nkv = 1\n",
}


@pytest.mark.parametrize("content", SPOILT.values(), ids=SPOILT)
def test_a_spoilt_scenario(refusal, tmp_path, content):
    """Named with its file; the firmware is not even built."""
    (tmp_path / "s.toml").write_bytes(content)

    assert "s.toml" in refusal("run", BOW_THRUSTER, "s.toml")


@pytest.mark.parametrize("content", SPOILT.values(), ids=SPOILT)
def test_a_spoilt_finding(refusal, tmp_path, content):
    """Also a scenario given for a finding."""
    (tmp_path / "f.toml").write_bytes(content)

    assert "f.toml" in refusal("replay", "f.toml")


def test_a_scenario_that_is_not_there(refusal):
    """Or one for replay."""
    assert "s.toml: no such file" in refusal("run", BOW_THRUSTER, "s.toml")
    assert "f.toml: no such file" in refusal("replay", "f.toml")


def test_a_finding_whose_firmware_is_gone(refusal, tmp_path):
    """Moved to another clone without its firmware: --firmware is the way out."""
    from dryspin.findings import write_finding

    write_finding(tmp_path / "f.toml", finding(tmp_path))
    message = refusal("replay", "f.toml")

    assert "it was found in is not at firmware: no such directory" in message
    assert "--firmware" in message


def test_an_unwritable_save_is_noticed_before_the_search(refusal, tmp_path):
    """An hour of searching must not end in nothing."""
    (tmp_path / "file").write_text("")
    message = refusal("check", BOW_THRUSTER, "--scenarios", 1_000_000, "--save", "file/found")

    assert "findings cannot be written to file/found" in message


@pytest.mark.parametrize("json_file", [".", "gone/result.json"])
def test_an_unwritable_json_is_noticed_before_the_search(refusal, json_file):
    """As with --save."""
    assert f"--json {json_file}" in refusal(
        "check", BOW_THRUSTER, "--scenarios", 1_000_000, "--json", json_file
    )


def test_an_unwritable_recording_is_noticed_before_the_run(refusal, tmp_path):
    """As with --save."""
    (tmp_path / "s.toml").write_text(SCENARIO)

    assert "--out gone/r.npz" in refusal("run", BOW_THRUSTER, "s.toml", "--out", "gone/r.npz")


def test_an_unknown_option(refusal):
    """The nearest one is offered."""
    message = refusal("check", BOW_THRUSTER, "--scenario", "3")

    assert "No such option" in message
    assert "--scenarios" in message


def test_an_unknown_family(refusal):
    """The nearest one is offered."""
    assert "no family is called 'reversel'; did you mean 'reversal'?" in refusal(
        "check", BOW_THRUSTER, "--only", "reversel"
    )


def test_an_unknown_command(refusal):
    """A typing slip."""
    assert "No such command" in refusal("chek")


@pytest.mark.parametrize("option", ["--scenarios", "--seed", "--workers"])
def test_a_number_that_is_none(refusal, option):
    """Click says which and what it takes."""
    assert option in refusal("check", BOW_THRUSTER, option, "-1")


def test_a_damaged_kept_finding_stops_the_check(refusal, tmp_path):
    """A test that silently stopped running is worse than an error."""
    (tmp_path / "found").mkdir()
    (tmp_path / "found" / "gates-1.toml").write_text("dryspin_finding = 1\n")

    assert "gates-1.toml: lacks the table [hashes]" in refusal("check", BOW_THRUSTER, "--save", "found")
