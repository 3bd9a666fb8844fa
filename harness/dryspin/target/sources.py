"""What the part's own compiler is given of a firmware: files, the names of those to compile, options.

Firmware written for registers meets that compiler's headers, and waits of a counted length are left out: the
rig lets them pass itself.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from dryspin.build.compiling import lay_out, macros_and_folders
from dryspin.build.library import PORT
from dryspin.build.register_level import clock_option, staged, staged_name
from dryspin.build.sources import FirmwareText
from dryspin.drive import Drive
from dryspin.registers import INCLUDE, SKETCH, firmware_side_texts, is_sketch, sketch_source

SEAM = ("-std=c11",)
C = ("-std=gnu11",)
CPP = ("-x", "c++", "-std=gnu++17", "-fno-exceptions", "-fno-rtti", "-fno-threadsafe-statics")

SKETCH_FOLDER = "sketch"
"""Where the functions that sketches call are laid out: their lines are told by it."""

SKETCH_SOURCES = ("functions.cpp", "serial.cpp")
NO_WAIT = "-Ddryspin_delay(cycles)=((void)(cycles))"

_WAIT = re.compile(rb"\b__builtin_avr_delay_cycles\b")


@dataclass(frozen=True)
class Given:
    """`options` are those of every source, language apart."""

    files: Mapping[str, bytes]
    sources: Sequence[str]
    options: Sequence[str]


def given_to_part(drive: Drive, text: FirmwareText, own_headers: bool = True) -> Given:
    """For the part's compiler. own_headers: it comes with the part's headers; else the rig's serve."""
    options = macros_and_folders(drive)
    if drive.pins is None:
        return Given(text.files, text.sources, [*options, f"-I{PORT}"])
    options += [*clock_option(drive), f"-I{PORT}"]
    if not own_headers:
        files, sources = staged(text, Path())
        # not -isystem: clang's front end takes system headers of the part for C
        return Given(files, sources, [*options, f"-I{INCLUDE}", f"-I{SKETCH}"])
    shown = {
        staged_name(name): sketch_source(name, raw.decode("utf-8", "replace")).encode()
        if is_sketch(name)
        else raw
        for name, raw in text.files.items()
    }
    return Given(shown, [staged_name(name) for name in text.sources], [*options, f"-I{SKETCH}"])


def without_waits(given: Given) -> Given:
    """The same with the compiler's own counted wait as nothing; that of avr-libc has lines of its own."""
    files = {name: _WAIT.sub(b"dryspin_delay", raw) for name, raw in given.files.items()}
    return Given(files, given.sources, [*given.options, NO_WAIT])


def language(drive: Drive, name: str) -> Sequence[str]:
    """Options that say in which language a source is written."""
    if drive.pins is None:
        return SEAM
    return C if name.endswith(".c") else CPP


def lay_out_sketch(folder: Path) -> Path:
    """Write the functions that sketches call below `folder`; where."""
    stage = folder / SKETCH_FOLDER
    texts = firmware_side_texts().items()
    lay_out({name.partition("/")[2]: text.encode() for name, text in texts if "sketch/" in name}, stage)
    return stage
