"""Firmware that cannot be built: each error names file, cause and next step."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.build import find_compiler
from dryspin.build.cache import cache_root
from dryspin.errors import BuildError

from ..small_firmware import BOW_THRUSTER, PARTS, Bench

GOOD = """
    #include "say.h"
    int main(void)
    {
        SLEEP_FOREVER
    }
"""


def error_of(bench: Bench, text: str, **more: str) -> str:
    """What the build says of main.c and `more`."""
    with pytest.raises(BuildError) as raised:
        bench.image(text, **more)
    return str(raised.value)


def test_the_first_compiler_error_is_shown_with_its_line(bench: Bench) -> None:
    """File, line, the compiler's words and the source line: enough to go there."""
    message = error_of(
        bench,
        """
        #include "say.h"
        int main(void)
        {
            port_leg(PORT_U, PORT_LOW) /* here */
            SLEEP_FOREVER
        }
    """,
    )

    where, text, *_ = message.splitlines()
    assert where.startswith(f"{bench.folder / 'main.c'}:4: the firmware does not compile: expected ';'")
    assert text.strip() == "port_leg(PORT_U, PORT_LOW) /* here */"


def test_an_error_in_a_header_names_the_header(bench: Bench) -> None:
    """Not the file that includes it."""
    message = error_of(bench, '#include "limits_of_it.h"\n' + PARTS["say.h"], limits_of_it__h="int x y;\n")

    assert message.startswith(f"{bench.folder / 'limits_of_it.h'}:1: the firmware does not compile: expected")


def test_a_missing_header_is_named(bench: Bench) -> None:
    """A fatal error is an error too."""
    message = error_of(bench, '#include "nowhere.h"\n')

    assert message.startswith(f"{bench.folder / 'main.c'}:1: the firmware does not compile:")
    assert "nowhere.h" in message


def test_firmware_without_main_is_refused(bench: Bench) -> None:
    """Perhaps `sources` leaves its file out."""
    assert error_of(bench, '#include "say.h"\n') == (
        f"{bench.folder}: the firmware has no main(); [firmware] sources must include it"
    )


def test_missing_handlers_are_named(bench: Bench) -> None:
    """drive_port.h asks for all of them."""
    message = error_of(bench, GOOD, handlers__c="void on_wrap(void);\nvoid on_wrap(void) {}\n")

    assert message.startswith(
        f"{bench.folder}: the firmware does not define on_comparator_edge, on_compare_a, on_compare_b, "
        "on_converter_done, on_throttle_edge; drive_port.h asks for main() and every handler"
    )


def test_a_handler_that_may_be_left_out_is_asked_for_once_its_interrupt_is_used(bench: Bench) -> None:
    """On the part such an interrupt would lead to address 0, and from there into the start-up code."""
    with pytest.raises(BuildError, match=r"does not define on_over_current;"):
        bench.image("""
            #include "say.h"
            int main(void) { port_over_current_interrupt(1); SLEEP_FOREVER }
        """)


def test_a_call_past_the_seam_is_named_with_its_file(bench: Bench) -> None:
    """An unknown function, and one of the host's C library, which the part has not or not alike."""
    message = error_of(
        bench, GOOD, wave__c="int sine(int);\nint wave(int x);\nint wave(int x) { return sine(x); }\n"
    )
    host = error_of(
        bench, GOOD, wave__c="int rand(void);\nint wave(void);\nint wave(void) { return rand(); }\n"
    )

    assert message.startswith(f"{bench.folder / 'wave.c'}:3: calls sine(), which neither the firmware nor")
    assert host.startswith(f"{bench.folder / 'wave.c'}:3: calls rand()")


@pytest.mark.parametrize(
    ("call", "declared", "instead"),
    [
        (
            "(kept = malloc(4)) != 0",
            "void *malloc(unsigned long); static void *volatile kept;",
            "the heap outlives a run",
        ),
        ("rand()", "int rand(void);", "the random generator's state outlives a run"),
        ("(int)time(0)", "long time(long *);", "use port_ticks()"),
        ('fopen("a", "r") != 0', "void *fopen(const char *, const char *);", "a file outlives a run"),
    ],
)
def test_state_that_the_rig_cannot_put_back_is_refused_with_its_line(
    bench: Bench, call: str, declared: str, instead: str
) -> None:
    """Heap, random generator, clock, files: the second run of one scenario would not be the first."""
    name = next(re.finditer(r"(\w+)\(", call))[1]
    body = f"int state(int x);\nint state(int x)\n{{\n    x += 3;\n    return x + ({call});\n}}\n"
    message = error_of(bench, GOOD, state__c=f"{declared}\n{body}")

    assert message.startswith(f"{bench.folder / 'state.c'}:6: calls {name}()")
    assert instead in message


def test_a_function_defined_twice_is_named(bench: Bench) -> None:
    """The linker's complaint, by name and without its own paths in front."""
    message = error_of(
        bench,
        GOOD,
        one__c="int twice(void);\nint twice(void) { return 1; }\n",
        two__c="int twice(void);\nint twice(void) { return 2; }\n",
    )

    assert message.startswith(f"{bench.folder}: twice is defined in one.c and in two.c")


def test_sources_that_match_nothing_are_refused(bench: Bench) -> None:
    """The pattern is shown: it is what must change."""
    bench.drive = replace(bench.drive, firmware=replace(bench.drive.firmware, sources=("src/*.c",)))

    assert "no file matches 'src/*.c'" in error_of(bench, GOOD)


def test_sources_without_c_files_are_refused(bench: Bench) -> None:
    """A header alone is no firmware."""
    bench.drive = replace(bench.drive, firmware=replace(bench.drive.firmware, sources=("*.h",)))

    assert "[firmware] sources names no .c file" in error_of(bench, GOOD)


@pytest.fixture
def forgetful() -> object:
    """The compiler is looked for anew, before and after."""
    find_compiler.cache_clear()
    yield
    find_compiler.cache_clear()


@pytest.mark.usefixtures("forgetful")
def test_a_machine_without_a_compiler_is_told_what_to_install(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """PATH leads nowhere, CC is not set, the wheel with a compiler is not installed."""
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.delenv("CC", raising=False)
    monkeypatch.setattr("dryspin.build.toolchain.find_spec", lambda name: None)

    message = error_of(bench, GOOD)
    assert message.startswith("no C compiler found (looked for gcc, cc, clang); install one, on Debian")


@pytest.mark.usefixtures("forgetful")
def test_a_cc_that_is_not_there_is_named(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever sets CC means it: no other compiler is taken instead."""
    monkeypatch.setenv("CC", "no-such-cc -m64")

    assert error_of(bench, GOOD).startswith("no C compiler found (looked for no-such-cc)")


@pytest.mark.usefixtures("forgetful")
def test_a_cc_that_fails_is_named(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """A program that is no compiler."""
    monkeypatch.setenv("CC", "false")

    assert error_of(bench, GOOD).startswith("no C compiler found (looked for false)")


def test_an_unwritable_cache_is_named(bench: Bench, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A file stands where the folder should be; permissions do not stop every user."""
    (tmp_path / "full").write_text("")
    monkeypatch.setenv("DRYSPIN_CACHE", str(tmp_path / "full"))

    message = error_of(bench, GOOD)
    assert message.startswith(f"{tmp_path / 'full'}")
    assert message.endswith("make it writable or name another folder in DRYSPIN_CACHE")


def test_the_cache_is_where_the_environment_says(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """DRYSPIN_CACHE first, then the desktop's convention (XDG base directory specification), then home."""
    monkeypatch.setenv("DRYSPIN_CACHE", str(tmp_path))
    assert cache_root() == tmp_path
    monkeypatch.delenv("DRYSPIN_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    assert cache_root() == tmp_path / "xdg" / "dryspin"
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert cache_root() == tmp_path / ".cache" / "dryspin"


def test_the_shipped_firmware_compiles_without_a_warning(tmp_path: Path) -> None:
    """An example is read more often than run."""
    compiler = find_compiler()
    include = Path(__file__).parents[2] / "harness" / "dryspin" / "port"
    for source in sorted(BOW_THRUSTER.glob("*.c")):
        options = ("-std=c11", "-Wall", "-Wextra", "-Werror", f"-I{include}", "-O1", "-c", "-o", "out.o")
        done = compiler.run([*options, str(source)], tmp_path)
        assert (done.returncode, done.stderr) == (0, "")
