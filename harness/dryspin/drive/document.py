"""A TOML file together with its name and the lines of its keys; the base of every strict reader."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from dryspin.drive.lines import KeyPath, key_lines
from dryspin.errors import DryspinError

_AT_LINE = re.compile(r"\s*\(at line (\d+), column (\d+)\)$")


@dataclass(frozen=True)
class Document:
    """Parsed TOML; `error` is the exception class that problems with it are raised as."""

    source: str
    data: Mapping[str, Any]
    lines: Mapping[KeyPath, int]
    error: type[DryspinError]

    def where(self, *path: str | int) -> str:
        """`file:line` of a key, or of the nearest enclosing table that has a line."""
        for length in range(len(path), 0, -1):
            if line := self.lines.get(path[:length]):
                return f"{self.source}:{line}"
        return self.source


def read_document(path: Path, error: type[DryspinError], what: str) -> Document:
    """Read the TOML file at `path`; raises `error`. `what` names the kind of file in messages."""
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise error(f"{path}: no such file. Give the path of a {what}.") from None
    except OSError as reason:
        raise error(f"{path}: cannot be read ({reason.strerror}). Give the path of a {what}.") from None
    return parse_document(raw, str(path), error, what)


def parse_document(raw: bytes | str, source: str, error: type[DryspinError], what: str) -> Document:
    """Parse TOML; raises `error` with file and line where it is not TOML."""
    if isinstance(raw, bytes):
        try:
            text = raw.decode("utf-8")
        except UnicodeDecodeError as reason:
            line = raw[: reason.start].count(b"\n") + 1
            raise error(
                f"{source}:{line}: byte 0x{raw[reason.start]:02x} is not UTF-8 text; a {what} is a TOML "
                "file. Was another file given?"
            ) from None
    else:
        text = raw
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise error(
            f"{source}:{line}: holds a NUL byte; a {what} is a TOML text file. Was another file given?"
        )
    # Line ends as the TOML reader sees them, so that line numbers agree.
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    if not text.strip():
        raise error(f"{source}: is empty; a {what} was expected.")
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as reason:
        raise error(_syntax_message(str(reason), source, text, what)) from None
    except RecursionError:
        raise error(f"{source}: brackets nested too deep for a {what}.") from None
    return Document(source, data, key_lines(text), error)


def suggestion(given: str, known: list[str] | tuple[str, ...], noun: str = "key") -> str:
    """`Did you mean X?`, or what exists when nothing is near."""
    if near := get_close_matches(given, known, n=1, cutoff=0.6):
        return f"Did you mean {near[0]!r}?"
    return f"Known {noun}s: {', '.join(known) or 'none'}."


def _syntax_message(reason: str, source: str, text: str, what: str) -> str:
    at = _AT_LINE.search(reason)
    if at is None:
        last = text.rstrip("\n").count("\n") + 1
        reason = reason.removesuffix(" (at end of document)")
        return f"{source}:{last}: not TOML: {reason}; the {what} ends here. Is it cut off?"
    return f"{source}:{at[1]}: not TOML: {reason[: at.start()]}, at column {at[2]}. Correct that line."
