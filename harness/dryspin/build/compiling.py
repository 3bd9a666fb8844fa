"""Sources to objects, objects to the library that firmware and core share: the steps of a build."""

import shutil
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

from dryspin.build import flags, narrow
from dryspin.build.cache import cached, digest_of
from dryspin.build.complaints import first_complaint
from dryspin.build.foreign import behind_the_seam
from dryspin.build.library import BRACKETS, PORT, core_objects, core_texts
from dryspin.build.narrow import compile_narrow
from dryspin.build.seclusion import seclude
from dryspin.build.sources import FirmwareText
from dryspin.build.symbols import MAIN, check_symbols, seam
from dryspin.build.toolchain import Compiler, find_compiler
from dryspin.drive import Drive
from dryspin.errors import BuildError


def macros_and_folders(drive: Drive) -> list[str]:
    """Compiler options for the drive's macros and include folders, relative to the laid-out sources."""
    defines = [
        f"-D{name}={value}" if value else f"-D{name}" for name, value in drive.firmware.defines.items()
    ]
    return [*defines, *(f"-I{folder}" for folder in drive.firmware.include)]


def compile_options(drive: Drive, compiler: Compiler) -> list[str]:
    """All options with which a source of the firmware is compiled."""
    if drive.controller.by_object_code:
        # blocks as the source has them, so that the part's cycles find theirs
        compiler = replace(compiler, firmware_level="-O0")
    own = () if compiler.narrow else compiler.firmware_flags
    return [*own, *macros_and_folders(drive), f"-I{PORT}"]


def lay_out(files: Mapping[str, bytes], stage: Path) -> None:
    """Write the files as the compiler is to see them: nearest layer wins, headers too."""
    for name, content in files.items():
        (stage / name).parent.mkdir(parents=True, exist_ok=True)
        (stage / name).write_bytes(content)


def compile_sources(
    compiler: Compiler, options: Sequence[str], text: FirmwareText, stage: Path, firmware_dir: Path
) -> list[Path]:
    """Objects of `text.sources`, laid out in `stage`, beside it. Raises BuildError.

    Each is kept by what went into it, all headers included: after an edit one file is compiled.
    """
    shared = [
        *(compiler.version, *compiler.command, *anywhere(options)),
        *((narrow.KEY, *narrow.FRONT, *narrow.BACK) if compiler.narrow else ()),
        core_texts()["drive_port.h"],
        *(
            part
            for name, content in text.files.items()
            if name not in text.sources
            for part in (name, content)
        ),
    ]

    def compile_one(name: str) -> Path:
        def make(folder: Path) -> None:
            if complaint := compile_source(compiler, options, name, stage, folder / "object.o"):
                raise BuildError(behind_the_seam(first_complaint(complaint, firmware_dir, name, text.places)))

        kept = cached("object", digest_of([*shared, name, text.files[name]]), make)
        return Path(shutil.copy(kept / "object.o", stage.parent / object_name(name)))

    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(compile_one, text.sources))


def anywhere(options: Sequence[str]) -> list[str]:
    """Options without the seam's own folder, which differs from machine to machine; its text counts."""
    return [option for option in options if option != f"-I{PORT}"]


def compile_source(compiler: Compiler, options: Sequence[str], name: str, stage: Path, target: Path) -> str:
    """Compile one source into `target`; what the compiler said, if it failed, else ""."""
    if compiler.narrow:
        return compile_narrow(compiler, tuple(options), name, stage, target)
    done = compiler.run([*options, "-c", name, "-o", str(target)], stage)
    return "" if done.returncode == 0 else done.stderr or f"{compiler.command[0]} failed"


def link_image(
    compiler: Compiler,
    objects: Sequence[Path],
    folder: Path,
    firmware_dir: Path,
    shown: Iterable[str] = (),
) -> Path:
    """Join the firmware's objects with the core's into `folder`/image.so. Raises BuildError.

    shown: names of the firmware to be found in the library, besides those that the core calls.
    """
    core = core_objects(core_compiler(compiler))
    check_symbols(list(objects), firmware_dir)
    whole = folder / "=whole.o"
    seclude(objects, (MAIN, *seam()[1], *shown), whole, firmware_dir, checked=compiler.checked)
    bracket = [str(core / name.replace(".c", ".o")) for name in BRACKETS]
    rest = [str(path) for path in sorted(core.glob("*.o")) if f"{path.stem}.c" not in BRACKETS]
    order = [bracket[0], str(whole), bracket[1], *rest]
    image = folder / "image.so"
    done = compiler.run([*flags.LINK, *order, *flags.LIBRARIES, "-o", str(image)], folder)
    if done.returncode != 0:
        raise BuildError(first_complaint(done.stderr, firmware_dir, "linking"))
    whole.unlink()
    return image


def core_compiler(compiler: Compiler) -> Compiler:
    """Who compiles the core beside this firmware: with the part's integers, or to be compared with that,
    whoever does for the others."""
    return find_compiler() if compiler.narrow or compiler.same_blocks else compiler


def object_name(source: str) -> str:
    """The object of a source, in one folder for all of them."""
    return source.replace("/", "__").removesuffix(".c") + ".o"
