"""One table of a file, read by its declaration: every key known, typed, inside its bounds."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dryspin.drive.document import Document, suggestion
from dryspin.drive.keys import Key, MismatchError
from dryspin.errors import DryspinError

# SI prefixes as key names spell them, and the power of ten.
_PREFIXES = {"p": -12, "n": -9, "u": -6, "m": -3, "k": 3, "meg": 6}


@dataclass(frozen=True)
class Section:
    """A table's raw values, the place of each key, and the error class for problems."""

    name: str
    values: Mapping[str, Any]
    where: Callable[[str], str]
    error: type[DryspinError]

    @classmethod
    def of(cls, document: Document, values: object, *path: str | int) -> "Section":
        """The table at `path` of a document (the top level where no path is given)."""
        name = ".".join(str(part) for part in path if isinstance(part, str))
        if not isinstance(values, Mapping):
            raise document.error(
                f"{document.where(*path)}: {name} is not a table. Write [{name}] on a line of its own and "
                "its keys below."
            )
        return cls(name, values, lambda key: document.where(*path, key), document.error)

    def problem(self, key: str, text: str) -> DryspinError:
        """The exception for a problem with one key, to be raised by the caller."""
        table = f"[{self.name}] " if self.name else ""
        return self.error(f"{self.where(key)}: {table}{key}{text}")

    def read(self, keys: Sequence[Key]) -> dict[str, Any]:
        """Every key's value by name, defaults filled in; raises the section's error class."""
        self.refuse_unknown(keys)
        taken = {}
        for key in keys:
            if key.name in self.values:
                taken[key.name] = self.take(key)
            elif key.required:
                unit = f", in {key.unit}" if key.unit else ""
                raise self.problem(key.name, f" is missing. Give {key.meaning}{unit}.")
            else:
                taken[key.name] = key.default
        return taken

    def refuse_unknown(self, keys: Sequence[Key], noun: str = "key") -> None:
        """Raise for a name that no key has, with the nearest one that exists."""
        names = [key.name for key in keys]
        for given in self.values:
            if given not in names:
                raise self._unknown(given, keys, noun)

    def take(self, key: Key) -> Any:
        """The value of one key that is present."""
        raw = self.values[key.name]
        try:
            return key.take(raw)
        except MismatchError as mismatch:
            text = str(mismatch)
            end = "" if text.endswith("?") else "."
            raise self.problem(key.name, f" = {key.shown(raw)}: {text}{end} Give {key.meaning}.") from None

    def _unknown(self, given: str, keys: Sequence[Key], noun: str) -> DryspinError:
        """Unknown key: a known quantity in another unit, or a slip of the pen."""
        for key in keys:
            stem = _stem(key)
            if stem and (given == stem or given.startswith(stem + "_")):
                return self.problem(
                    given,
                    f": the unit is in the key's name; write {key.name}, in {key.unit}"
                    + _converted(given.removeprefix(stem + "_"), key, self.values[given])
                    + f" ({key.meaning}).",
                )
        return self.problem(
            given, f" is not a known {noun}. {suggestion(given, [key.name for key in keys], noun)}"
        )


def _unit_suffix(key: Key) -> str:
    """The unit as key names spell it: Nm/A is nm_per_a, kg m2 is kg_m2."""
    return key.unit.lower().replace("/", "_per_").replace(" ", "_")


def _stem(key: Key) -> str:
    """The key's name without its unit, empty where the name ends in none."""
    suffix = "_" + _unit_suffix(key)
    return key.name.removesuffix(suffix) if key.unit and key.name.endswith(suffix) else ""


def _converted(suffix: str, key: Key, raw: object) -> str:
    """The value in the expected unit, where the given suffix is that unit with an SI prefix."""
    unit = _unit_suffix(key)
    prefix = suffix.removesuffix(unit)
    if suffix == prefix or isinstance(raw, bool) or not isinstance(raw, int | float):
        return ""
    # Nobody means millihertz.
    power = 6 if suffix == "mhz" else _PREFIXES.get(prefix)
    return "" if power is None else f": {key.name} = {raw * 10.0**power:.6g}"
