"""A firmware directory that stands on another: tables, files and claims taken from the base."""

from pathlib import Path

import pytest

from dryspin.drive import claims_file, load_drive, overlaid_files
from dryspin.errors import ClaimsError, DriveError

from .sheet import refusal, write_sheet


@pytest.fixture
def base(tmp_path: Path) -> Path:
    """A complete firmware of two sources."""
    directory = tmp_path / "good"
    write_sheet(directory, firmware={"sources": ["*.c"], "defines": {"STEPS": 6, "NAME": "x"}})
    (directory / "main.c").write_text("int main(void) { return 0; }\n")
    (directory / "steps.c").write_text("/* right */\n")
    (directory / "claims.toml").write_text('declared = ["gates"]\n')
    return directory


def variant(base: Path, text: str, at: str = "bad/swapped") -> Path:
    """A directory with a drive file of its own."""
    directory = base.parent / at
    directory.mkdir(parents=True)
    (directory / "drive.toml").write_text(text)
    return directory


def test_variant_needs_nothing_but_its_base(base):
    """A known-bad variant shows by its files what is wrong with it, and nothing else."""
    directory = variant(base, '[firmware]\nbase = "../../good"\n')
    drive, good = load_drive(directory), load_drive(base)

    for part in ("motor", "load", "bridge", "supply", "sense", "controller", "throttle"):
        assert getattr(drive, part) == getattr(good, part)
    assert drive.name == "swapped"
    assert drive.firmware.base == "../../good"
    assert drive.firmware.defines == {"STEPS": "6", "NAME": "x"}
    assert drive.layers == (directory, base)


def test_changed_file_hides_the_one_of_the_base(base):
    """File by file: what the variant does not hold is the base's."""
    directory = variant(base, '[firmware]\nbase = "../../good"\n')
    (directory / "steps.c").write_text("/* wrong */\n")
    files = overlaid_files(load_drive(directory).layers, ["*.c"])

    assert files == {"main.c": base / "main.c", "steps.c": directory / "steps.c"}


def test_table_of_the_variant_replaces_the_whole_table_of_the_base(base):
    """Half a motor from each file would be a motor that nobody wrote down."""
    directory = variant(base, '[firmware]\nbase = "../../good"\n[load]\nkq_nm_s2 = 0.0\ncoulomb_nm = 1e-3\n')
    drive = load_drive(directory)

    assert drive.load.kq_nm_s2.nominal == 0.0
    assert drive.load.coulomb_nm.nominal == 1e-3


def test_firmware_key_of_the_variant_replaces_only_that_key(base):
    """A variant made by a macro keeps the sources of its base."""
    directory = variant(base, '[firmware]\nbase = "../../good"\ndefines = { STEPS = 5 }\n')
    firmware = load_drive(directory).firmware

    assert firmware.defines == {"STEPS": "5"}
    assert firmware.sources == ("*.c",)


def test_base_may_stand_on_another_base(base):
    """A variant of a variant; the nearest file wins."""
    variant(base, '[firmware]\nbase = "../../good"\n')
    directory = variant(base, '[firmware]\nbase = "../swapped"\n', at="bad/twice")

    assert load_drive(directory).layers == (directory, base.parent / "bad/swapped", base)


def test_problem_in_the_base_is_reported_at_the_base(base):
    """The file to correct is the one named."""
    write_sheet(base, load={"kq_nm_s2": -1.0})
    directory = variant(base, '[firmware]\nbase = "../../good"\n')
    with pytest.raises(DriveError) as raised:
        load_drive(directory)

    assert str(raised.value).startswith(f"{base}/drive.toml:")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            '[firmware]\nbase = "../good"\n',
            '{here}:2: [firmware] base = "../good": {directory}/../good has no drive.toml. '
            "Give a firmware directory, relative to {directory}.",
        ),
        (
            '[firmware]\nbase = "."\n',
            '{here}:2: [firmware] base = "." leads back to {here}. A base cannot stand on itself; remove '
            "one.",
        ),
    ],
)
def test_base_that_leads_nowhere_is_refused(text, message, base):
    """Relative to the file that says so, not to the working directory."""
    directory = variant(base, text)
    with pytest.raises(DriveError) as raised:
        load_drive(directory)

    assert str(raised.value) == message.format(here=directory / "drive.toml", directory=directory)


def test_base_that_is_no_text_is_refused(base):
    """By the same words as any other key."""
    assert refusal(write_sheet(base, firmware={"base": 3})) == (
        "[firmware] base = 3: is a number, not a text in quotes. "
        "Give the directory whose files and tables stand in for missing ones."
    )


def test_two_bases_that_stand_on_each_other_are_refused(base):
    """Else the reader would never end."""
    variant(base, '[firmware]\nbase = "../b"\n', at="bad/a")
    directory = variant(base, '[firmware]\nbase = "../a"\n', at="bad/b")
    with pytest.raises(DriveError, match="A base cannot stand on itself; remove one"):
        load_drive(directory)


def test_pattern_without_a_file_is_refused(base):
    """A build of nothing would link, and prove nothing."""
    with pytest.raises(DriveError) as raised:
        overlaid_files((base,), ["*.c", "lib/*.c"])

    assert str(raised.value) == (
        f"{base}: no file matches 'lib/*.c'. Correct [firmware] sources, or add the file."
    )


@pytest.mark.parametrize("pattern", ["../*.c", "/etc/*.c"])
def test_pattern_out_of_the_directory_is_refused(pattern, base):
    """Files from elsewhere could not be overlaid by name."""
    with pytest.raises(DriveError, match="leaves the firmware's directory"):
        overlaid_files((base,), [pattern])


def test_claims_fall_back_to_those_of_the_base(base):
    """A known-bad variant is held to what the good firmware is held to."""
    directory = variant(base, '[firmware]\nbase = "../../good"\n')
    assert claims_file(load_drive(directory)) == base / "claims.toml"

    (directory / "claims.toml").write_text('declared = ["arming"]\n')
    assert claims_file(load_drive(directory)) == directory / "claims.toml"


def test_missing_claims_file_is_named_with_every_place_looked_in(base):
    """Nothing declared is not the same as nothing to prove."""
    (base / "claims.toml").unlink()
    directory = variant(base, '[firmware]\nbase = "../../good"\n')
    with pytest.raises(ClaimsError) as raised:
        claims_file(load_drive(directory))

    assert str(raised.value) == (
        f'claims.toml is missing in {directory}, {base}. Add it with declared = ["gates"], say.'
    )
