"""A directory to begin with: what the source shows is filled in, the rest is said to be unknown."""

import json
from pathlib import Path

import pytest

from dryspin.cli.command import exit_code
from dryspin.drive import load_drive
from dryspin.findings import load_subject

from ..search.subject import BOW_THRUSTER

EXAMPLES = BOW_THRUSTER.parent
SKETCH = EXAMPLES / "polling_sketch" / "polling_sketch.ino"
BY_INTERRUPTS = EXAMPLES / "two_way_interrupts" / "thruster.cpp"


@pytest.mark.parametrize(
    ("source", "high", "low", "throttle"),
    [
        (SKETCH, {"PB1", "PB2", "PB3"}, {"PD3", "PD4", "PD5"}, "PD2"),
        (BY_INTERRUPTS, {"PD5", "PB3", "PD3"}, {"PD4", "PB1", "PB2"}, "PB0"),
    ],
    ids=["sketch", "by interrupts"],
)
def test_pins_and_carrier_are_those_of_the_source(
    tmp_path: Path, source: Path, high: set[str], low: set[str], throttle: str
) -> None:
    """The pins agree with the drive.toml written by hand; which leg is which no text can tell."""
    assert exit_code(["new", str(tmp_path / "mine"), "--from", str(source)]) == 0
    drive, by_hand = load_drive(tmp_path / "mine"), load_drive(source.parent)

    assert drive.pins is not None
    assert by_hand.pins is not None
    assert set(drive.pins.high) == high == set(by_hand.pins.high)
    assert set(drive.pins.low) == low == set(by_hand.pins.low)
    assert drive.pins.throttle == throttle == by_hand.pins.throttle
    assert drive.bridge.f_pwm_hz == pytest.approx(16e6 / 510, abs=0.01)
    assert (tmp_path / "mine" / source.name).read_bytes() == source.read_bytes()
    assert "motor.l_phase_h" in drive.unknown
    assert "pins.throttle" not in drive.unknown


@pytest.mark.slow
def test_a_check_works_at_once_and_says_what_is_unknown(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also without a source: then a firmware that keeps every gate off stands there."""
    monkeypatch.chdir(tmp_path)
    assert exit_code(["new", "mine"]) == 0
    capsys.readouterr()
    code = exit_code(["check", "mine", "--scenarios", "2", "--workers", "1"])
    said = capsys.readouterr().out

    assert code == 1
    assert "gates.both_fets is declared, but nothing was shown about it" in said
    assert "still unknown in drive.toml, guesses all: pins.high" in said
    assert sorted(p.relative_to("mine").as_posix() for p in Path("mine").rglob("*") if p.is_file()) == [
        *(".ci/run", ".gitignore", "claims.toml", "drive.toml", "main.c", "tests/test_first.py"),
    ]


@pytest.mark.parametrize(
    ("text", "points", "open_questions"),
    [
        (SKETCH.read_text(), (1100.0, 1000.0), {"throttle.forward_full_us"}),
        (BY_INTERRUPTS.read_text(), (1500.0, 1100.0), {"throttle.forward_full_us"}),
        (
            "int idle_us = 1020; int go_astern;",
            (1500.0, 1100.0),
            {"throttle.neutral_us", "throttle.forward_full_us", "throttle.reverse_full_us"},
        ),
        (
            "int width;",
            (1500.0, 1100.0),
            {"throttle.neutral_us", "throttle.forward_full_us", "throttle.reverse_full_us"},
        ),
    ],
    ids=["one way", "both ways", "low rest, but a way back", "nothing said"],
)
def test_ways_of_the_stick_are_those_of_the_source_or_an_open_question(
    tmp_path: Path, text: str, points: tuple[float, float], open_questions: set[str]
) -> None:
    """One way: the stick rests low and nothing is named after going back; else nobody knows: said."""
    source = tmp_path / "source.cpp"
    source.write_text(text)
    assert exit_code(["new", str(tmp_path / "mine"), "--from", str(source)]) == 0
    drive = load_drive(tmp_path / "mine")

    assert (drive.throttle.neutral_us, drive.throttle.reverse_full_us) == points
    assert {key for key in drive.unknown if key.startswith("throttle.")} == open_questions


@pytest.mark.parametrize(
    "outputs",
    [
        "DDRC = _BV(PC0) | _BV(PC1) | _BV(PC2); TCCR0A = _BV(COM0A1) | _BV(COM0B1);",
        "DDRD = 0xFF; DDRB = 0xFF; DDRC = 0x7F;",
        "DDRD = _BV(PD6); TCCR0A = _BV(COM0A1) | _BV(COM0B1); TCCR2A = _BV(COM2A1) | _BV(COM2B1);",
    ],
    ids=["low FETs where phases are guessed", "everything an output", "the neutral's pin chopped"],
)
def test_whatever_pins_a_source_uses_the_drive_it_gets_can_be_loaded(tmp_path: Path, outputs: str) -> None:
    """Guesses must not clash with each other, nor with what was seen; it builds, too."""
    source = tmp_path / "main.c"
    source.write_text(f"#include <avr/io.h>\nint main(void) {{ {outputs} for (;;) {{ }} }}\n")

    assert exit_code(["new", str(tmp_path / "mine"), "--from", str(source)]) == 0
    assert load_subject(tmp_path / "mine").drive.pins is not None


@pytest.mark.slow
@pytest.mark.parametrize("source", [SKETCH, BY_INTERRUPTS], ids=["sketch", "by interrupts"])
def test_a_check_of_what_new_made_of_an_example_works_at_once(
    tmp_path: Path, source: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Unchanged: the claims declared in it are exercised, for arming is rehearsed and the motor turns."""
    monkeypatch.chdir(tmp_path)
    assert exit_code(["new", str(tmp_path / "mine"), "--from", str(source)]) == 0
    capsys.readouterr()
    code = exit_code(["check", str(tmp_path / "mine"), "--scenarios", "4", "--workers", "2"])
    said = capsys.readouterr().out

    assert code in (0, 1)
    assert "not exercised" not in said
    assert "arming: 25 frames at neutral, as rehearsed" in said
    assert "throttle.forward_full_us" in said.partition("still unknown in drive.toml")[2]


def test_nothing_that_stands_there_is_overwritten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Not even in part: the second call writes nothing at all."""
    assert exit_code(["new", str(tmp_path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["written"][0] == "main.c"
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    assert exit_code(["new", str(tmp_path)]) == 2
    assert "is there already, and nothing is overwritten" in capsys.readouterr().err
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before


def test_what_is_no_source_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, and no directory left behind."""
    assert exit_code(["new", str(tmp_path / "x"), "--from", str(tmp_path / "none.ino")]) == 2
    assert exit_code(["new", str(tmp_path / "x"), "--from", "thruster.hex"]) == 2
    assert "is no source" in capsys.readouterr().err
    assert not (tmp_path / "x").exists()


def test_an_unknown_that_is_no_key_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A slip in the list would hide a guess."""
    assert exit_code(["new", str(tmp_path / "x")]) == 0
    file = tmp_path / "x" / "drive.toml"
    file.write_text(file.read_text().replace('"motor.l_phase_h"', '"motor.l_phase"'))
    assert exit_code(["check", str(tmp_path / "x")]) == 2
    assert "Did you mean 'motor.l_phase_h'?" in capsys.readouterr().err
