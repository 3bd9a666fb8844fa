"""`drive.toml` into a `Drive`: strict, and with `[firmware] base` read through to the base's file."""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dryspin.drive import schema, torque_constant
from dryspin.drive.checks import problems
from dryspin.drive.document import Document, read_document, suggestion
from dryspin.drive.model import (
    Bridge,
    Calibration,
    Controller,
    Drive,
    Firmware,
    Heat,
    Load,
    Motor,
    Sense,
    Supply,
    Throttle,
    Timekeeping,
)
from dryspin.drive.pins import BLOCK_CYCLES, Pins
from dryspin.drive.section import Section
from dryspin.drive.shared import read_shared
from dryspin.drive.tones import read_tones
from dryspin.errors import DriveError

DRIVE_FILE = "drive.toml"


def load_drive(path: Path) -> Drive:
    """Read a drive file, or the `drive.toml` of a firmware directory.

    With `[firmware] base`, each table that the file does not give is the base's; in `[firmware]`
    each key. Raises `DriveError` at the first problem, naming file, key, value, limit and remedy;
    warns with `DriveWarning` where kv and kt differ by 1 to 4 %.
    """
    path = Path(path)
    if path.is_dir():
        path = path / DRIVE_FILE
    sheets = _sheets(path)
    sections = _sections(sheets)
    values = {name: section.read(schema.TABLES[name]) for name, section in sections.items()}
    if "pins" in values and "block_cycles" not in sections["controller"].values:
        values["controller"]["block_cycles"] = BLOCK_CYCLES
    drive = Drive(
        path=path,
        name=_name(sheets, path),
        firmware=Firmware(**values["firmware"]),
        motor=Motor(**torque_constant.resolved(values["motor"], sections["motor"])),
        load=Load(**values["load"]),
        bridge=Bridge(**values["bridge"]),
        supply=Supply(**values["supply"]),
        sense=Sense(**values["sense"]),
        controller=Controller(**values["controller"]),
        throttle=_throttle(sections["throttle"], values["throttle"]),
        layers=_layers(sheets),
        calibration=Calibration(**values["calibration"]) if "calibration" in values else None,
        tones=read_tones(sheets),
        shared=read_shared(sheets),
        heat=Heat(**values["heat"]) if "heat" in values else None,
        timekeeping=Timekeeping(**values["timekeeping"]) if "timekeeping" in values else None,
        pins=Pins(**values["pins"]) if "pins" in values else None,
        unknown=_unknown(sheets[0]),
    )
    for problem in problems(drive):
        raise sections[problem.table].problem(problem.key, problem.text)
    return drive


def _throttle(section: Section, values: dict[str, Any]) -> Throttle:
    """[throttle]; one way, the stick's end below neutral lies halfway to the shortest valid pulse."""
    if values["one_way"]:
        if "reverse_full_us" in section.values:
            raise section.problem(
                "reverse_full_us",
                f" = {values['reverse_full_us']:g} us clashes with one_way = true, where no pulse asks for "
                "reverse. Take one of the two out.",
            )
        values = {**values, "reverse_full_us": (values["valid_low_us"] + values["neutral_us"]) / 2.0}
    return Throttle(**values)


def _sheets(path: Path) -> list[Document]:
    """The file and the files of its bases, the nearest first."""
    sheets: list[Document] = []
    seen: list[Path] = []
    while True:
        sheet = read_document(path, DriveError, "drive file")
        _refuse_unknown_tables(sheet)
        sheets.append(sheet)
        seen.append(path.resolve())
        firmware = sheet.data.get("firmware", {})
        base = firmware.get("base", "") if isinstance(firmware, Mapping) else ""
        if not isinstance(base, str) or not base:
            return sheets
        directory = path.parent / base
        where = f'{sheet.where("firmware", "base")}: [firmware] base = "{base}"'
        if not (directory / DRIVE_FILE).is_file():
            raise DriveError(
                f"{where}: {directory} has no {DRIVE_FILE}. "
                f"Give a firmware directory, relative to {path.parent}."
            )
        # Spelled short, because every message about the base's values shows it.
        path = _normalised(directory) / DRIVE_FILE
        if path.resolve() in seen:
            raise DriveError(f"{where} leads back to {path}. A base cannot stand on itself; remove one.")


def _refuse_unknown_tables(sheet: Document) -> None:
    known = [*(key.name for key in schema.TOP), *schema.TABLES, schema.TONES, schema.SHARED]
    for name in sheet.data:
        if name not in known:
            raise DriveError(
                f"{sheet.where(name)}: {name} is not a known table. {suggestion(name, known, 'table')}"
            )


def _sections(sheets: list[Document]) -> dict[str, Section]:
    """Each table as its nearest file gives it; none for an optional subject that no file declares."""
    sections = {}
    for name in schema.TABLES:
        giving = [sheet for sheet in sheets if name in sheet.data]
        if not giving and name in schema.ABSENT_TABLES:
            continue
        if not giving and name not in schema.OPTIONAL_TABLES:
            keys = ", ".join(key.name for key in schema.TABLES[name])
            raise DriveError(
                f"{sheets[0].source}: the table [{name}] is missing. Add it with its keys: {keys}."
            )
        if name == "firmware":
            sections[name] = _firmware_section(giving, sheets[0])
        elif giving:
            sections[name] = Section.of(giving[0], giving[0].data[name], name)
        else:
            sections[name] = Section.of(sheets[0], {}, name)
    return sections


def _firmware_section(giving: list[Document], nearest: Document) -> Section:
    """`[firmware]` merged key by key; `base` is the nearest file's own."""
    values: dict[str, Any] = {}
    sources: dict[str, Document] = {}
    for sheet in giving:
        for key, value in Section.of(sheet, sheet.data["firmware"], "firmware").values.items():
            if key not in values and (key != "base" or sheet is nearest):
                values[key] = value
                sources[key] = sheet
    return Section(
        "firmware", values, lambda key: sources.get(key, nearest).where("firmware", key), DriveError
    )


def _name(sheets: list[Document], path: Path) -> str:
    """The name given in the nearest file, else that of the firmware's directory."""
    top = Section.of(sheets[0], {k: v for k, v in sheets[0].data.items() if k == "name"})
    return top.read(schema.TOP)["name"] or path.resolve().parent.name


def _unknown(sheet: Document) -> tuple[str, ...]:
    """The keys that the nearest file calls guesses; each must be a key of a drive."""
    section = Section.of(sheet, {k: v for k, v in sheet.data.items() if k == "unknown"})
    named: tuple[str, ...] = section.read(schema.TOP)["unknown"]
    known = [f"{table}.{key.name}" for table, keys in schema.TABLES.items() for key in keys]
    for name in named:
        if name not in known:
            raise section.problem("unknown", f" holds {name!r}, which is no key. {suggestion(name, known)}")
    return named


def _normalised(directory: Path) -> Path:
    """The directory without `..` inside, where that does not change what it means (symbolic links)."""
    normal = Path(os.path.normpath(directory))
    return normal if normal.resolve() == directory.resolve() else directory


def _layers(sheets: list[Document]) -> tuple[Path, ...]:
    """The directories of the files, each once."""
    directories = [Path(sheet.source).parent for sheet in sheets]
    return tuple({directory.resolve(): directory for directory in reversed(directories)}.values())[::-1]
