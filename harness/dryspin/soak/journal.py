"""The journal of a soak: a line for each finished batch, on the disk before the next is thought of.

A line counts when it is whole. What a kill, a full disk or a bad sector has left of others is set
aside in a file of its own and said; their batches are run again, which finds the same again.
"""

import fcntl
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dryspin.errors import FindingError, UsageError

KEYS = {"batch", "family", "quota", "scenarios", "simulated_s", "claims", "broken_at", "findings", "failed"}
"""Of every line."""


@dataclass
class Journal:
    """The batches finished so far, by number, in the file `path`. `set_aside`: sentences for the reader."""

    path: Path
    entries: dict[int, dict[str, Any]] = field(default_factory=dict)
    set_aside: list[str] = field(default_factory=list)

    def is_done(self, number: int, quota: int) -> bool:
        """Whether that batch was finished with so many scenarios."""
        return number in self.entries and self.entries[number]["quota"] == quota

    def add(self, entry: dict[str, Any]) -> None:
        """Put a finished batch on the disk; FindingError where there is no room, and it does not count."""
        before = self.path.stat().st_size if self.path.exists() else 0
        line = json.dumps(entry, separators=(",", ":")).encode() + b"\n"
        try:
            with self.path.open("ab", buffering=0) as file:
                if file.write(line) != len(line):
                    raise OSError(28, "No space left on device")
                os.fsync(file.fileno())
        except OSError as error:
            with suppress(OSError):
                os.truncate(self.path, before)
            raise FindingError(
                f"{self.path}: cannot be written ({error.strerror}); what is finished is kept. Make room and "
                "give the same command again"
            ) from None
        self.entries[entry["batch"]] = entry

    def read(self) -> None:
        """Take in what the file holds; set aside what is no whole line."""
        if not self.path.exists():
            return
        good: list[bytes] = []
        bad: list[tuple[int, bytes]] = []
        for k, line in enumerate(self.path.read_bytes().splitlines(keepends=True), start=1):
            entry = _entry_of(line)
            if entry is None:
                bad.append((k, line))
            else:
                good.append(line)
                self.entries[entry["batch"]] = entry
        if bad:
            aside = free_name(self.path.with_suffix(".damaged"))
            _write_whole(aside, b"".join(line for _, line in bad))
            _write_whole(self.path, b"".join(good))
            lines = ", ".join(str(k) for k, _ in bad)
            self.set_aside.append(
                f"{self.path}: line {lines} is damaged or cut off, and was set aside in {aside.name}; "
                "the batch is run again"
            )


def _entry_of(line: bytes) -> dict[str, Any] | None:
    try:
        entry = json.loads(line)
    except ValueError:
        return None
    whole = line.endswith(b"\n") and isinstance(entry, dict) and set(entry) == KEYS
    return entry if whole and isinstance(entry["batch"], int) else None


@contextmanager
def opened(folder: Path, key: str) -> Iterator[Journal]:
    """The journal of one firmware, drive, claims and seed (`key`) in `folder`, locked against a second soak.

    The system gives the lock back however this process ends. Raises UsageError where another soak
    works in the folder, or it cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = (folder / "lock").open("a+")
    except OSError as error:
        raise UsageError(
            f"{folder}: cannot be written ({error.strerror}); give another with --folder"
        ) from None
    with lock:
        try:
            # A lock of this process, not of the open file: workers that outlive a kill must not hold it.
            fcntl.lockf(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            lock.seek(0)
            raise UsageError(
                f"{folder}: another soak works here (process {lock.read().strip() or 'unknown'}); wait for "
                "it, or give another folder with --folder"
            ) from None
        with suppress(OSError):  # whose it is helps, but is not needed
            lock.truncate(0)
            lock.write(str(os.getpid()))
            lock.flush()
        journal = Journal(folder / f"{key}.jsonl")
        journal.read()
        yield journal


def free_name(path: Path) -> Path:
    """`path`, or with a number behind it, so that nothing stands there."""
    number, free = 1, path
    while free.exists():
        number += 1
        free = path.with_name(f"{path.name}-{number}")
    return free


def _write_whole(path: Path, content: bytes) -> None:
    scratch = path.with_name(f".{path.name}.part")
    try:
        with scratch.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        scratch.replace(path)
    except OSError as error:
        with suppress(OSError):
            scratch.unlink(missing_ok=True)
        raise FindingError(f"{path}: cannot be written ({error.strerror}); make room and try again") from None
