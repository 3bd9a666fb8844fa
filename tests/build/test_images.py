"""Images: what goes into one, and when it is built anew."""

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from dryspin.build import build_image, compiling
from dryspin.build.cache import cache_root
from dryspin.build.library import core_objects
from dryspin.build.toolchain import find_compiler
from dryspin.drive import load_drive
from dryspin.errors import BuildError
from dryspin.recording import Signal
from dryspin.rig import Rig

from ..small_firmware import BOW_THRUSTER, PARTS, Bench, Told, scenario

GOOD = """
    #include "say.h"
    int main(void)
    {
        port_mark(20);
        SLEEP_FOREVER
    }
"""

CODE_H = "#define CODE {}\n"
SPEAKER_C = (
    '#include "say.h"\n#include "code.h"\nvoid speak(void);\nvoid speak(void) {{ port_mark(CODE); }}\n'
)
MAIN_C = """
#include "say.h"
#include "code.h"
void speak(void);
int main(void)
{
    port_mark(CODE);
    speak();
    SLEEP_FOREVER
}
"""


def firmware_folder(folder: Path, text: str, **files: str) -> Path:
    """A firmware directory with the bow thruster's drive and another [firmware] table."""
    sheet = (BOW_THRUSTER / "drive.toml").read_text().split("[firmware]")[1].split("\n\n", 1)[1]
    folder.mkdir()
    (folder / "drive.toml").write_text(f"[firmware]\n{text}\n\n{sheet}")
    for name, body in files.items():
        (folder / name.replace("__", ".")).write_text(body)
    return folder


@pytest.fixture
def base(tmp_path: Path) -> Path:
    """Two sources that include one header."""
    return firmware_folder(
        tmp_path / "base",
        'sources = ["*.c"]\ninclude = ["."]',
        main__c=MAIN_C,
        speaker__c=SPEAKER_C.format(),
        code__h=CODE_H.format(30),
        handlers__c=PARTS["handlers.c"],
        say__h=PARTS["say.h"],
    )


def marks_of(folder: Path) -> list[int]:
    """What the firmware of a folder says first."""
    drive = load_drive(folder)
    recording = Rig(build_image(drive, folder), drive).run(scenario(0.07))
    return [value for _, value in Told(recording).marks]


def test_an_overlay_changes_a_header_for_the_files_of_its_base_too(base: Path, tmp_path: Path) -> None:
    """`#include "..."` looks beside the including file first: the compiler must see one directory."""
    over = firmware_folder(tmp_path / "over", 'base = "../base"', code__h=CODE_H.format(40))

    assert marks_of(base) == [30, 30]
    assert marks_of(over) == [40, 40]


def test_an_overlay_changes_one_source_of_its_base(base: Path, tmp_path: Path) -> None:
    """The rest is the base's."""
    changed = SPEAKER_C.format().replace("CODE", "CODE + 1")
    over = firmware_folder(tmp_path / "over", 'base = "../base"', speaker__c=changed)

    assert marks_of(over) == [30, 31]


def test_an_error_in_a_file_of_the_base_names_the_base(base: Path, tmp_path: Path) -> None:
    """That is where it must be corrected, or where the overlay's header does not fit."""
    over = firmware_folder(tmp_path / "over", 'base = "../base"', code__h="#define CODE (\n")
    with pytest.raises(BuildError) as raised:
        marks_of(over)

    assert str(raised.value).startswith(f"{base / 'main.c'}:7: the firmware does not compile")


def test_defines_reach_every_source(bench: Bench) -> None:
    """With and without a value."""
    table = 'sources = ["*.c"]\ninclude = ["."]\ndefines = { CODE = "33", LOUD = "" }'
    folder = firmware_folder(
        bench.folder,
        table,
        main__c=MAIN_C.replace('#include "code.h"', ""),
        speaker__c=SPEAKER_C.format().replace('#include "code.h"', "#ifndef LOUD\n#error not loud\n#endif"),
        handlers__c=PARTS["handlers.c"],
        say__h=PARTS["say.h"],
    )

    assert marks_of(folder) == [33, 33]


def test_sources_may_lie_in_folders(bench: Bench) -> None:
    """Names stay apart, lines carry the folder."""
    table = 'sources = ["app/*.c", "*.c"]\ninclude = [".", "app"]'
    folder = firmware_folder(bench.folder, table, handlers__c=PARTS["handlers.c"], say__h=PARTS["say.h"])
    (folder / "app").mkdir()
    (folder / "app" / "handlers.c").write_text(MAIN_C)
    (folder / "app" / "code.h").write_text(CODE_H.format(35))
    (folder / "speaker.c").write_text(SPEAKER_C.format())
    drive = load_drive(folder)
    image = build_image(drive, folder)
    recording = Rig(image, drive).run(scenario(0.07))

    rows = [int(row) for row in recording.of(Signal.MARK)[2][1:]]
    assert [recording.line_of(row) for row in rows] == ["app/handlers.c:7", "speaker.c:4"]
    assert [image.function_of(int(recording.edges["pc"][row])) for row in rows] == ["main", "speak"]


def test_the_same_text_is_built_once(bench: Bench) -> None:
    """By content: another directory with the same text is the same image."""
    first = bench.image(GOOD)
    stamp = first.path.stat().st_mtime_ns
    bench.folder = bench.folder.parent / "elsewhere"
    second = bench.image(GOOD)

    assert (second.digest, second.path) == (first.digest, first.path)
    assert second.path.stat().st_mtime_ns == stamp


def test_any_change_is_another_image(bench: Bench) -> None:
    """Source, header, file name: whatever the compiler sees."""
    digests = {
        bench.image(GOOD).digest,
        bench.image(GOOD + "/* */\n").digest,
        bench.image(GOOD, say__h=PARTS["say.h"] + "/* */\n").digest,
        bench.image(GOOD, more__c="static int x;\nint y(void);\nint y(void) { return x; }\n").digest,
    }

    assert len(digests) == 4


def test_after_an_edit_one_file_is_compiled_and_after_a_header_all(
    base: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A header may reach any source; a source reaches only itself. Another macro reaches all as well."""
    core_objects(find_compiler())
    (tmp_path / "cache").mkdir()
    (tmp_path / "cache" / "core").symlink_to(cache_root().resolve() / "core")
    monkeypatch.setenv("DRYSPIN_CACHE", str(tmp_path / "cache"))
    compiled: list[str] = []
    compile_one = compiling.compile_source

    def listening(compiler: Any, options: Any, name: str, stage: Path, target: Path) -> str:
        compiled.append(name)
        return compile_one(compiler, options, name, stage, target)

    monkeypatch.setattr(compiling, "compile_source", listening)
    rounds = []
    for file, more in (
        ("", ""),
        ("speaker.c", "/* edited once more here */\n"),
        ("code.h", "#define MORE 1\n"),
    ):
        if file:
            (base / file).write_text((base / file).read_text() + more)
        compiled.clear()
        build_image(load_drive(base), base)
        rounds.append(sorted(compiled))

    assert {"main.c", "speaker.c"} <= set(rounds[0])
    assert rounds[1:] == [["speaker.c"], rounds[0]]


def test_an_interrupted_build_leaves_nothing_behind(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A failed build is not taken for a finished one, and leaves no folder."""
    monkeypatch.setenv("DRYSPIN_CACHE", str(tmp_path / "cache"))
    for _ in range(2):
        with pytest.raises(BuildError):
            bench.image("int main(void) { return x; }\n")

    assert list((tmp_path / "cache" / "image").iterdir()) == []


def test_two_processes_may_build_the_same_image_at_once(bench: Bench, tmp_path: Path) -> None:
    """Each builds in a folder of its own; the first to finish is kept, the other takes it."""
    bench.image(GOOD)
    folder = firmware_folder(
        tmp_path / "both",
        'sources = ["*.c"]\ninclude = ["."]',
        **{name.replace(".", "__"): body for name, body in bench.sources.items()},
    )
    script = f"""
from pathlib import Path
from dryspin.build import build_image
from dryspin.drive import load_drive
print(build_image(load_drive(Path({str(folder)!r})), Path({str(folder)!r})).path)
"""
    cache = tmp_path / "cache"
    both = [
        subprocess.Popen(
            [sys.executable, "-c", script],
            env={"PATH": "/usr/bin:/bin", "DRYSPIN_CACHE": str(cache)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    answers = [process.communicate(timeout=600) for process in both]

    assert [process.returncode for process in both] == [0, 0], answers
    assert answers[0][0] == answers[1][0]
    assert len(list((cache / "image").iterdir())) == 1
    assert len(list((cache / "core").iterdir())) == 1


@pytest.mark.parametrize("name", ["config", "record", "plant", "core_run", "timer_create", "malloc", "floor"])
def test_a_firmware_may_use_any_name_of_the_rig_or_the_c_library(bench: Bench, name: str) -> None:
    """They share one library; unchecked, `timer_create` of the firmware would be called by the rig."""
    rig = bench.rig(f"""
        #include "say.h"
        int {name}(int x);
        __attribute__((noinline)) int {name}(int x) {{ port_mark((uint8_t)x); return x; }}
        int main(void)
        {{
            {name}(20);
            port_compare_a({name}(21));
            SLEEP_FOREVER
        }}
    """)
    recording = rig.run(scenario(0.1))

    assert [value for _, value in Told(recording).marks] == [20, 21]
    assert recording.line_of(int(recording.of(Signal.MARK)[2][1])) == "main.c:3"
    assert rig.image.function_of(int(recording.edges["pc"][recording.of(Signal.MARK)[2][1]])) == name


def test_files_of_a_firmware_share_their_names(bench: Bench) -> None:
    """External names join its files as ever, variables with and without a value included."""
    recording = Rig(
        bench.image(
            """
            #include "say.h"
            extern uint8_t config, record;
            extern uint8_t *const plant;
            int main(void)
            {
                port_mark(config);
                record = 30;
                port_mark(*plant);
                SLEEP_FOREVER
            }
        """,
            more__c="""
            #include <stdint.h>
            extern uint8_t config, record;
            extern uint8_t *const plant;
            uint8_t config = 25, record;
            uint8_t *const plant = &record;
        """,
        ),
        bench.drive,
    ).run(scenario(0.1))

    assert [value for _, value in Told(recording).marks] == [25, 30]
