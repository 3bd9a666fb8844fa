"""Firmware sources to an image: one library that holds firmware, controller and plant."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from dryspin.build import flags
from dryspin.build.cache import cached, digest_of
from dryspin.build.complaints import first_complaint
from dryspin.build.library import BRACKETS, PORT, core_key, core_objects
from dryspin.build.lines import LineTable
from dryspin.build.seclusion import SECLUDING, seclude
from dryspin.build.sources import FirmwareText, firmware_text
from dryspin.build.symbols import MAIN, check_symbols, seam
from dryspin.build.toolchain import Compiler, find_compiler
from dryspin.drive import Drive
from dryspin.errors import BuildError


@dataclass(frozen=True)
class Image:
    """A built firmware: the library's path and the hash of everything that went into it."""

    path: Path
    digest: str
    compiler: str
    sources: tuple[str, ...] = field(repr=False)

    @cached_property
    def _lines(self) -> LineTable:
        return LineTable(self.path)

    def line_of(self, pc: int) -> str:
        """ "file.c:88" of the call that returns to `pc`, or "" outside the firmware's sources."""
        return self._lines.line_of(pc)

    def function_of(self, pc: int) -> str:
        """Name of the function that holds `pc`, or ""."""
        return self._lines.function_of(pc)


def build_image(drive: Drive, firmware_dir: Path, *, compiler: Compiler | None = None) -> Image:
    """Compile the firmware of `drive` in `firmware_dir` and link it with the core.

    compiler: instead of the one that `find_compiler` finds. Cached by content: sources, headers,
    flags, compiler. Raises BuildError with the compiler's first error and its source line, or with
    what main program or handler is missing.
    """
    compiler = compiler or find_compiler()
    text = firmware_text(drive, firmware_dir)
    defines = [
        f"-D{name}={value}" if value else f"-D{name}" for name, value in drive.firmware.defines.items()
    ]
    includes = [f"-I{folder}" for folder in drive.firmware.include]
    options = [*compiler.firmware_flags, *defines, *includes, f"-I{PORT}"]
    digest = digest_of(
        (
            *core_key(compiler),
            " ".join([*compiler.firmware_flags, *defines, *includes, *flags.LINK, *SECLUDING]),
            *(part for file in text.files.items() for part in file),
        )
    )

    def make(folder: Path) -> None:
        _make(folder, compiler, text, options, firmware_dir)

    path = cached("image", digest, make) / "image.so"
    return Image(path, digest, compiler.version, text.sources)


def _make(
    folder: Path,
    compiler: Compiler,
    text: FirmwareText,
    options: list[str],
    firmware_dir: Path,
) -> None:
    """Lay the sources out as the compiler is to see them (nearest layer wins, headers too), compile, link."""
    stage = folder / "src"
    for name, content in text.files.items():
        (stage / name).parent.mkdir(parents=True, exist_ok=True)
        (stage / name).write_bytes(content)
    core = core_objects(compiler)

    def compile_one(name: str) -> tuple[str, str]:
        done = compiler.run([*options, "-c", name, "-o", str(folder / _object(name))], stage)
        return name, "" if done.returncode == 0 else done.stderr

    with ThreadPoolExecutor(2) as pool:
        for name, complaint in pool.map(compile_one, text.sources):
            if complaint:
                raise BuildError(first_complaint(complaint, firmware_dir, name, text.places))
    objects = [folder / _object(name) for name in text.sources]
    check_symbols(objects, firmware_dir)
    whole = folder / "firmware.whole"
    seclude(objects, (MAIN, *seam()[1]), whole, firmware_dir)
    bracket = [str(core / name.replace(".c", ".o")) for name in BRACKETS]
    rest = [str(path) for path in sorted(core.glob("*.o")) if f"{path.stem}.c" not in BRACKETS]
    order = [bracket[0], str(whole), bracket[1], *rest]
    done = compiler.run([*flags.LINK, *order, *flags.LIBRARIES, "-o", str(folder / "image.so")], folder)
    if done.returncode != 0:
        raise BuildError(first_complaint(done.stderr, firmware_dir, "linking"))
    for path in (*objects, whole):
        path.unlink()


def _object(name: str) -> str:
    return name.replace("/", "__").removesuffix(".c") + ".o"
