"""A CSV capture: columns found by name or number, whatever an instrument puts above them.

Only mapped columns are read, a block at a time, by numpy's own reader: ten million rows take some
ten seconds and a few hundred megabytes.
"""

import csv
import os
import re
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dryspin.capture.mapping import TIME_UNITS, CaptureMap, shown
from dryspin.capture.raw import Floats, Raw, Sampled
from dryspin.errors import CaptureError

Notice = Callable[[str, int, int], None]

BLOCK: Final = 500_000
"""Rows read at a time."""

PREAMBLE: Final = 200
"""Lines above the numbers that an instrument may write."""

LONGEST_LINE: Final = 100_000

EVEN_SHARE: Final = 0.02
"""Of a sample period by which a moment may be off an even grid, beyond the rounding of its text."""

_AT_ROW = re.compile(r"at row (\d+)")


def read_csv(path: Path, mapped: CaptureMap, notice: Notice) -> Raw:
    """Read the mapped columns of `path`; raises CaptureError, naming file and line."""
    wanted_names = {c.channel for c in mapped.channels} | {mapped.time}
    first, header, delimiter, decimal = _find_numbers(path, wanted_names)
    names, width = header
    columns = [_column(path, c.channel, names, width, c.line) for c in mapped.channels]
    where = f"{mapped.path}: time"
    time = None if mapped.numbered else _column(path, mapped.time, names, width, where)
    if time is not None and time in columns:
        raise CaptureError(
            f"{mapped.path}: column {time + 1} is time and also "
            f"{mapped.channels[columns.index(time)].signal}; give another column for one of them"
        )
    wanted = columns if time is None else [time, *columns]
    blocks = _blocks(path, first, wanted, delimiter, decimal, notice)
    table = _joined(path, blocks, len(wanted))
    if len(table[0]) < 2:
        raise CaptureError(f"{path}: holds {len(table[0])} rows of numbers; a capture needs at least two")
    if time is None:
        assert mapped.sample_ns is not None
        t_ns: Floats = np.arange(len(table[0]), dtype=np.float64) * mapped.sample_ns
        origin_ns, sample_ns, even = 0.0, mapped.sample_ns, True
    else:
        t_ns = table[0].astype(np.float64, copy=False)
        t_ns *= TIME_UNITS[mapped.time_unit]
        origin_ns = float(t_ns[0])
        t_ns -= origin_ns
        sample_ns, even = _spacing(path, t_ns, first)
    values = table if time is None else table[1:]
    channels = tuple(Sampled(column.astype(np.float32, copy=False)) for column in values)
    sample_ns = mapped.sample_ns or sample_ns
    return Raw(channels, t_ns, origin_ns, sample_ns, float(t_ns[-1]), even, len(t_ns))


def _find_numbers(path: Path, wanted: set[str | int]) -> tuple[int, tuple[list[str], int], str, str]:
    """(line of the first numbers from 1 on, (names, columns), delimiter, decimal mark)."""
    above: list[list[str]] = []
    try:
        with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
            for number in range(1, PREAMBLE + 2):
                line = file.readline(LONGEST_LINE)
                if not line:
                    break
                if "\0" in line or len(line) >= LONGEST_LINE:
                    raise CaptureError(f"{path}:{number}: is no text of columns; was another file given?")
                for delimiter, decimal in ((",", "."), (";", "."), ("\t", "."), (";", ","), ("\t", ",")):
                    fields = [f.strip().replace(decimal, ".") for f in line.split(delimiter)]
                    fields = fields[:-1] if len(fields) > 1 and not fields[-1] else fields
                    if len(fields) > 1 and all(map(_is_number, fields)):
                        return (
                            number,
                            (_names(above, delimiter, len(fields), wanted), len(fields)),
                            delimiter,
                            decimal,
                        )
                if _is_number(line.strip()):
                    return number, (_names(above, ",", 1, wanted), 1), ",", "."
                above.append([line])
    except FileNotFoundError:
        raise CaptureError(f"{path}: no such file. Give the path of a capture, .csv or .vcd.") from None
    except OSError as error:
        raise CaptureError(f"{path}: cannot be read ({error.strerror}). Give another path.") from None
    if not above:
        raise CaptureError(f"{path}: is empty; a capture was expected")
    raise CaptureError(
        f"{path}: none of the first {len(above)} lines holds nothing but numbers; is it a CSV capture?"
    )


def _is_number(text: str) -> bool:
    try:
        float(text.strip().strip('"'))
    except ValueError:
        return False
    return "_" not in text


def _names(above: list[list[str]], delimiter: str, width: int, wanted: set[str | int]) -> list[str]:
    """The names over the columns: of the lines above the numbers that have as many words, the first with
    a name that the map wants, else the first."""
    found = []
    for line in above:
        fields = [f.strip() for f in next(csv.reader(line, delimiter=delimiter), [])]
        fields = fields[:-1] if len(fields) == width + 1 and not fields[-1] else fields
        if len(fields) == width and sum(bool(f) and not _is_number(f) for f in fields) == width:
            found.append(fields)
    return next((fields for fields in found if wanted & set(fields)), found[0] if found else [])


def _column(path: Path, place: str | int, names: list[str], width: int, line: str) -> int:
    """Index of a column; raises CaptureError where it is not there, or there twice."""
    if isinstance(place, int):
        if place > width:
            raise CaptureError(f"{line}: column {place} of {path}: there are {width}. Give one of them.")
        return place - 1
    if not names:
        raise CaptureError(
            f"{line}: {shown(place)}: {path} has no line of names above its {width} columns. "
            "Give the number of the column, from 1 on."
        )
    count = names.count(place)
    if count > 1:
        numbers = " and ".join(str(k + 1) for k, name in enumerate(names) if name == place)
        raise CaptureError(
            f"{line}: {path} calls columns {numbers} {shown(place)}. Give the number of the one meant."
        )
    if not count:
        known = ", ".join(shown(name) for name in names[:20])
        raise CaptureError(f"{line}: {path} has no column {shown(place)}. It has {known}.")
    return names.index(place)


def _blocks(
    path: Path, first: int, wanted: list[int], delimiter: str, decimal: str, notice: Notice
) -> Iterator[NDArray[np.float64]]:
    size = max(path.stat().st_size, 1)
    with path.open(encoding="utf-8-sig", errors="replace", newline=None) as file:
        for _ in range(first - 1):
            file.readline()
        lines: Iterator[str] = iter(file)
        if decimal == ",":
            lines = (line.replace(",", ".") for line in file)
        row = first
        while True:
            block = _block(path, lines, wanted, delimiter, row)
            if not len(block):
                return
            row += len(block)
            notice("bytes", min(os.lseek(file.fileno(), 0, os.SEEK_CUR), size), size)
            yield block


def _block(
    path: Path, lines: Iterator[str], wanted: list[int], delimiter: str, row: int
) -> NDArray[np.float64]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # the end of the file: no data is left
            block: NDArray[np.float64] = np.loadtxt(
                lines,
                np.float64,
                comments=None,
                delimiter=delimiter,
                usecols=wanted,
                max_rows=BLOCK,
                ndmin=2,
                quotechar='"',
            )
    except ValueError as error:
        text = str(error)
        at = _AT_ROW.search(text)
        # numpy counts rows from 0 where a number is none, from 1 where a column is missing
        line = row + (int(at[1]) if at else 0) - ("column index" in text)
        why = "holds something that is no number, or too few columns"
        if "could not convert" in text:
            quoted = re.search(r"string '(.*?)'", text)
            why = f"holds {shown(quoted[1])} where a number should stand" if quoted else why
        elif "usecols" in text or "column" in text:
            why = "has fewer columns than the lines above"
        raise CaptureError(
            f"{path}:{line}: {why}. Is the file cut off or damaged? Save the capture again, or delete "
            "the line."
        ) from None
    bad = np.flatnonzero(~np.isfinite(block).all(axis=1))
    if len(bad):
        raise CaptureError(
            f"{path}:{row + int(bad[0])}: holds a value that is no finite number. "
            "Save the capture again, or delete the line."
        )
    return block


def _joined(path: Path, blocks: Iterator[NDArray[np.float64]], width: int) -> list[NDArray[np.floating]]:
    """The columns, time in double precision, the rest in single."""
    parts: list[list[NDArray[np.floating]]] = [[] for _ in range(width)]
    for block in blocks:
        for k in range(width):
            parts[k].append(block[:, k].astype(np.float64 if k == 0 else np.float32))
    columns = []
    for k in range(width):
        columns.append(np.concatenate(parts[k]) if parts[k] else np.zeros(0))
        parts[k] = []
    return columns


def _spacing(path: Path, t_ns: Floats, first: int) -> tuple[float, bool]:
    """(sample period in ns, whether samples are even); raises CaptureError where time runs backwards.

    Times printed with few digits repeat; where they follow an even grid up to that rounding, the grid
    is what the instrument meant, and takes their place.
    """
    steps = np.diff(t_ns)
    back = np.flatnonzero(steps < 0.0)
    if len(back):
        k = int(back[0])
        raise CaptureError(
            f"{path}:{first + k + 1}: time goes back from {t_ns[k] * 1e-9:.9g} s to "
            f"{t_ns[k + 1] * 1e-9:.9g} s after the first row. Two captures in one file? Cut it there."
        )
    positive = steps[steps > 0.0]
    if not len(positive):
        raise CaptureError(f"{path}: time stands still in column time; is another column the time?")
    n = len(t_ns)
    period = float(t_ns[-1]) / (n - 1)
    rounding = 0.0 if len(positive) == len(steps) else float(positive.min())
    # numpy makes no copy of what it can subtract in place
    off = np.linspace(0.0, float(t_ns[-1]), n)
    np.subtract(t_ns, off, out=off)
    if float(np.abs(off).max()) <= EVEN_SHARE * period + rounding:
        t_ns[:] = np.linspace(0.0, float(t_ns[-1]), n)
        return period, True
    if rounding:
        k = int(np.flatnonzero(steps == 0.0)[0])
        raise CaptureError(
            f"{path}:{first + k + 1}: the same time as the line above. Save the capture with more digits, "
            'or let the map say time_from = "row number" and sample_ns.'
        )
    return float(positive.min()), False
