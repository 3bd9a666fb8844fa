"""A mutant before the tests that its firmware came with: pytest, on a layer with the one changed file."""

import os
import re
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from dryspin.build.cache import cache_root
from dryspin.errors import UsageError
from dryspin.findings import Subject

BY_TEST = "test: "
"""What objects begins so where it is a test."""

_NO_END, _NO_NAME = "does not end", "pytest could not run it"

_FAILED = re.compile(r"^(?:FAILED|ERROR) (\S+)", re.MULTILINE)
_SILENT = ("-q", "-x", "--no-header", "--tb=no", "-rfE", "-p", "no:cacheprovider")
_PATIENCE_S, _TIMES_LONGER = 60.0, 10.0
"""Tests that loop outside the firmware are ended: ten times what they take on the firmware itself."""


class OwnTests:
    """The tests in `paths`, which take the firmware from `--firmware`, as fixtures of the plugin do.

    Runs them on the firmware itself first, in the empty `folder`. Raises UsageError where they do not pass
    there, or where a firmware cannot be overlaid.
    """

    def __init__(self, subject: Subject, paths: Sequence[Path], folder: Path) -> None:
        if subject.drive.firmware.change or subject.drive.path.name != "drive.toml":
            raise UsageError(
                f"--tests: {subject.drive.path} is not a drive.toml beside whole sources (it has [firmware] "
                "change, or another name), so a changed file cannot be laid over it; test the firmware it "
                "stands on"
            )
        self._base, self._paths = subject.directory.resolve(), [str(path) for path in paths]
        self._limit_s: float | None = None
        begun_s = time.monotonic()
        code, said = self._run(folder, self._paths)
        if code:
            shown = "\n".join(said.strip().splitlines()[-5:])
            raise UsageError(
                f"{' '.join(self._paths)}: pytest ends with {code} on {subject.directory} as it stands, so "
                f"nothing can be said of changes; mend that first:\n{shown}"
            )
        self._limit_s = max(_PATIENCE_S, _TIMES_LONGER * (time.monotonic() - begun_s))

    def objection(self, name: str, content: bytes, folder: Path, first: Sequence[str] = ()) -> str:
        """BY_TEST and the first test that fails with source `name` of that content; "" where all pass.

        first: modules to try before all others, as `module_of` has them.
        """
        (folder / "layer" / name).parent.mkdir(parents=True)
        (folder / "layer" / name).write_bytes(content)
        code, said = self._run(folder, first) if first else (0, "")
        if code == 0:
            code, said = self._run(folder, self._paths)
        if code == 0:
            return ""
        found = _FAILED.search(said)
        return BY_TEST + (_NO_END if code is None else found[1] if found else _NO_NAME)

    def _run(self, folder: Path, paths: Sequence[str]) -> tuple[int | None, str]:
        """pytest's exit code, None where it had to be ended, and what it said."""
        layer, cache = folder / "layer", folder / "cache"
        layer.mkdir(exist_ok=True)
        (layer / "drive.toml").write_text(
            f'name = "one change"\n\n[firmware]\nbase = "{self._base}"\n', encoding="utf-8"
        )
        # Objects are shared; the images of a mutant are not worth keeping.
        if not cache.exists():
            cache.mkdir()
            for kind in ("core", "object"):
                (cache_root() / kind).mkdir(parents=True, exist_ok=True)
                (cache / kind).symlink_to((cache_root() / kind).resolve())
        command = [sys.executable, "-m", "pytest", *paths, "--firmware", str(layer), *_SILENT]
        environment = os.environ | {"DRYSPIN_CACHE": str(cache), "NO_COLOR": "1"}
        try:
            done = subprocess.run(
                command,
                env=environment,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                stdin=subprocess.DEVNULL,
                text=True,
                errors="replace",
                timeout=self._limit_s,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return None, ""
        return done.returncode, done.stdout


def module_of(objection: str) -> str:
    """The file of the test that objected, where it lies below the working directory; else ""."""
    file = objection.removeprefix(BY_TEST).partition("::")[0]
    return file if objection.startswith(BY_TEST) and Path(file).is_file() else ""
