"""Scenario files: strict, versioned TOML."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dryspin.drive.document import Document, parse_document, read_document, suggestion
from dryspin.drive.section import Section
from dryspin.errors import ScenarioError
from dryspin.scenario import schema
from dryspin.scenario.model import ContradictionError, Fault, Scenario

_WHAT = "scenario file"


def read_scenario(path: Path) -> Scenario:
    """The scenario in a file; raises `ScenarioError`, naming file and line."""
    return _scenario(read_document(Path(path), ScenarioError, _WHAT))


def parse_scenario(text: str, source: str) -> Scenario:
    """The scenario in a text; `source` stands for the file in messages."""
    return _scenario(parse_document(text, source, ScenarioError, _WHAT))


def scenario_from_table(table: Mapping[str, Any], source: str) -> Scenario:
    """The scenario in a table that is parsed already, such as `Scenario.as_table()` gives."""
    return _scenario(Document(source, table, {}, ScenarioError))


def _scenario(document: Document) -> Scenario:
    data = dict(document.data)
    _check_version(document, data.pop(schema.VERSION_KEY, None))
    parts = Section.of(document, data.pop("parts", {}), "parts")
    faults = _faults(document, data.pop("fault", []))
    if stray := [name for name in data if isinstance(data[name], Mapping)]:
        raise ScenarioError(
            f"{document.where(stray[0])}: {stray[0]} is not a known table. "
            f"{suggestion(stray[0], ['parts', 'fault'], 'table')}"
        )
    top = Section.of(document, data).read(schema.TOP)
    parts.refuse_unknown(tuple(schema.PARTS.values()), noun="part")
    taken = {name: parts.take(key) for name, key in schema.PARTS.items() if name in parts.values}
    try:
        return Scenario(**top, parts=taken, faults=faults)
    except ContradictionError as contradiction:
        where = document.where(*contradiction.path)
        raise ScenarioError(f"{where}: {contradiction.text}") from None


def _check_version(document: Document, version: object) -> None:
    line = f"{schema.VERSION_KEY} = {schema.VERSION}"
    if version is None:
        raise ScenarioError(
            f"{document.source}: {schema.VERSION_KEY} is missing, so this is no scenario file. "
            f'If it is one, begin it with "{line}".'
        )
    if type(version) is not int or version != schema.VERSION:
        raise ScenarioError(
            f"{document.where(schema.VERSION_KEY)}: {schema.VERSION_KEY} = {version!r}: this dryspin reads "
            f"version {schema.VERSION}. Use the dryspin that wrote the file, or write it anew for {line}."
        )


def _faults(document: Document, tables: object) -> tuple[Fault, ...]:
    if not isinstance(tables, list):
        raise ScenarioError(
            f"{document.where('fault')}: fault is not a list of tables. Write [[fault]] with kind and at_s."
        )
    return tuple(
        Fault(**Section.of(document, table, "fault", k).read(schema.FAULT)) for k, table in enumerate(tables)
    )
