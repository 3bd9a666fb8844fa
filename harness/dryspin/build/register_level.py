"""Firmware written for registers, in C, C++ or as a sketch, to the library it shares with part and core.

A source becomes assembly first: there every block gets the part's own hook, and loops without a body get one
at all. What the objects define decides the vector table and the start-up code, compiled beside them.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

from dryspin.build import flags
from dryspin.build.cache import cached, digest_of
from dryspin.build.compiling import core_compiler, lay_out, macros_and_folders, object_name
from dryspin.build.complaints import first_complaint
from dryspin.build.foreign import explained
from dryspin.build.library import BRACKETS, PORT, core_key, core_objects, core_texts
from dryspin.build.narrow_registers import assembly_of, front_flags, key_of
from dryspin.build.seclusion import SECLUDING, run_tool, seclude
from dryspin.build.sources import FirmwareText
from dryspin.build.symbols import line_of_use
from dryspin.build.toolchain import Compiler
from dryspin.drive import Drive
from dryspin.errors import BuildError
from dryspin.registers import (
    INCLUDE,
    SKETCH,
    Found,
    firmware_side_texts,
    free_of_checks,
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

FIRST_LINE = "\n#line 1\n"
"""Where a source begins that has got declarations in front of it."""

_SKETCH_HEADER = re.compile(rb'^\s*#\s*include\s*[<"](?:sketch|Arduino)\.h[>"]', re.MULTILINE)


def register_options(drive: Drive, compiler: Compiler) -> list[str]:
    """Options for every source, language apart."""
    if drive.controller.by_object_code:
        # blocks as the source has them, so that the part's cycles find theirs
        compiler = replace(compiler, firmware_level="-O0")
    return [
        *(front_flags(compiler) if compiler.same_blocks else compiler.register_flags),
        *clock_option(drive),
        *macros_and_folders(drive),
        # as the system's headers: a complaint about what one of their macros makes names the user's line
        *("-isystem", str(INCLUDE), "-isystem", str(SKETCH)),
        f"-I{PORT}",
    ]


def clock_option(drive: Drive) -> list[str]:
    """F_CPU, where the drive does not define it."""
    return [] if "F_CPU" in drive.firmware.defines else [f"-DF_CPU={round(drive.controller.f_cpu_hz)}UL"]


def needs_sketch(text: FirmwareText) -> bool:
    """Whether the sources call functions of sketches: one of them is a sketch, or includes their header."""
    return any(map(is_sketch, text.sources)) or any(map(_SKETCH_HEADER.search, text.files.values()))


def register_key(drive: Drive, compiler: Compiler) -> tuple[str, ...]:
    """What an image depends on besides the firmware's own files."""
    own = {"-isystem", str(INCLUDE), str(SKETCH), f"-I{PORT}"}
    options = [option for option in register_options(drive, compiler) if option not in own]
    texts = [
        f"{name}\n{text}"
        for name, text in {**part_texts(), **firmware_side_texts(), **treatment_texts()}.items()
    ]
    return (
        *core_key(core_compiler(compiler)),
        " ".join(options),
        *key_of(compiler),
        *flags.C_REGISTERS,
        *flags.CPP_REGISTERS,
        *flags.LINK,
        *SECLUDING,
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
            # what a workshop puts in front, up to its #line 1, counts no line of the sketch
            front, mark, rest = shown.partition(FIRST_LINE)
            shown = f"{front}\n{sketch_source(name, rest)}" if mark else sketch_source(name, shown)
        files[staged_name(name)] = shown.encode()
    for name in text.sources:
        sources.append(staged_name(name))
    return files, tuple(sources)


def staged_name(name: str) -> str:
    """What a source is called for the compiler."""
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
    objects = register_objects(drive, text, compiler, folder, firmware_dir)
    link_registers(compiler, objects, folder, firmware_dir, shown)
    for path, _ in objects:
        path.unlink()


def register_objects(
    drive: Drive, text: FirmwareText, compiler: Compiler, folder: Path, firmware_dir: Path
) -> list[tuple[Path, str]]:
    """(object, its source's name) in `folder`, those of the functions that sketches call last.

    Raises BuildError.
    """
    stage = folder / "src"
    files, sources = staged(text, firmware_dir)
    lay_out(files, stage)
    options = register_options(drive, compiler)

    def compile_one(name: str) -> tuple[str, str]:
        return name, compile_register_source(compiler, options, name, stage, folder / object_name(name))

    with ThreadPoolExecutor(2) as pool:
        for name, complaint in pool.map(compile_one, sources):
            if complaint:
                what = first_complaint(complaint, firmware_dir, name, text.places)
                raise BuildError(explained(what))
    objects = [folder / object_name(name) for name in sources]
    named = list(
        zip(objects, (name.removesuffix(".cpp") if ".ino" in name else name for name in sources), strict=True)
    )
    if needs_sketch(text):
        named += [(path, path.name) for path in _sketch_objects(compiler, options, folder)]
    return named


def compile_register_source(
    compiler: Compiler, options: Sequence[str], name: str, stage: Path, target: Path
) -> str:
    """One source into `target` by way of its assembly; what the compiler said if it failed, else ""."""
    language = flags.C_REGISTERS if name.endswith(".c") else flags.CPP_REGISTERS
    assembly = target.with_suffix(".s")
    if compiler.same_blocks:
        complaint = assembly_of(compiler, [*language, *options], name, stage, assembly)
    else:
        done = compiler.run([*language, *options, "-S", name, "-o", str(assembly)], stage)
        complaint = "" if done.returncode == 0 else done.stderr or f"{compiler.command[0]} failed"
    if complaint:
        return complaint
    text = assembly.read_text(encoding="utf-8", errors="surrogateescape")
    if compiler.checked or compiler.same_blocks:
        text = free_of_checks(text)
    assembly.write_text(hooked(text), encoding="utf-8", errors="surrogateescape")
    done = compiler.run(["-c", str(assembly), "-o", str(target)], stage)
    assembly.unlink()
    return "" if done.returncode == 0 else done.stderr or f"{compiler.command[0]} failed"


def assemblies(
    drive: Drive, text: FirmwareText, compiler: Compiler, folder: Path, firmware_dir: Path
) -> list[Path]:
    """Assembly of each source as the compiler makes it, in `folder`. Raises BuildError."""
    stage = folder / "src"
    files, sources = staged(text, firmware_dir)
    lay_out(files, stage)
    made = []
    for name in sources:
        target = (folder / object_name(name)).with_suffix(".s")
        language = flags.C_REGISTERS if name.endswith(".c") else flags.CPP_REGISTERS
        options = [*language, *register_options(drive, compiler), "-S", name, "-o", str(target)]
        done = compiler.run(options, stage)
        if done.returncode != 0:
            raise BuildError(explained(first_complaint(done.stderr, firmware_dir, name, text.places)))
        made.append(target)
    return made


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
            if complaint := compile_register_source(compiler, options, name, stage, target):
                raise BuildError(
                    f"dryspin's own {name} does not compile: {complaint.strip().splitlines()[0]}"
                )
            made.append(target)
    return made


def link_registers(
    compiler: Compiler,
    named: Sequence[tuple[Path, str]],
    folder: Path,
    firmware_dir: Path,
    shown: Iterable[str] = (),
) -> None:
    """Join objects, which are changed for it, with part and core: `folder`/image.so. Raises BuildError."""
    found = look_at(named, firmware_dir)
    refuse_unknown(named, firmware_dir, line_of_use)
    for path, _ in named:
        _prepare(path, found, firmware_dir)
    glue, glue_object = folder / "glue.c", folder / "glue.o"
    glue.write_text(glue_text(found), encoding="utf-8")
    done = compiler.run([*flags.CORE, "-c", str(glue), "-o", str(glue_object)], folder)
    if done.returncode != 0:
        raise BuildError(f"{firmware_dir}: the vector table could not be made: {done.stderr.strip()}")
    whole = folder / "=whole.o"
    objects = [path for path, _ in named]
    kept = ("fw_main", "dryspin_vectors", "dryspin_store_image", *shown)
    seclude([*objects, glue_object], kept, whole, firmware_dir, checked=compiler.checked)
    core, part = core_objects(core_compiler(compiler)), part_objects(core_compiler(compiler))
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
