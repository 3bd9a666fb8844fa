"""What `run` and `replay` leave besides their verdicts: value change dump, table, sound."""

import json
import wave
from pathlib import Path

import pytest

from dryspin.cli.command import exit_code

from ..search.subject import BOW_THRUSTER
from .test_bad_input import SCENARIO

FINDING = BOW_THRUSTER.parent / "known_bad" / "pulses_too_long" / "found" / "tones-pulse-1.toml"

ARMING = SCENARIO.replace("end_s = 0.2", "end_s = 0.95").replace(", [0.1, 1600.0]", "")
"""Long enough for the tone that says it is armed."""


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "s.toml").write_text(ARMING)


def test_a_run_writes_all_three_and_lists_the_tones(tmp_path, capsys):
    """One command, one run."""
    names = ["--vcd", "a.vcd", "--csv", "a.csv", "--from-s", "0.9", "--wav", "a.wav"]
    assert exit_code(["run", str(BOW_THRUSTER), "s.toml", *names]) == 0
    out = capsys.readouterr().out

    assert (tmp_path / "a.vcd").read_text().startswith("$comment")
    assert (tmp_path / "a.csv").read_text().splitlines()[1].startswith("0.900")
    assert "sound in a.wav: 1 tone" in out
    assert "C6" in out
    with wave.open("a.wav") as audio:
        assert audio.getnframes() > 10_000


def test_the_tones_are_in_the_json_too(capsys):
    """Nothing but JSON on the output, the tones in it."""
    assert exit_code(["run", str(BOW_THRUSTER), "s.toml", "--wav", "a.wav", "--json"]) == 0
    tones = json.loads(capsys.readouterr().out)["tones"]

    assert [tone["name"] for tone in tones] == ["ready"]
    assert tones[0]["notes"][0]["hz"] == pytest.approx(1046.5, rel=1e-3)


def test_a_replay_writes_them_as_well(capsys):
    """A finding is what one wants to see."""
    code = exit_code(["replay", str(FINDING), "--vcd", "a.vcd", "--to-s", "0.34", "--wav", "a.wav"])
    out = capsys.readouterr().out

    assert code == 1
    assert "broken  tones.pulse" in out
    assert "ready" in out
    assert Path("a.vcd").stat().st_size > 1000


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--vcd", "nowhere/a.vcd"], "--vcd nowhere/a.vcd: nowhere cannot be written"),
        (["--csv", "."], "--csv .: is a directory; give the name of a file"),
        (["--vcd", "a", "--csv", "a"], "two of --vcd, --csv and --wav name the same file"),
        (["--step-us", "1"], "--step-us says how often to sample for --csv FILE, which is not given"),
        (["--vcd", "a", "--from-s", "2", "--to-s", "1"], "--to-s 1 is not after --from-s 2"),
        (["--vcd", "a", "--from-s", "5"], "--from-s 5: the run ends at 0.95 s; give an earlier moment"),
        (["--csv", "a", "--step-us", "0.001"], "950000001 rows, more than 50000000"),
    ],
)
def test_what_cannot_be_written_is_refused_and_nothing_is_left(tmp_path, capsys, options, message):
    """Most of it before the run."""
    assert exit_code(["run", str(BOW_THRUSTER), "s.toml", *options]) == 2
    out, err = capsys.readouterr()

    assert message in err
    assert out == ""
    assert [path.name for path in tmp_path.iterdir()] == ["s.toml"]


def test_a_run_without_a_tone_leaves_no_sound_behind(tmp_path, capsys):
    """And says why."""
    (tmp_path / "s.toml").write_text(SCENARIO)

    assert exit_code(["run", str(BOW_THRUSTER), "s.toml", "--wav", "a.wav"]) == 0
    assert "no tone was played, so a.wav is not written" in capsys.readouterr().out
    assert not Path("a.wav").exists()
