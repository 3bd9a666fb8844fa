"""Variants told as replaced texts: what is built, and what is refused."""

from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.build import build_image, firmware_text
from dryspin.drive import Change, load_drive
from dryspin.errors import BuildError, DriveError

from ..small_firmware import BOW_THRUSTER, Bench

UNDER_TEST = BOW_THRUSTER.parent
VARIANTS = [
    f"{kind}/{path.name}"
    for kind in ("known_bad", "held_out")
    for path in sorted((UNDER_TEST / kind).iterdir())
    if path.is_dir()
]


@pytest.fixture
def small(bench: Bench) -> Bench:
    """A bench that holds a complete firmware."""
    bench.image('#include "drive_port.h"\nint main(void) { for (;;) port_mark(7U); }\n')
    return bench


def text_with(bench: Bench, *changes: Change) -> str:
    """main.c as the compiler would see it, after `changes`."""
    drive = replace(bench.drive, firmware=replace(bench.drive.firmware, change=changes))
    return firmware_text(drive, bench.folder).files["main.c"].decode()


def test_changes_are_made_one_after_another(small: Bench) -> None:
    """A later change may stand on an earlier one."""
    text = text_with(small, Change("main.c", "7U", "8U"), Change("main.c", "mark(8U)", "mark(9U)"))

    assert text.endswith("int main(void) { for (;;) port_mark(9U); }\n")


def test_a_change_makes_another_image(small: Bench) -> None:
    """The cache goes by what is compiled, not by what lies in the directory."""
    other = replace(
        small.drive, firmware=replace(small.drive.firmware, change=(Change("main.c", "7U", "8U"),))
    )

    assert build_image(small.drive, small.folder).path != build_image(other, small.folder).path


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (Change("maim.c", "7U", "8U"), "change names maim.c, which is no source or header of the firmware"),
        (Change("main.c", "70U", "8U"), "change: '70U' stands 0 times in main.c, not once"),
        (Change("main.c", "(", "["), "change: '(' stands 3 times in main.c, not once"),
    ],
)
def test_a_change_that_does_not_fit_is_refused(small: Bench, change: Change, words: str) -> None:
    """A variant that has lost its place in the base would otherwise be the base, and look good."""
    with pytest.raises(BuildError) as refused:
        text_with(small, change)

    assert words in str(refused.value)


@pytest.mark.parametrize(
    ("item", "words"),
    [
        ('file = "main.c"\nbefore = "a"\n', "a change has the texts file, before and after"),
        ('file = "main.c"\nbefore = ""\nafter = "b"\n', "changes nothing in main.c: before is empty"),
        ('file = "main.c"\nbefore = 1\nafter = "b"\n', "a change has the texts file, before and after"),
    ],
)
def test_a_change_without_its_three_texts_is_refused(tmp_path: Path, item: str, words: str) -> None:
    """Each table names a file, what stands there and what is to stand there."""
    sheet = tmp_path / "drive.toml"
    sheet.write_text(f'[firmware]\nbase = "{BOW_THRUSTER}"\n[[firmware.change]]\n{item}')

    with pytest.raises(DriveError) as refused:
        load_drive(sheet)

    assert words in str(refused.value)
    assert f"{sheet}:" in str(refused.value)


@pytest.mark.parametrize("variant", VARIANTS)
def test_every_variant_builds(variant: str) -> None:
    """What is wrong with it must be its behaviour, not its C; and it says in its head what that is."""
    drive = load_drive(UNDER_TEST / variant)

    assert build_image(drive, UNDER_TEST / variant).path.is_file()
    assert drive.path.read_text(encoding="utf-8").startswith("# ")
