"""Frozen dataclasses as plain JSON values and back, by their own type hints.

Serves the description of the drive and of the scenario inside a recording file; a new field of
either needs no line here.
"""

import types
import typing
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

from dryspin.errors import RecordingError


def to_plain(value: Any) -> Any:
    """`value` in dictionaries, lists, text and numbers."""
    if is_dataclass(value):
        return {f.name: to_plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): to_plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [to_plain(item) for item in value]
    if isinstance(value, Path):
        return str(value)
    return value


def from_plain(kind: Any, plain: Any, where: str) -> Any:
    """The value of type `kind` that `to_plain` wrote; raises `RecordingError` naming `where` otherwise."""
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if is_dataclass(kind) and isinstance(kind, type):
        return _dataclass(kind, plain, where)
    if origin is tuple:
        items = _expect(list, plain, where)
        each = arguments[:1] * len(items) if arguments[1:] == (...,) else arguments
        if len(each) != len(items):
            raise RecordingError(f"{where} has {len(items)} items, not {len(each)}; record the run again")
        return tuple(from_plain(each[n], item, f"{where}[{n}]") for n, item in enumerate(items))
    if isinstance(origin, type) and issubclass(origin, Mapping):
        entries = _expect(dict, plain, where)
        return {key: from_plain(arguments[1], item, f"{where}.{key}") for key, item in entries.items()}
    if origin in (types.UnionType, typing.Union):
        if plain is None and type(None) in arguments:
            return None
        return from_plain(next(a for a in arguments if a is not type(None)), plain, where)
    if kind is Path:
        return Path(_expect(str, plain, where))
    if kind is float:
        return float(_expect((int, float), plain, where))
    return _expect(kind, plain, where)


def _dataclass(kind: Any, plain: Any, where: str) -> Any:
    entries = _expect(dict, plain, where)
    names = {f.name for f in fields(kind)}
    if entries.keys() != names:
        odd = ", ".join(sorted(entries.keys() ^ names))
        raise RecordingError(f"{where} lacks or does not know: {odd}; record the run again with this version")
    hints = typing.get_type_hints(kind)
    parts = {name: from_plain(hints[name], entries[name], f"{where}.{name}") for name in names}
    try:
        return kind(**parts)
    except ValueError as error:
        raise RecordingError(f"{where} is impossible: {error}; record the run again") from error


def _expect(kind: Any, plain: Any, where: str) -> Any:
    if not isinstance(plain, kind) or (isinstance(plain, bool) and kind is not bool):
        raise RecordingError(f"{where} is {plain!r}, of another type than written; record the run again")
    return plain
