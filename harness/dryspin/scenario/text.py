"""A scenario as text, one line a key, small enough to read.

Written by hand and not by a general writer: that one breaks each trace over many lines.
"""

from typing import Any

from dryspin.scenario.model import Scenario


def toml_of(scenario: Scenario) -> str:
    """The file of a scenario. Floats are written as repr, which Python and TOML read back exactly."""
    table = scenario.as_table()
    parts: dict[str, float] = table.pop("parts", {})
    faults: list[dict[str, Any]] = table.pop("fault", [])
    lines = _assignments(table)
    if parts:
        lines += ["", "[parts]", *_assignments(parts)]
    for fault in faults:
        lines += ["", "[[fault]]", *_assignments(fault)]
    return "\n".join(lines) + "\n"


def _assignments(table: dict[str, Any]) -> list[str]:
    return [f"{key} = {_value(value)}" for key, value in table.items()]


def _value(value: object) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    # The only texts are fault kinds, which are checked and need no escapes.
    return f'"{value}"' if isinstance(value, str) else repr(value)
