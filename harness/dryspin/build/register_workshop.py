"""One firmware written for registers, built many times, with one source changed each time."""

import shutil
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from dryspin.build import flags
from dryspin.build.compiling import lay_out, object_name
from dryspin.build.image import Image
from dryspin.build.register_level import (
    compile_register_source,
    link_registers,
    register_digest,
    register_objects,
    register_options,
    staged,
    staged_name,
)
from dryspin.build.sources import firmware_text
from dryspin.build.toolchain import Compiler, find_compiler
from dryspin.build.workshop import Workshop
from dryspin.drive import Drive
from dryspin.errors import BuildError


class RegisterWorkshop(Workshop):
    """A workshop for the firmware of a drive with [pins]. Raises BuildError."""

    def __init__(
        self, drive: Drive, firmware_dir: Path, folder: Path, compiler: Compiler | None = None
    ) -> None:
        self._drive, self._firmware_dir, self.folder = drive, firmware_dir, folder
        self._compiler = compiler or find_compiler()
        self._options = register_options(drive, self._compiler)
        self.text = firmware_text(drive, firmware_dir)
        folder.mkdir(parents=True, exist_ok=True)
        self._named = register_objects(drive, self.text, self._compiler, folder, firmware_dir)

    def machine_code(self, name: str, content: bytes, place: Path) -> str | None:
        """Assembly of source `name` with that content at -O2; None if it does not compile."""
        stage = self._changed(name, content, place)
        target = place / "machine.s"
        language = flags.C_REGISTERS if name.endswith(".c") else flags.CPP_REGISTERS
        kept = [option for option in self._options if not option.startswith(("-fsanitize", "-g", "-O", "-W"))]
        plain = [option for k, option in enumerate(kept) if not _of_the_sanitizer(kept, k)]
        options = [*language, *plain, "-w", "-O2", "-S", staged_name(name), "-o", str(target)]
        done = self._compiler.run(options, stage)
        return target.read_text(encoding="utf-8", errors="replace") if done.returncode == 0 else None

    def image_with(self, name: str, content: bytes, place: Path) -> Image:
        """The image with source `name` of that content, in the new folder `place`. Raises BuildError."""
        stage = self._changed(name, content, place)
        changed = staged_name(name)
        target = place / object_name(changed)
        if complaint := compile_register_source(self._compiler, self._options, changed, stage, target):
            raise BuildError(complaint)
        # linking changes the objects, so each image gets its own
        named = []
        for path, source in self._named:
            if path.name != target.name:
                shutil.copyfile(path, place / path.name)
            named.append((place / path.name, source))
        return self._linked(named, self._files_with(name, content), place, ())

    def whole_image(self, files: Mapping[str, bytes], place: Path, shown: Sequence[str]) -> Image:
        """The image with all of these sources in place of the firmware's, or besides, and names `shown`.

        Raises BuildError.
        """
        text = replace(
            self.text,
            files={**self.text.files, **files},
            sources=(*self.text.sources, *(name for name in files if name not in self.text.sources)),
        )
        place.mkdir(parents=True, exist_ok=True)
        named = register_objects(self._drive, text, self._compiler, place, self._firmware_dir)
        return self._linked(named, text.files, place, shown)

    def _linked(
        self,
        named: Sequence[tuple[Path, str]],
        files: Mapping[str, bytes],
        place: Path,
        shown: Sequence[str],
    ) -> Image:
        link_registers(self._compiler, named, place, self._firmware_dir, shown)
        digest = register_digest(self._drive, self._compiler, files, shown)
        text = replace(self.text, files=dict(files))
        return Image(place / "image.so", digest, self._compiler.version, text.sources, text)

    def _changed(self, name: str, content: bytes, place: Path) -> Path:
        stage = place / "src"
        files, _ = staged(replace(self.text, files=dict(self._files_with(name, content))), self._firmware_dir)
        lay_out(files, stage)
        return stage


def _of_the_sanitizer(options: Sequence[str], k: int) -> bool:
    """Whether an option, or the one it belongs to, sets how accesses are announced."""
    own = options[k].startswith(("tsan", "-tsan"))
    return own or (k + 1 < len(options) and options[k + 1].startswith(("tsan", "-tsan")))


def workshop(drive: Drive, firmware_dir: Path, folder: Path) -> Workshop:
    """The workshop for the drive's kind of firmware. Raises BuildError."""
    return (RegisterWorkshop if drive.pins else Workshop)(drive, firmware_dir, folder)
