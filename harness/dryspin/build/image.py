"""Firmware sources to an image: one library that holds firmware, controller and plant."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

from dryspin.build import flags, narrow
from dryspin.build.cache import cached, digest_of
from dryspin.build.compiling import (
    anywhere,
    compile_options,
    compile_sources,
    core_compiler,
    lay_out,
    link_image,
)
from dryspin.build.library import core_key
from dryspin.build.lines import LineTable
from dryspin.build.register_level import build_registers, register_digest
from dryspin.build.seclusion import SECLUDING
from dryspin.build.sources import FirmwareText, firmware_text
from dryspin.build.toolchain import Compiler, find_compiler
from dryspin.drive import Drive


@dataclass(frozen=True)
class Image:
    """A built firmware: the library's path and the hash of everything that went into it.

    `text`: what was compiled, where it is at hand.
    """

    path: Path
    digest: str
    compiler: str
    sources: tuple[str, ...] = field(repr=False)
    text: FirmwareText | None = field(default=None, repr=False, compare=False)

    @cached_property
    def _lines(self) -> LineTable:
        return LineTable(self.path)

    def line_of(self, pc: int) -> str:
        """ "file.c:88" of the call that returns to `pc`, or "" outside the firmware's sources."""
        return self._lines.line_of(pc)

    def function_of(self, pc: int) -> str:
        """Name of the function that holds `pc`, or ""."""
        return self._lines.function_of(pc)


def build_image(
    drive: Drive,
    firmware_dir: Path,
    *,
    compiler: Compiler | None = None,
    more: Mapping[str, str] | None = None,
    shown: Sequence[str] = (),
) -> Image:
    """Compile the firmware of `drive` in `firmware_dir` and link it with the core.

    compiler: instead of the one that `find_compiler` finds. more: further sources, name to text,
    compiled with the firmware's; shown: names defined there that are to be found in the library.
    Cached by content: sources, headers, flags, compiler. Raises BuildError with the compiler's first
    error and its source line, or with what main program or handler is missing.
    """
    compiler = compiler or find_compiler()
    text = _with_more(firmware_text(drive, firmware_dir), more or {})
    if drive.pins is not None:
        digest = register_digest(drive, compiler, text.files, shown)

        def make_registers(folder: Path) -> None:
            build_registers(drive, text, compiler, folder, firmware_dir, shown)

        path = cached("image", digest, make_registers) / "image.so"
        return Image(path, digest, compiler.version, text.sources, text)
    options = compile_options(drive, compiler)
    digest = image_digest(compiler, options, text.files, shown)

    def make(folder: Path) -> None:
        stage = folder / "src"
        lay_out(text.files, stage)
        objects = compile_sources(compiler, options, text, stage, firmware_dir)
        link_image(compiler, objects, folder, firmware_dir, shown)
        for path in objects:
            path.unlink()

    path = cached("image", digest, make) / "image.so"
    return Image(path, digest, compiler.version, text.sources, text)


def image_digest(
    compiler: Compiler, options: Sequence[str], files: Mapping[str, bytes], shown: Sequence[str] = ()
) -> str:
    """Hash of everything that goes into an image."""
    return digest_of(
        (
            *core_key(core_compiler(compiler)),
            " ".join([*anywhere(options), *flags.LINK, *SECLUDING, *shown, *_narrowing(compiler)]),
            *(part for file in files.items() for part in file),
        )
    )


def _narrowing(compiler: Compiler) -> tuple[str, ...]:
    return (narrow.KEY, compiler.version, *narrow.FRONT, *narrow.BACK) if compiler.narrow else ()


def _with_more(text: FirmwareText, more: Mapping[str, str]) -> FirmwareText:
    files = text.files | {name: content.encode() for name, content in more.items()}
    return replace(text, files=files, sources=(*text.sources, *more))
