"""The core's own sources: compiled once per compiler, loaded through cffi in ABI mode."""

import re
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path
from typing import Any

from cffi import FFI

from dryspin.build import flags
from dryspin.build.cache import cached, digest_of
from dryspin.build.toolchain import Compiler, find_compiler
from dryspin.errors import BuildError

PACKAGE = Path(__file__).resolve().parent.parent
CORE = PACKAGE / "core"
PORT = PACKAGE / "port"

WHOLE_PLANT = "plant.c"
"""One translation unit; it includes the plant's other sources, as controller.c does the controller's."""
BRACKETS = ("fw_begin.c", "fw_end.c")
"""Linked before and after the firmware's objects; they mark where its variables lie."""

_INCLUDED = re.compile(r'^#include "(\w+\.c)"$', re.MULTILINE)
_CDEF = re.compile(r"/\* cdef begin \*/(.*?)/\* cdef end \*/", re.DOTALL)


@cache
def core_declarations() -> FFI:
    """Declarations cut from the core's own headers, so that the two cannot drift apart."""
    ffi = FFI()
    for header in ("plant.h", "core.h"):
        for part in _CDEF.findall((CORE / header).read_text(encoding="utf-8")):
            ffi.cdef(part)
    return ffi


@cache
def core_texts() -> dict[str, str]:
    """The core's sources and headers by name. Read once: what is compiled is what was hashed."""
    files = [*sorted(CORE.glob("*.c")), *sorted(CORE.glob("*.h")), PORT / "drive_port.h"]
    return {path.name: path.read_text(encoding="utf-8") for path in files}


def core_key(compiler: Compiler) -> tuple[str, ...]:
    """What the core's objects depend on."""
    texts = [f"{name}\n{text}" for name, text in core_texts().items()]
    return (compiler.version, *compiler.command, " ".join(compiler.core_flags), *texts)


def core_objects(compiler: Compiler) -> Path:
    """Folder of the core's object files, one `.o` a source. Raises BuildError."""

    def make(folder: Path) -> None:
        stage = folder / "core"
        stage.mkdir()
        for name, text in core_texts().items():
            (stage / name).write_text(text, encoding="utf-8")

        def compile_one(source: str) -> tuple[str, str]:
            target = folder / source.replace(".c", ".o")
            done = compiler.run([*compiler.core_flags, "-c", source, "-o", str(target)], stage)
            return source, "" if done.returncode == 0 else done.stderr

        included = {name for text in core_texts().values() for name in _INCLUDED.findall(text)}
        sources = [name for name in core_texts() if name.endswith(".c") and name not in included]
        with ThreadPoolExecutor(2) as pool:
            for source, complaint in pool.map(compile_one, sources):
                if complaint:
                    raise BuildError(
                        f"{source} of dryspin's own core does not compile with {compiler.version}; "
                        f"use gcc 9 or clang 10, or later:\n{complaint.strip().splitlines()[0]}"
                    )

    return cached("core", digest_of(core_key(compiler)), make)


@cache
def plant_library() -> Any:
    """The compiled plant by itself, without controller and firmware: functions of plant.h."""
    compiler = find_compiler()
    objects = core_objects(compiler)

    def make(folder: Path) -> None:
        plant = str(objects / WHOLE_PLANT.replace(".c", ".o"))
        done = compiler.run([*flags.LINK, plant, *flags.LIBRARIES, "-o", "plant.so"], folder)
        if done.returncode != 0:
            raise BuildError(f"linking the plant failed with {compiler.version}:\n{done.stderr.strip()}")

    digest = digest_of((*core_key(compiler), " ".join(flags.LINK), "plant"))
    return core_declarations().dlopen(str(cached("plant", digest, make) / "plant.so"))
