"""Where results go: the terminal, in colour where one is there, and files, whole or not at all."""

import os
import sys
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TaskID, TextColumn, TimeRemainingColumn
from rich.text import Text

from dryspin.errors import UsageError

_STYLES = {
    "broken": "bold red",
    "fault": "bold red",
    "held": "green",
    "not exercised": "yellow",
    "cannot tell": "yellow",
    "not seen": "dim",
    "found": "green",
    "missed": "bold red",
    "killed": "green",
    "survived": "bold red",
    "ok": "green",
    "failed": "bold red",
    "not tried": "yellow",
}

QUIET_S = 2.0
"""A progress bar appears only for what takes longer."""


def print_lines(lines: Iterable[str]) -> None:
    """Print plain lines; on a terminal, verdicts at the beginning of a line are coloured.

    NO_COLOR and a pipe are respected; lines are never wrapped, so that a pipe sees the same text.
    """
    console = Console(file=sys.stdout, highlight=False, soft_wrap=True)
    for line in lines:
        text = Text(line)
        for verdict, style in _STYLES.items():
            if line.startswith(f"{verdict} "):
                text.stylize(style, 0, len(verdict))
        console.print(text)


class Bar:
    """A progress bar on the terminal's error stream; silent where there is none, and at first."""

    def __init__(self) -> None:
        console = Console(stderr=True)
        self._shown = console.is_terminal
        self._begun_s = time.monotonic()
        # No refresh thread: workers are forked, and a fork beside a thread may inherit its locks.
        self._progress = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            MofNCompleteColumn(),
            TimeRemainingColumn(),
            console=console,
            transient=True,
            auto_refresh=False,
        )
        self._tasks: dict[str, TaskID] = {}
        self._live = False

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._live:
            self._progress.stop()

    def notice(self, what: str, done: int, total: int) -> None:
        """Show how far `what` has come."""
        if not self._shown or time.monotonic() - self._begun_s < QUIET_S:
            return
        if not self._live:
            self._progress.start()
            self._live = True
        if what not in self._tasks:
            self._tasks[what] = self._progress.add_task(what, total=total)
        self._progress.update(self._tasks[what], completed=done, total=total)
        self._progress.refresh()


def require_writable_file(path: Path | None, option: str) -> None:
    """Raise UsageError unless a file can be put at `path`; asked before a long run."""
    if path is None:
        return
    if path.is_dir():
        raise UsageError(f"{option} {path}: is a directory; give the name of a file")
    try:
        with tempfile.TemporaryFile(dir=path.parent):
            pass
    except OSError as error:
        raise UsageError(
            f"{option} {path}: {path.parent} cannot be written ({error.strerror or error}); "
            "give another place"
        ) from None


def write_whole(path: Path, text: str) -> None:
    """Write a file at once or not at all; raises UsageError."""
    scratch = None
    try:
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        Path(scratch).chmod(0o644)
        Path(scratch).replace(path)
    except OSError as error:
        if scratch is not None:
            Path(scratch).unlink(missing_ok=True)
        raise UsageError(
            f"{path} cannot be written ({error.strerror or error}); give another place"
        ) from None
