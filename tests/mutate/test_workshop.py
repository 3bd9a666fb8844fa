"""Builds of one changed source: the very image of a whole build, and the same code known as the same."""

import pytest

from dryspin.build import build_image
from dryspin.build.workshop import Workshop
from dryspin.errors import BuildError
from dryspin.rig import Rig

from ..small_firmware import scenario

MAIN = """
    #include "say.h"
    #include "count.h"
    int main(void)
    {
        say(counted(7U));
        SLEEP_FOREVER
    }
"""
HEADER = "#include <stdint.h>\nuint16_t counted(uint16_t n);\n"
COUNT = '#include "count.h"\nuint16_t counted(uint16_t n) { return n > 4U ? n : 0U; }\n'


@pytest.fixture
def workshop(bench, tmp_path) -> Workshop:
    """A firmware of two sources, compiled once."""
    bench.image(MAIN, count__h=HEADER, count__c=COUNT)
    (tmp_path / "workshop").mkdir()
    return Workshop(bench.drive, bench.folder, tmp_path / "workshop")


def place(tmp_path, name):
    """A new folder."""
    folder = tmp_path / name
    folder.mkdir()
    return folder


def test_an_image_with_a_change_runs_as_one_that_is_built_whole(workshop, bench, tmp_path):
    """The same digest of what went in, the same recording, the line of the changed text."""
    changed = COUNT.replace("4U", "9U")
    quick = workshop.image_with("count.c", changed.encode(), place(tmp_path, "quick"))
    (bench.folder / "count.c").write_text(changed)
    whole = build_image(bench.drive, bench.folder)
    recordings = [Rig(image, bench.drive).run(scenario(0.07)) for image in (quick, whole)]

    assert quick.digest == whole.digest
    assert recordings[0].digest() == recordings[1].digest()


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("n > 4U ? n : 0U", True),
        ("n >= 5U ? n : 0U", True),
        ("/* at least five */ n > 4U ? n : 0U", True),
        ("n >= 4U ? n : 0U", False),
        ("n > 4U ? n : 1U", False),
    ],
)
def test_the_same_machine_code_is_known_whatever_the_text(workshop, tmp_path, text, same):
    """More than four whole numbers are five or more: nobody could tell the two apart by running them."""
    codes = [
        workshop.machine_code("count.c", content.encode(), place(tmp_path, name))
        for name, content in (("as_it_is", COUNT), ("changed", COUNT.replace("n > 4U ? n : 0U", text)))
    ]

    assert (codes[0] == codes[1]) == same


def test_what_does_not_compile_has_no_machine_code(workshop, tmp_path):
    """Nor an image."""
    broken = COUNT.replace("return", "retrun").encode()

    assert workshop.machine_code("count.c", broken, place(tmp_path, "code")) is None
    with pytest.raises(BuildError):
        workshop.image_with("count.c", broken, place(tmp_path, "image"))
