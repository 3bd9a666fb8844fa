"""The tables of what a firmware may do besides turning: `[calibration]` and `[[tone]]`."""

import re
from pathlib import Path
from typing import Any

import pytest
import tomli_w

from dryspin.drive import Calibration, Drive, Tone, load_drive
from dryspin.errors import DriveError

from .sheet import SHEET

CALIBRATION = {"enter_us": 1700}
READY = {"name": "ready", "mark": 32, "notes": [["C6", 120], ["", 60], ["E6", 120]], "pulse_us": 30}
LOST = {"name": "lost", "mark": 37, "notes": [["G6", 100]], "pulse_us": 30}


def load(directory: Path, **tables: Any) -> Drive:
    """The drive of the complete sheet with further tables."""
    path = directory / "drive.toml"
    path.write_text(tomli_w.dumps(SHEET | tables))
    return load_drive(path)


def refused(directory: Path, **tables: Any) -> str:
    """The message, with the directory taken off."""
    with pytest.raises(DriveError) as raised:
        load(directory, **tables)
    return str(raised.value).removeprefix(f"{directory}/")


def test_a_drive_without_rites_declares_none(tmp_path):
    """A firmware that neither learns nor sounds is held to neither."""
    drive = load(tmp_path)

    assert drive.calibration is None
    assert drive.tones == ()


def test_calibration_needs_nothing_but_the_pulse_that_asks_for_it(tmp_path):
    """The rest has defaults, each with its reason."""
    assert load(tmp_path, calibration=CALIBRATION).calibration == Calibration(
        enter_us=1700.0,
        enter_frames=100,
        order=("high", "neutral", "low"),
        hold_frames=25,
        still_us=15.0,
        timeout_s=10.0,
        span_min_us=200.0,
        span_max_us=700.0,
    )


def test_tones_come_in_the_order_of_the_file(tmp_path):
    """Notes as pairs of name and milliseconds; an empty name is a pause."""
    drive = load(tmp_path, tone=[LOST, READY])

    assert drive.tones == (
        Tone("lost", 37, (("G6", 100.0),), 30.0),
        Tone("ready", 32, (("C6", 120.0), ("", 60.0), ("E6", 120.0)), 30.0),
    )


CALIBRATION_SLIPS = {
    "no key": (
        {},
        "enter_us is missing. Give the pulse above which the stick asks for calibration at power-on, in us.",
    ),
    "no key but another": (
        {"enter": 1700},
        "enter: the unit is in the key's name; write enter_us, in us (the "
        "pulse above which the stick asks for calibration at power-on).",
    ),
    "above what is valid": (
        {"enter_us": 2200},
        "enter_us = 2200 us must lie between neutral_us + dead_band_us = "
        "1525 us and valid_high_us = 2200 us of [throttle], or no stick could ask for it "
        "alone. Choose a value between.",
    ),
    "inside the dead band": (
        {"enter_us": 1525},
        "enter_us = 1525 us must lie between neutral_us + dead_band_us "
        "= 1525 us and valid_high_us = 2200 us of [throttle], or no stick could ask for it "
        "alone. Choose a value between.",
    ),
    "half a frame": (
        {"hold_frames": 2.5},
        "hold_frames = 2.5: is not a whole number. Give the number of valid "
        "pulses in a row that lie still before a position counts.",
    ),
    "unknown position": (
        {"order": ["high", "neutral", "lo"]},
        'order = ["high", "neutral", "lo"]: holds "lo", '
        "which is not known. Did you mean 'low'? Give the stick positions in the order in which "
        "they are learnt.",
    ),
    "position twice": (
        {"order": ["high", "low", "low"]},
        'order = ["high", "low", "low"]: must hold each of high, '
        "neutral, low once. Give the stick positions in the order in which they are learnt.",
    ),
    "spans crossed": (
        {"span_min_us": 700},
        "span_min_us = 700 us must be below span_max_us = 700 us, or no range "
        "could be taken. Lower it, or raise span_max_us.",
    ),
    "span in the dead band": (
        {"span_min_us": 25},
        "span_min_us = 25 us must be above dead_band_us = 25 us of "
        "[throttle], or full stick could ask for nothing. Raise it.",
    ),
    "never still": (
        {"still_us": 200},
        "still_us = 200 us must be below span_min_us = 200 us, or one position "
        "could not be told from the next. Lower it.",
    ),
}


@pytest.mark.parametrize("slip", CALIBRATION_SLIPS)
def test_slip_in_calibration_is_named_with_value_and_remedy(tmp_path, slip):
    """One error, complete."""
    changes, message = CALIBRATION_SLIPS[slip]
    given = {**CALIBRATION, **changes} if changes and "enter" not in changes else changes

    assert re.sub(r"^drive\.toml:\d+: \[calibration\] ", "", refused(tmp_path, calibration=given)) == message


GIVE = 'Give the notes as [["C6", 120], ...]: name ("" is a pause) and length in ms.'
TONE_SLIPS = {
    "mark of a state": (
        {"mark": 31},
        "mark = 31: must be at least 32. Give the number that port_mark() announces the tone with, 32 to 63.",
    ),
    "mark beyond": (
        {"mark": 64},
        "mark = 64: must be at most 63. Give the number that port_mark() announces the tone with, 32 to 63.",
    ),
    "mark taken": ({"mark": 37}, 'mark = 37 is that of the tone "lost" already. Choose another.'),
    "name taken": ({"name": "lost"}, 'name = "lost" is the name of another tone already. Choose another.'),
    "no notes": ({"notes": []}, f"notes = []: is an empty list. {GIVE}"),
    "only pauses": ({"notes": [["", 5]]}, f'notes = [["", 5]]: holds nothing but pauses. {GIVE}'),
    "a text": ({"notes": "C6"}, f'notes = "C6": is a text, not a list of notes. {GIVE}'),
    "no length": (
        {"notes": [["C6"]]},
        f'notes = [["C6"]]: holds ["C6"], which is not [note, length in ms]. {GIVE}',
    ),
    "no such note": (
        {"notes": [["H6", 5]]},
        'notes = [["H6", 5]]: holds ["H6", 5]: "H6" is no note: write a '
        f"letter A to G, then # or b where needed, then the octave, as in C6. {GIVE}",
    ),
    "no time": (
        {"notes": [["C6", 0]]},
        f'notes = [["C6", 0]]: holds ["C6", 0], whose length must be above 0 ms. {GIVE}',
    ),
    "endless pulse": (
        {"pulse_us": 380},
        "pulse_us = 380 us is more than half of the 758 us from pulse to pulse of "
        "E6. Shorten the pulse or choose a lower note.",
    ),
}


@pytest.mark.parametrize("slip", TONE_SLIPS)
def test_slip_in_a_tone_is_named_with_its_line_and_remedy(tmp_path, slip):
    """The second tone is to blame, and its line is named."""
    changes, message = TONE_SLIPS[slip]
    said = refused(tmp_path, tone=[LOST, READY | changes])
    line = int(re.match(r"drive\.toml:(\d+): ", said)[1])
    text = (tmp_path / "drive.toml").read_text().splitlines()

    assert re.sub(r"^drive\.toml:\d+: \[tone\] ", "", said) == message
    assert text[line - 1].startswith(next(iter(changes)))
    assert line > [k for k, row in enumerate(text, start=1) if row == "[[tone]]"][1]


def test_one_tone_as_a_plain_table_is_refused(tmp_path):
    """[tone] for [[tone]] is an easy slip."""
    said = refused(tmp_path, tone=READY)

    assert said.endswith(
        "tone is not a list of tables. Write [[tone]] on a line of its own and the keys of one tone below."
    )


def test_unknown_table_near_a_rite_is_named(tmp_path):
    """Else a misspelt rite would silently be none."""
    assert "tones is not a known table. Did you mean 'tone'?" in refused(tmp_path, tones=[READY])


def test_a_variant_has_the_rites_of_its_base_unless_it_gives_its_own(tmp_path):
    """Table by table, and the list of tones as a whole."""
    (tmp_path / "good").mkdir()
    (tmp_path / "bad").mkdir()
    good = load(tmp_path / "good", calibration=CALIBRATION, tone=[READY, LOST])
    path = tmp_path / "bad" / "drive.toml"
    path.write_text('[firmware]\nbase = "../good"\n')
    same = load_drive(path)
    path.write_text(
        '[firmware]\nbase = "../good"\n[calibration]\nenter_us = 1800\n' + tomli_w.dumps({"tone": [LOST]})
    )
    other = load_drive(path)

    assert (same.calibration, same.tones) == (good.calibration, good.tones)
    assert other.calibration.enter_us == 1800.0
    assert [tone.name for tone in other.tones] == ["lost"]
