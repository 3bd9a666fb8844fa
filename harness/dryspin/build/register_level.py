"""Firmware written for registers, in C, C++ or as a sketch, to the library it shares with part and core.

A source becomes assembly first: there every block gets the part's own hook, and loops without a body get one
at all. What the objects define decides the vector table and the start-up code, compiled beside them.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from dryspin.build import flags
from dryspin.build.cache import cached, digest_of
from dryspin.build.compiling import lay_out, macros_and_folders, object_name
from dryspin.build.complaints import first_complaint
from dryspin.build.foreign import explained
from dryspin.build.library import BRACKETS, PORT, core_key, core_objects, core_texts
from dryspin.build.seclusion import run_tool, seclude
from dryspin.build.sources import FirmwareText
from dryspin.build.toolchain import Compiler
from dryspin.drive import Drive
from dryspin.errors import BuildError
from dryspin.registers import (
    INCLUDE,
    SKETCH,
    Found,
    firmware_side_texts,
    glue_text,
    hooked,
    is_sketch,
    look_at,
    part_texts,
    sketch_source,
    translated,
    treatment_texts,
)
from dryspin.registers.needs import refuse_unknown

REPLACED = "controller"
"""Unit of the core that is compiled anew for the part, which takes the place of some of its files."""

_SKETCH_HEADER = re.compile(rb'^\s*#\s*include\s*[<"](?:sketch|Arduino)\.h[>"]', re.MULTILINE)


def register_options(drive: Drive, compiler: Compiler) -> list[str]:
    """Options for every source, language apart."""
    clock = [] if "F_CPU" in drive.firmware.defines else [f"-DF_CPU={round(drive.controller.f_cpu_hz)}UL"]
    return [
        *flags.REGISTER_FIRMWARE,
        compiler.firmware_level,
        *(flags.CLANG_REGISTERS if compiler.is_clang else flags.GCC_REGISTERS),
        *clock,
        *macros_and_folders(drive),
        # as the system's headers: a complaint about what one of their macros makes names the user's line
        *("-isystem", str(INCLUDE), "-isystem", str(SKETCH)),
        f"-I{PORT}",
    ]


def register_key(drive: Drive, compiler: Compiler) -> tuple[str, ...]:
    """What an image depends on besides the firmware's own files."""
    own = {"-isystem", str(INCLUDE), str(SKETCH), f"-I{PORT}"}
    options = [option for option in register_options(drive, compiler) if option not in own]
    texts = [
        f"{name}\n{text}"
        for name, text in {**part_texts(), **firmware_side_texts(), **treatment_texts()}.items()
    ]
    return (
        *core_key(compiler),
        " ".join(options),
        *flags.C_REGISTERS,
        *flags.CPP_REGISTERS,
        *flags.LINK,
        *texts,
    )


def staged(text: FirmwareText, firmware_dir: Path) -> tuple[dict[str, bytes], tuple[str, ...]]:
    """Files as the host's compiler is to see them, and the names of those to compile."""
    files: dict[str, bytes] = {}
    sources = []
    sketches = [name for name in text.sources if is_sketch(name)]
    if len(sketches) > 1:
        raise BuildError(
            f"{firmware_dir}: {' and '.join(sketches)}: a firmware has one sketch; name it in sources"
        )
    for name, raw in text.files.items():
        shown = translated(str(text.places.get(name, firmware_dir / name)), raw.decode("utf-8", "replace"))
        if is_sketch(name):
            shown = sketch_source(name, shown)
        files[_staged_name(name)] = shown.encode()
    for name in text.sources:
        sources.append(_staged_name(name))
    return files, tuple(sources)


def _staged_name(name: str) -> str:
    return f"{name}.cpp" if is_sketch(name) else name


def build_registers(
    drive: Drive,
    text: FirmwareText,
    compiler: Compiler,
    folder: Path,
    firmware_dir: Path,
    shown: Iterable[str] = (),
) -> None:
    """Make image.so in `folder`. Raises BuildError."""
    stage = folder / "src"
    files, sources = staged(text, firmware_dir)
    lay_out(files, stage)
    options = register_options(drive, compiler)

    def compile_one(name: str) -> tuple[str, str]:
        return name, _compile(compiler, options, name, stage, folder / object_name(name))

    with ThreadPoolExecutor(2) as pool:
        for name, complaint in pool.map(compile_one, sources):
            if complaint:
                what = first_complaint(complaint, firmware_dir, name, text.places)
                raise BuildError(explained(what))
    objects = [folder / object_name(name) for name in sources]
    named = list(
        zip(objects, (name.removesuffix(".cpp") if ".ino" in name else name for name in sources), strict=True)
    )
    if any(is_sketch(name) for name in text.sources) or any(map(_SKETCH_HEADER.search, files.values())):
        named += [(path, path.name) for path in _sketch_objects(compiler, options, folder)]
    _link(compiler, named, folder, firmware_dir, shown)
    for path, _ in named:
        path.unlink()


def _compile(compiler: Compiler, options: Sequence[str], name: str, stage: Path, target: Path) -> str:
    """One source into `target` by way of its assembly; what the compiler said if it failed, else ""."""
    language = flags.C_REGISTERS if name.endswith(".c") else flags.CPP_REGISTERS
    assembly = target.with_suffix(".s")
    done = compiler.run([*language, *options, "-S", name, "-o", str(assembly)], stage)
    if done.returncode != 0:
        return done.stderr or f"{compiler.command[0]} failed"
    text = assembly.read_text(encoding="utf-8", errors="surrogateescape")
    assembly.write_text(hooked(text), encoding="utf-8", errors="surrogateescape")
    done = compiler.run(["-c", str(assembly), "-o", str(target)], stage)
    assembly.unlink()
    return "" if done.returncode == 0 else done.stderr or f"{compiler.command[0]} failed"


def _sketch_objects(compiler: Compiler, options: Sequence[str], folder: Path) -> list[Path]:
    """The functions that sketches call, in a folder of their own: no line of theirs is the firmware's."""
    stage = folder / "sketch"
    texts = {
        name.removeprefix("sketch/"): text
        for name, text in firmware_side_texts().items()
        if name.startswith("sketch/")
    }
    lay_out({name: text.encode() for name, text in texts.items()}, stage)
    made = []
    for name in sorted(texts):
        if name.endswith(".cpp"):
            target = folder / f"sketch__{object_name(name)}"
            if complaint := _compile(compiler, options, name, stage, target):
                raise BuildError(
                    f"dryspin's own {name} does not compile: {complaint.strip().splitlines()[0]}"
                )
            made.append(target)
    return made


def _link(
    compiler: Compiler,
    named: Sequence[tuple[Path, str]],
    folder: Path,
    firmware_dir: Path,
    shown: Iterable[str],
) -> None:
    found = look_at(named, firmware_dir)
    refuse_unknown(named, firmware_dir)
    for path, _ in named:
        _prepare(path, found, firmware_dir)
    glue, glue_object = folder / "glue.c", folder / "glue.o"
    glue.write_text(glue_text(found), encoding="utf-8")
    done = compiler.run([*flags.CORE, "-c", str(glue), "-o", str(glue_object)], folder)
    if done.returncode != 0:
        raise BuildError(f"{firmware_dir}: the vector table could not be made: {done.stderr.strip()}")
    whole = folder / "firmware.whole"
    objects = [path for path, _ in named]
    seclude(
        [*objects, glue_object],
        ("fw_main", "dryspin_vectors", "dryspin_store_image", *shown),
        whole,
        firmware_dir,
    )
    core, part = core_objects(compiler), part_objects(compiler)
    bracket = [str(core / name.replace(".c", ".o")) for name in BRACKETS]
    rest = [
        str(path)
        for path in sorted(core.glob("*.o"))
        if path.stem != REPLACED and f"{path.stem}.c" not in BRACKETS
    ]
    order = [bracket[0], str(whole), bracket[1], *rest, *map(str, sorted(part.glob("*.o")))]
    done = compiler.run([*flags.LINK, *order, *flags.LIBRARIES, "-o", str(folder / "image.so")], folder)
    if done.returncode != 0:
        raise BuildError(first_complaint(done.stderr, firmware_dir, "linking"))
    whole.unlink()
    glue_object.unlink()


def _prepare(path: Path, found: Found, firmware_dir: Path) -> None:
    """main() and start-up functions get names that the glue can call; constructors wait for it, too."""
    visible = [f"--globalize-symbol={name}" for name in found.init_in.get(path, [])]
    run_tool(
        [
            "objcopy",
            "--redefine-sym",
            "main=dryspin_program",
            "--rename-section",
            ".init_array=dryspin_constructors,alloc,load,data",
            # the sanitizer's own constructor: it would run while the library is loaded, without a part
            "--remove-section=.init_array.*",
            "--remove-section=.rela.init_array.*",
            *visible,
            str(path),
        ],
        firmware_dir,
    )


def part_objects(compiler: Compiler) -> Path:
    """Folder of the part's object files. Raises BuildError."""

    def make(folder: Path) -> None:
        lay_out({name: text.encode() for name, text in part_texts().items()}, folder / "registers")
        lay_out({name: text.encode() for name, text in core_texts().items()}, folder / "core")
        stage = folder / "registers" / "part"
        where = ["-I../../core", "-I../include"]
        sources = [
            Path(name).name for name in part_texts() if name.startswith("part/") and name.endswith(".c")
        ]

        sources.append(f"../../core/{REPLACED}.c")

        def compile_one(source: str) -> tuple[str, str]:
            target = folder / f"part_{Path(source).stem}.o"
            defined = "-DDRYSPIN_PART"
            done = compiler.run(
                [*compiler.core_flags, defined, *where, "-c", source, "-o", str(target)], stage
            )
            return source, "" if done.returncode == 0 else done.stderr

        with ThreadPoolExecutor(2) as pool:
            for source, complaint in pool.map(compile_one, sources):
                if complaint:
                    raise BuildError(
                        f"{source} of dryspin's own part does not compile with {compiler.version}; "
                        f"use gcc 9 or clang 10, or later:\n{complaint.strip().splitlines()[0]}"
                    )

    texts = [f"{name}\n{text}" for name, text in part_texts().items()]
    return cached("part", digest_of((*core_key(compiler), *texts)), make)


def register_digest(
    drive: Drive, compiler: Compiler, files: Mapping[str, bytes], shown: Sequence[str] = ()
) -> str:
    """Hash of everything that goes into an image."""
    parts = (part for file in files.items() for part in file)
    return digest_of((*register_key(drive, compiler), *shown, *parts))
