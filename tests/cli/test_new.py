"""A directory to begin with: what the source shows is filled in, the rest is said to be unknown."""

import json
from dataclasses import dataclass
from pathlib import Path

import pytest

from dryspin.cli.command import exit_code
from dryspin.drive import load_drive
from dryspin.findings import load_subject

from ..search.subject import BOW_THRUSTER

EXAMPLES = BOW_THRUSTER.parent
SKETCH = EXAMPLES / "polling_sketch" / "polling_sketch.ino"
BY_INTERRUPTS = EXAMPLES / "two_way_interrupts" / "thruster.cpp"
SKETCHES = Path(__file__).parent / "sketches"
VALID = ("valid_low_us", "valid_high_us")


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


@dataclass(frozen=True)
class Right:
    """What a person who knows the board would write, and what of it the source leaves open."""

    high: tuple[str, ...]
    low: tuple[str, ...]
    throttle: str
    f_pwm_hz: float
    valid_us: tuple[float, float]
    one_way: bool
    open: set[str]


@pytest.mark.parametrize(
    ("sketch", "right"),
    [
        (
            "enum_bits.c",
            Right(
                ("PD3", "PD4", "PD5"),
                ("PD0", "PD1", "PD2"),
                "PB0",
                12500.0,
                (850.0, 2200.0),
                True,
                {"pins.phases"},
            ),
        ),
        (
            "pin_arrays.ino",
            Right(
                ("PB1", "PB2", "PB3"),
                ("PD3", "PD4", "PD5"),
                "PB0",
                20000.0,
                (900.0, 2150.0),
                True,
                {"pins.phases", "bridge.f_pwm_hz"},
            ),
        ),
        (
            "switch_macros.cpp",
            Right(
                ("PB1", "PB2", "PB3"), ("PD4", "PD7", "PC3"), "PD2", 20000.0, (950.0, 2000.0), False, set()
            ),
        ),
        (
            "bare_numbers.c",
            Right(
                ("PD2", "PD3", "PD5"),
                ("PD1", "PD4", "PD7"),
                "",
                20000.0,
                (800.0, 2200.0),
                False,
                {"pins.high", "pins.low", "pins.phases", "pins.throttle", "bridge.f_pwm_hz"},
            ),
        ),
    ],
)
def test_what_a_sketch_shows_is_filled_in_and_what_it_leaves_open_is_to_do(
    tmp_path: Path, sketch: str, right: Right
) -> None:
    """Bits by enumeration, pins in lists, switches as macros, bare numbers that only a comment explains."""
    assert exit_code(["new", str(tmp_path / "mine"), "--from", str(SKETCHES / sketch)]) == 0
    drive, written = load_drive(tmp_path / "mine"), (tmp_path / "mine" / "drive.toml").read_text()
    throttle = drive.throttle

    assert drive.pins is not None
    assert (drive.pins.high, drive.pins.low, drive.pins.throttle) == (right.high, right.low, right.throttle)
    assert drive.bridge.f_pwm_hz == pytest.approx(right.f_pwm_hz)
    assert (throttle.valid_low_us, throttle.valid_high_us) == right.valid_us
    assert throttle.one_way == right.one_way
    assert {key for key in drive.unknown if key.startswith("pins.") or key == "bridge.f_pwm_hz"} == right.open
    assert ("# TO DO: not sure" in written) == bool(right.open)


def test_marks_are_explained_with_a_line_that_can_be_taken_over(tmp_path: Path) -> None:
    """The commented example is one that a drive file takes; so are the others."""
    assert exit_code(["new", str(tmp_path / "mine"), "--from", str(SKETCHES / "switch_macros.cpp")]) == 0
    file = tmp_path / "mine" / "drive.toml"
    text = file.read_text()
    assert "a blinking LED makes marks lie" in " ".join(text.replace("#", " ").split())
    for example in ('marks = { PB1 = ["off", "run"] }', 'mark_register = "GPIOR0"', "high_on_max_s = 1e6"):
        assert f"# {example}" in text
        text = text.replace(f"# {example}", example)
    file.write_text(text.replace("PB1 = [", "PB5 = ["))
    drive = load_drive(tmp_path / "mine")

    assert drive.pins is not None
    assert (drive.pins.marks, drive.pins.mark_register) == ({"PB5": (0, 6)}, "GPIOR0")
    assert drive.bridge.high_on_max_s == 1e6


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
    assert "settle first: pins.high, pins.low, pins.phases, pins.throttle." in said
    assert sorted(p.relative_to("mine").as_posix() for p in Path("mine").rglob("*") if p.is_file()) == [
        *(".ci/run", ".gitignore", "claims.toml", "drive.toml", "main.c", "tests/test_first.py"),
    ]


@pytest.mark.parametrize(
    ("text", "points", "open_questions"),
    [
        (SKETCH.read_text(), (1100.0, True), {"forward_full_us"}),
        (BY_INTERRUPTS.read_text(), (1500.0, False), {"forward_full_us", *VALID}),
        (
            "int idle_us = 1020; int go_astern;",
            (1500.0, False),
            {"neutral_us", "forward_full_us", "reverse_full_us", *VALID},
        ),
        ("int width;", (1500.0, False), {"neutral_us", "forward_full_us", "reverse_full_us", *VALID}),
    ],
    ids=["one way", "both ways", "low rest, but a way back", "nothing said"],
)
def test_ways_of_the_stick_are_those_of_the_source_or_an_open_question(
    tmp_path: Path, text: str, points: tuple[float, bool], open_questions: set[str]
) -> None:
    """One way: the stick rests low and nothing is named after going back; else nobody knows: said."""
    source = tmp_path / ("source.ino" if "void loop()" in text else "source.cpp")
    source.write_text(text)
    assert exit_code(["new", str(tmp_path / "mine"), "--from", str(source)]) == 0
    drive = load_drive(tmp_path / "mine")

    assert (drive.throttle.neutral_us, drive.throttle.one_way) == points
    told = {key.partition(".")[2] for key in drive.unknown if key.startswith("throttle.")}
    assert told == open_questions


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
