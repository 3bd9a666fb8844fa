"""Firmware sources to an image: one library that holds firmware, controller and plant."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from dryspin.build import flags
from dryspin.build.cache import cached, digest_of
from dryspin.build.complaints import first_complaint
from dryspin.build.library import BRACKETS, PORT, core_key, core_objects
from dryspin.build.lines import LineTable
from dryspin.build.symbols import check_symbols
from dryspin.build.toolchain import Compiler, find_compiler
from dryspin.drive import Drive, overlaid_files
from dryspin.errors import BuildError, DriveError


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
    layers = drive.layers or (firmware_dir,)
    try:
        sources = overlaid_files(layers, drive.firmware.sources)
        headers = overlaid_files(layers, _header_patterns(drive, layers))
    except DriveError as problem:
        raise BuildError(str(problem)) from None
    sources = {name: path for name, path in sources.items() if name.endswith(".c")}
    if not sources:
        raise BuildError(
            f"{firmware_dir}: [firmware] sources names no .c file; correct it or add the sources"
        )
    defines = [
        f"-D{name}={value}" if value else f"-D{name}" for name, value in drive.firmware.defines.items()
    ]
    includes = [f"-I{folder}" for folder in drive.firmware.include]
    options = [*compiler.firmware_flags, *defines, *includes, f"-I{PORT}"]
    texts = {name: _read(path) for name, path in {**headers, **sources}.items()}
    digest = digest_of(
        (
            *core_key(compiler),
            " ".join([*compiler.firmware_flags, *defines, *includes, *flags.LINK]),
            *(part for name, text in sorted(texts.items()) for part in (name, text)),
        )
    )

    def make(folder: Path) -> None:
        _make(folder, compiler, texts, list(sources), options, firmware_dir)

    path = cached("image", digest, make) / "image.so"
    return Image(path, digest, compiler.version, tuple(sources))


def _header_patterns(drive: Drive, layers: tuple[Path, ...]) -> Iterator[str]:
    """Patterns of the include folders that match something: a folder without headers is no mistake."""
    for folder in drive.firmware.include:
        pattern = f"{folder}/*.h".removeprefix("./")
        if any(next(layer.glob(pattern), None) is not None for layer in layers):
            yield pattern


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as problem:
        raise BuildError(f"{path}: cannot be read ({problem.strerror})") from None


def _make(
    folder: Path,
    compiler: Compiler,
    texts: dict[str, bytes],
    sources: list[str],
    options: list[str],
    firmware_dir: Path,
) -> None:
    """Lay the sources out as the compiler is to see them (nearest layer wins, headers too), compile, link."""
    stage = folder / "src"
    for name, text in texts.items():
        (stage / name).parent.mkdir(parents=True, exist_ok=True)
        (stage / name).write_bytes(text)
    core = core_objects(compiler)

    def compile_one(name: str) -> tuple[str, str]:
        done = compiler.run([*options, "-c", name, "-o", str(folder / _object(name))], stage)
        return name, "" if done.returncode == 0 else done.stderr

    with ThreadPoolExecutor(2) as pool:
        for name, complaint in pool.map(compile_one, sources):
            if complaint:
                raise BuildError(first_complaint(complaint, firmware_dir, name))
    objects = [folder / _object(name) for name in sources]
    check_symbols(objects, firmware_dir)
    bracket = [str(core / name.replace(".c", ".o")) for name in BRACKETS]
    rest = [str(path) for path in sorted(core.glob("*.o")) if f"{path.stem}.c" not in BRACKETS]
    order = [bracket[0], *map(str, objects), bracket[1], *rest]
    done = compiler.run([*flags.LINK, *order, *flags.LIBRARIES, "-o", str(folder / "image.so")], folder)
    if done.returncode != 0:
        raise BuildError(first_complaint(done.stderr, firmware_dir, "linking"))
    for path in objects:
        path.unlink()


def _object(name: str) -> str:
    return name.replace("/", "__").removesuffix(".c") + ".o"
