"""Kinds of key a file may hold: what each accepts, and how it says what it does not.

A key is declared once, with unit, bounds, default and the reason of the default; readers, error
texts and printed help all come from that declaration.
"""

import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from dryspin.drive.change import Change
from dryspin.drive.document import suggestion
from dryspin.drive.span import Range
from dryspin.errors import UnitError
from dryspin.units import frequency_hz


class _Required:
    """Marks a key without a default."""


REQUIRED: Final = _Required()

LARGEST = sys.float_info.max

BEYOND_REASON = 1e9
"""No quantity of a drive is larger in the unit of its key; a key with bounds of its own has those."""
NOTHING = 1e-15
"""What must be above zero is at least this: smaller ones are slips, and their ratios overflow."""


class MismatchError(ValueError):
    """A value is not what its key accepts; the text says why and, where known, what to write."""


@dataclass(frozen=True, kw_only=True)
class Key:
    """One key: name, what to give, unit, and a default with its reason."""

    name: str
    meaning: str
    unit: str = ""
    default: Any = REQUIRED
    reason: str = ""

    @property
    def required(self) -> bool:
        """True if a file must give this key."""
        return self.default is REQUIRED

    def take(self, raw: object) -> Any:
        """The value of this key as the model holds it; raises `MismatchError`."""
        raise NotImplementedError

    def shown(self, raw: object) -> str:
        """The value as an error message quotes it."""
        text = toml_text(raw)
        is_number = isinstance(raw, int | float) and not isinstance(raw, bool)
        return f"{text} {self.unit}" if self.unit and is_number else text


@dataclass(frozen=True, kw_only=True)
class Number(Key):
    """A finite number inside bounds; `above` is exclusive, the other two are inclusive."""

    above: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    whole: bool = False

    def take(self, raw: object) -> float:
        """A float, or an int where the key counts something."""
        if isinstance(raw, bool) or not isinstance(raw, int | float):
            raise MismatchError(
                f"is {_kind(raw)}, not a {'whole ' if self.whole else ''}number{self._in_unit}"
            )
        if self.whole and not isinstance(raw, int):
            raise MismatchError("is not a whole number")
        # An integer of a file may be too long for a float; comparing does not convert it.
        if not -LARGEST <= raw <= LARGEST:
            raise MismatchError(f"is not a finite number{self._in_unit}")
        if self.above is not None and not raw > self.above:
            raise MismatchError(f"must be above {_with_unit(self.above, self.unit)}")
        if self.above == 0.0 and raw < NOTHING:
            raise MismatchError(f"must be at least {_with_unit(NOTHING, self.unit)}")
        if self.at_least is not None and raw < self.at_least:
            raise MismatchError(f"must be at least {_with_unit(self.at_least, self.unit)}")
        if self.at_least is None and self.above is None and raw < -BEYOND_REASON:
            raise MismatchError(f"must be at least {_with_unit(-BEYOND_REASON, self.unit)}")
        at_most = BEYOND_REASON if self.at_most is None else self.at_most
        if raw > at_most:
            raise MismatchError(f"must be at most {_with_unit(at_most, self.unit)}")
        return raw if self.whole else float(raw)

    @property
    def _in_unit(self) -> str:
        return f" (in {self.unit})" if self.unit else ""


@dataclass(frozen=True, kw_only=True)
class Spanned(Number):
    """A number, or `{low, nominal, high}` around one."""

    def take(self, raw: object) -> Range:  # type: ignore[override]
        """A Range; a plain number stands for all three."""
        if not isinstance(raw, Mapping):
            return Range.exactly(super().take(raw))
        ends = ("low", "nominal", "high")
        for name in raw:
            if name not in ends:
                raise MismatchError(f"has an unknown part {name!r}; a range is {{low, nominal, high}}")
        for name in ends:
            if name not in raw:
                raise MismatchError(f"lacks {name!r}; a range is {{low, nominal, high}}")
        values = {}
        for name in ends:
            try:
                values[name] = super().take(raw[name])
            except MismatchError as mismatch:
                raise MismatchError(f"{name} = {toml_text(raw[name])} {mismatch}") from None
        if not values["low"] <= values["nominal"] <= values["high"]:
            raise MismatchError("must be in the order low <= nominal <= high")
        return Range(**values)


SHOWN = 6
"""Numbers of a list that a message repeats."""


@dataclass(frozen=True, kw_only=True)
class Numbers(Number):
    """A list of numbers: exactly `count` of them, or `fewest` to `most`."""

    count: int | None = None
    fewest: int = 1
    most: int | None = None

    def shown(self, raw: object) -> str:
        """As the file has it; of a long list the first few."""
        if isinstance(raw, list | tuple) and len(raw) > SHOWN:
            return f"{super().shown(list(raw[:SHOWN])).removesuffix(']')}, ...]"
        return super().shown(raw)

    def take(self, raw: object) -> tuple[float, ...]:  # type: ignore[override]
        """A tuple of float."""
        if not isinstance(raw, list | tuple):
            raise MismatchError(f"is {_kind(raw)}, not a list of numbers{self._in_unit}")
        if self.count is not None and len(raw) != self.count:
            raise MismatchError(f"holds {len(raw)} numbers; it needs {self.count}")
        if len(raw) < self.fewest:
            raise MismatchError(f"holds {len(raw)} numbers; it needs at least {self.fewest}")
        if self.most is not None and len(raw) > self.most:
            raise MismatchError(f"holds {len(raw)} numbers; it takes at most {self.most}")
        values = []
        for item in raw:
            try:
                values.append(super().take(item))
            except MismatchError as mismatch:
                raise MismatchError(f"holds {toml_text(item)}, which {mismatch}") from None
        return tuple(values)


@dataclass(frozen=True, kw_only=True)
class Flag(Key):
    """true or false."""

    def take(self, raw: object) -> bool:
        """A bool."""
        if not isinstance(raw, bool):
            raise MismatchError(f"is {_kind(raw)}, not true or false")
        return raw


@dataclass(frozen=True, kw_only=True)
class Text(Key):
    """A text that says something; with `choices`, one of them.

    `not_yet` holds values that make sense but that the rig cannot run, each with what it can.
    """

    choices: tuple[str, ...] = ()
    not_yet: Mapping[str, str] = field(default_factory=dict, hash=False)
    may_be_empty: bool = False

    def take(self, raw: object) -> str:
        """A str."""
        if not isinstance(raw, str):
            raise MismatchError(f"is {_kind(raw)}, not a text in quotes")
        if not raw.strip() and not self.may_be_empty:
            raise MismatchError("is empty")
        if raw in self.not_yet:
            raise MismatchError(f"is not on the rig yet: {self.not_yet[raw]}")
        if self.choices and raw not in self.choices:
            raise MismatchError(f"is not known. {suggestion(raw, self.choices, 'value').removesuffix('.')}")
        return raw


@dataclass(frozen=True, kw_only=True)
class Texts(Key):
    """A list of texts, none empty."""

    def take(self, raw: object) -> tuple[str, ...]:
        """A tuple of str."""
        if not isinstance(raw, list | tuple):
            raise MismatchError(f"is {_kind(raw)}, not a list of texts")
        if not raw:
            raise MismatchError("is an empty list")
        for item in raw:
            if not isinstance(item, str) or not item.strip():
                raise MismatchError(f"holds {toml_text(item)}, which is not a text that says something")
        return tuple(raw)


@dataclass(frozen=True, kw_only=True)
class Order(Texts):
    """All of `choices`, each once, in any order."""

    choices: tuple[str, ...]

    def take(self, raw: object) -> tuple[str, ...]:
        """The choices in the order given."""
        given = super().take(raw)
        for item in given:
            if item not in self.choices:
                hint = suggestion(item, self.choices, "value").removesuffix(".")
                raise MismatchError(f"holds {toml_text(item)}, which is not known. {hint}")
        if sorted(given) != sorted(self.choices):
            raise MismatchError(f"must hold each of {', '.join(self.choices)} once")
        return given


@dataclass(frozen=True, kw_only=True)
class Notes(Key):
    """A list of [note, length in ms]; an empty name is a pause."""

    def take(self, raw: object) -> tuple[tuple[str, float], ...]:
        """Pairs of name and length in ms, at least one of them a note."""
        if not isinstance(raw, list | tuple):
            raise MismatchError(f"is {_kind(raw)}, not a list of notes")
        notes = tuple(self._note(item) for item in raw)
        if not any(name for name, _ in notes):
            raise MismatchError("holds nothing but pauses" if notes else "is an empty list")
        return notes

    def _note(self, item: object) -> tuple[str, float]:
        if not isinstance(item, list | tuple) or len(item) != 2 or not isinstance(item[0], str):
            raise MismatchError(f"holds {toml_text(item)}, which is not [note, length in ms]")
        name = item[0]
        try:
            ms = _NOTE_MS.take(item[1])
            if name:
                frequency_hz(name)
        except MismatchError as mismatch:
            raise MismatchError(f"holds {toml_text(item)}, whose length {mismatch}") from None
        except UnitError as reason:
            raise MismatchError(f"holds {toml_text(item)}: {reason}") from None
        return name, ms


_NOTE_MS = Number(name="length", unit="ms", above=0.0, at_most=60e3, meaning="the length of a note")


@dataclass(frozen=True, kw_only=True)
class Moments(Key):
    """A list of [variable of the firmware, age in ms from which on it is old]; 0 ms: no age matters."""

    def take(self, raw: object) -> tuple[tuple[str, float], ...]:
        """Pairs of name and age in ms."""
        if not isinstance(raw, list | tuple):
            raise MismatchError(f"is {_kind(raw)}, not a list of [variable, age in ms]")
        return tuple(self._moment(item) for item in raw)

    def _moment(self, item: object) -> tuple[str, float]:
        if (
            not isinstance(item, list | tuple)
            or len(item) != 2
            or not isinstance(item[0], str)
            or not item[0]
        ):
            raise MismatchError(f"holds {toml_text(item)}, which is not [variable, age in ms]")
        try:
            return item[0], _AGE_MS.take(item[1])
        except MismatchError as mismatch:
            raise MismatchError(f"holds {toml_text(item)}, whose age {mismatch}") from None


_AGE_MS = Number(name="age", unit="ms", at_least=0.0, at_most=1e6, meaning="an age from which on all are one")


@dataclass(frozen=True, kw_only=True)
class Defines(Key):
    """Macro names with their values; a whole number may stand without quotes."""

    def take(self, raw: object) -> dict[str, str]:
        """Name to value, both str."""
        if not isinstance(raw, Mapping):
            raise MismatchError(f"is {_kind(raw)}, not a table of macro names and values")
        defines = {}
        for name, value in raw.items():
            if not (name.isidentifier() and name.isascii()):
                raise MismatchError(f"defines {name!r}, which is not a C identifier")
            if isinstance(value, bool) or not isinstance(value, str | int):
                raise MismatchError(f"gives {name} the value {toml_text(value)}, not a text or whole number")
            defines[name] = str(value)
        return defines


@dataclass(frozen=True, kw_only=True)
class Changes(Key):
    """Replacements of text in files, each a table with file, before and after."""

    def take(self, raw: object) -> tuple[Change, ...]:
        """The changes in their order."""
        if not isinstance(raw, list) or not all(isinstance(item, Mapping) for item in raw):
            raise MismatchError(f"is {_kind(raw)}, not a list of tables with file, before and after")
        changes = []
        for item in raw:
            if set(item) != {"file", "before", "after"} or not all(isinstance(v, str) for v in item.values()):
                raise MismatchError(f"holds {toml_text(item)}; a change has the texts file, before and after")
            if not item["before"]:
                raise MismatchError(f"changes nothing in {item['file']}: before is empty")
            changes.append(Change(**item))
        return tuple(changes)


def toml_text(value: object) -> str:
    """The value much as it stood in the file, shortened where it is long."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = '"' + value + '"'
    elif isinstance(value, Mapping):
        text = "{" + ", ".join(f"{name} = {toml_text(item)}" for name, item in value.items()) + "}"
    elif isinstance(value, list | tuple):
        text = "[" + ", ".join(map(toml_text, value)) + "]"
    else:
        text = str(value)
    return text if len(text) <= 80 else text[:77] + "..."


def _with_unit(value: float, unit: str) -> str:
    return f"{value:.10g} {unit}".rstrip()


def _kind(raw: object) -> str:
    """What a value is, in words of the file format."""
    if isinstance(raw, bool):
        return "true or false"
    if isinstance(raw, int | float):
        return "a number"
    if isinstance(raw, str):
        return "a text"
    if isinstance(raw, list | tuple):
        return "a list"
    if isinstance(raw, Mapping):
        return "a table"
    return "a date or time"
