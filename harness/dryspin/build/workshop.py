"""One firmware built many times, with one source changed each time: the other objects are kept."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from dryspin.build import flags
from dryspin.build.compiling import (
    compile_options,
    compile_source,
    compile_sources,
    lay_out,
    link_image,
    macros_and_folders,
    object_name,
)
from dryspin.build.image import Image, image_digest
from dryspin.build.library import PORT
from dryspin.build.sources import FirmwareText, firmware_text
from dryspin.build.toolchain import Compiler, find_compiler
from dryspin.drive import Drive
from dryspin.errors import BuildError


class Workshop:
    """The firmware of `drive` in `firmware_dir`, compiled once into `folder`, which the caller owns.

    `text` holds its files as the compiler sees them. Raises BuildError.
    """

    def __init__(
        self, drive: Drive, firmware_dir: Path, folder: Path, compiler: Compiler | None = None
    ) -> None:
        self._compiler = compiler or find_compiler()
        self._firmware_dir, self.folder = firmware_dir, folder
        self._options = compile_options(drive, self._compiler)
        self._machine_options = (
            *flags.LANGUAGE,
            "-w",
            "-O2",
            "-S",
            *macros_and_folders(drive),
            f"-I{PORT}",
        )
        self.text: FirmwareText = firmware_text(drive, firmware_dir)
        stage = folder / "src"
        lay_out(self.text.files, stage)
        self._objects = dict(
            zip(
                self.text.sources,
                compile_sources(self._compiler, self._options, self.text, stage, firmware_dir),
                strict=True,
            )
        )

    def machine_code(self, name: str, content: bytes, place: Path) -> str | None:
        """Assembly of source `name` with that content at -O2; None if it does not compile.

        Without debug lines, so two texts with the same assembly have the same object code. `place`: a
        new folder to work in.
        """
        stage = self._changed(name, content, place)
        target = place / "machine.s"
        done = self._compiler.run([*self._machine_options, name, "-o", str(target)], stage)
        return target.read_text(encoding="utf-8", errors="replace") if done.returncode == 0 else None

    def image_with(self, name: str, content: bytes, place: Path) -> Image:
        """The image with source `name` of that content, built in the new folder `place`.

        Raises BuildError.
        """
        stage = self._changed(name, content, place)
        target = place / object_name(name)
        if complaint := compile_source(self._compiler, self._options, name, stage, target):
            raise BuildError(complaint)
        objects = [target if each == name else path for each, path in self._objects.items()]
        path = link_image(self._compiler, objects, place, self._firmware_dir)
        digest = image_digest(self._compiler, self._options, self._files_with(name, content))
        changed = replace(self.text, files=dict(self._files_with(name, content)))
        return Image(path, digest, self._compiler.version, changed.sources, changed)

    def whole_image(self, files: Mapping[str, bytes], place: Path, shown: Sequence[str]) -> Image:
        """The image with all of these sources in place of the firmware's, or besides, and names `shown`.

        Raises BuildError.
        """
        text = replace(
            self.text,
            files={**self.text.files, **files},
            sources=(*self.text.sources, *(name for name in files if name not in self.text.sources)),
        )
        stage = place / "src"
        lay_out(text.files, stage)
        objects = compile_sources(self._compiler, self._options, text, stage, self._firmware_dir)
        path = link_image(self._compiler, objects, place, self._firmware_dir, shown)
        digest = image_digest(self._compiler, self._options, text.files, shown)
        return Image(path, digest, self._compiler.version, text.sources, text)

    def _changed(self, name: str, content: bytes, place: Path) -> Path:
        stage = place / "src"
        lay_out(self._files_with(name, content), stage)
        return stage

    def _files_with(self, name: str, content: bytes) -> Mapping[str, bytes]:
        return self.text.files | {name: content}
