"""[timekeeping]: which variables of the firmware hold moments."""

from dataclasses import replace
from pathlib import Path

import pytest
import tomli_w

from dryspin.drive import load_drive
from dryspin.drive.model import Timekeeping
from dryspin.errors import DriveError
from dryspin.findings import load_subject
from dryspin.rig import Rig
from dryspin.rig.frames import Frames
from dryspin.scenario import Scenario

from ..small_firmware import BOW_THRUSTER
from .sheet import SHEET


def write(folder: Path, **table: object) -> Path:
    """A drive file with that table."""
    path = folder / "drive.toml"
    path.write_text(tomli_w.dumps({**SHEET, "timekeeping": table}))
    return path


def test_pairs_of_name_and_age_are_taken(tmp_path):
    """Ages in ms; 0 says that the variable does not matter."""
    drive = load_drive(write(tmp_path, moments=[["a.c:since", 40], ["b", 0]]))

    assert drive.timekeeping is not None
    assert drive.timekeeping.moments == (("a.c:since", 40.0), ("b", 0.0))
    assert load_drive(BOW_THRUSTER).timekeeping is not None


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ([["a.c:since", -1]], "whose age"),
        ([["a.c:since", 2e6]], "whose age"),
        ([["a.c:since", float("nan")]], "whose age"),
        ([["a.c:since", "40"]], "whose age"),
        ([["", 1]], r"which is not \[variable, age in ms\]"),
        ([["a.c:since"]], r"which is not \[variable, age in ms\]"),
        ("a.c:since", r"not a list of \[variable, age in ms\]"),
    ],
)
@pytest.mark.parametrize("key", ["moments", "spans", "wraps"])
def test_what_is_no_age_is_refused(tmp_path, key, value, says):
    """With the key, the value and what it should be."""
    table = {"moments": [["a", 1]], key: value}

    with pytest.raises(DriveError, match=rf"{key}.*{says}"):
        load_drive(write(tmp_path, **table))


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("arming.c:run_lenght", "the firmware has no such variable; did you mean 'arming.c:run_length'"),
        ("stage", 'several files have a variable of that name; write "file.c:stage"'),
        ("throttle.c:last", r"has 8 bytes, which is no moment; name a part of it, as in throttle.c:last\+0"),
        ("throttle.c:last+6", "has 8 bytes; give an offset with 4 bytes behind it"),
    ],
)
def test_a_variable_that_is_not_there_is_named(name, says):
    """Found out when it is used, since it takes the built firmware to know."""
    subject = load_subject(BOW_THRUSTER)
    rig = Rig(subject.image, replace(subject.drive, timekeeping=Timekeeping(((name, 40.0),))))

    with pytest.raises(DriveError, match=says):
        Frames(rig, Scenario(0, 1.0, 0.0, 20.0, ((0.0, 0.0),)))
