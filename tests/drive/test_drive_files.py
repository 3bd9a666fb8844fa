"""The drive file as a file: where an error is placed, and what is no drive file at all."""

import pytest
import tomli_w

from dryspin.drive import load_drive
from dryspin.errors import DriveError

from .sheet import SHEET, refusal, write_sheet


def test_error_begins_with_file_and_line_of_the_key(tmp_path):
    """Editors jump to `file:line`."""
    path = tmp_path / "drive.toml"
    path.write_text("# a comment\n\n" + tomli_w.dumps(SHEET | {"load": {"kq_nm_s2": -1.0}}))
    line = path.read_text().split("\n").index("kq_nm_s2 = -1.0") + 1
    with pytest.raises(DriveError) as raised:
        load_drive(path)

    assert str(raised.value).startswith(f"{path}:{line}: [load] kq_nm_s2 = -1.0 Nm s2: must be at least 0")


def test_whole_numbers_too_long_for_a_float_are_not_finite(tmp_path):
    """TOML integers may have any length."""
    assert "is not a finite number" in refusal(write_sheet(tmp_path, motor={"r_phase_ohm": 10**400}))


@pytest.mark.parametrize("table", ["motor", "load", "bridge", "supply", "sense", "controller"])
def test_missing_table_is_named_with_its_keys(table, tmp_path):
    """The next thing to do is to write it."""
    path = tmp_path / "drive.toml"
    path.write_text(tomli_w.dumps({name: keys for name, keys in SHEET.items() if name != table}))

    assert refusal(path).startswith(f"the table [{table}] is missing. Add it with its keys: ")


def test_unknown_table_gets_the_nearest_name(tmp_path):
    """A whole table ignored would be the worst slip of all."""
    assert refusal(write_sheet(tmp_path, brigde={"r": 1})) == (
        "brigde is not a known table. Did you mean 'bridge'?"
    )


def test_key_in_place_of_a_table_is_refused(tmp_path):
    """`motor = 3` is TOML, but no motor."""
    path = tmp_path / "drive.toml"
    path.write_text("motor = 3\n" + tomli_w.dumps({k: v for k, v in SHEET.items() if k != "motor"}))

    assert refusal(path) == "motor is not a table. Write [motor] on a line of its own and its keys below."


def test_toml_slip_is_located_by_line(tmp_path):
    """The reader's own words, behind file and line."""
    path = tmp_path / "drive.toml"
    path.write_text("[motor]\npole_pairs = 7\nkv_rpm_per_v 1000\n")
    with pytest.raises(DriveError) as raised:
        load_drive(path)

    assert str(raised.value) == (
        f"{path}:3: not TOML: Expected '=' after a key in a key/value pair, at column 14. Correct that line."
    )


def test_file_that_stops_early_is_said_to_be_cut_off(tmp_path):
    """The usual cause of a TOML error at the end."""
    path = tmp_path / "drive.toml"
    path.write_text("[motor]\nv_v = { low = 9.6,")
    with pytest.raises(DriveError) as raised:
        load_drive(path)

    assert str(raised.value).startswith(f"{path}:2: not TOML: ")
    assert str(raised.value).endswith("; the drive file ends here. Is it cut off?")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (
            b"\x7fELF\x02\x01\x01\x00",
            "holds a NUL byte; a drive file is a TOML text file. Was another file given?",
        ),
        (
            b"a = 1\n\xff\xfe",
            "byte 0xff is not UTF-8 text; a drive file is a TOML file. Was another file given?",
        ),
        (b"", "is empty; a drive file was expected."),
        (b" \n\n", "is empty; a drive file was expected."),
    ],
)
def test_what_is_no_drive_file_is_said_to_be_none(content, message, tmp_path):
    """A firmware image or a recording given by mistake must not end in a traceback."""
    path = tmp_path / "drive.toml"
    path.write_bytes(content)

    assert refusal(path) == message


def test_missing_file_is_named(tmp_path):
    """The path as it was looked for, `drive.toml` added to a directory."""
    with pytest.raises(DriveError) as raised:
        load_drive(tmp_path)

    assert str(raised.value) == f"{tmp_path}/drive.toml: no such file. Give the path of a drive file."


def test_byte_order_mark_and_dos_line_ends_are_taken(tmp_path):
    """Some editors write them; TOML allows the one and tolerates the other."""
    path = write_sheet(tmp_path)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))

    assert load_drive(path).motor.pole_pairs == 7
