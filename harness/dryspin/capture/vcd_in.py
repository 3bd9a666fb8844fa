"""A value change dump: header through pyvcd, changes by a reader of our own.

The changes of a run-length capture are read token by token in blocks; pyvcd's own reader says more
about each but takes some 6 us for it, which makes minutes of what is seconds here.
"""

import io
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np

from dryspin.capture.mapping import CaptureMap, ChannelMap, shown
from dryspin.capture.raw import Changes, Raw
from dryspin.errors import CaptureError, UsageError

Notice = Callable[[str, int, int], None]

BLOCK: Final = 1 << 22
LONGEST_HEADER: Final = 1 << 24
END_DEFINITIONS: Final = b"$enddefinitions"

LATEST_NS: Final = 600e9
"""Longer than any run here; a time scale a thousand times too large ends beyond it."""

_UNITS_NS: Final = {"s": 1e9, "ms": 1e6, "us": 1e3, "ns": 1.0, "ps": 1e-3, "fs": 1e-6}
_LEVELS: Final = {ord("0"): 0, ord("1"): 1, ord("l"): 0, ord("L"): 0, ord("h"): 1, ord("H"): 1}
_UNKNOWN: Final = frozenset(b"xXzZuUwW-")


@dataclass
class _Channel:
    """What is collected for one mapped channel."""

    name: str
    real: bool
    bit: int | None
    times: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)


def read_vcd(path: Path, mapped: CaptureMap, notice: Notice) -> Raw:
    """Read the mapped variables of `path`; raises CaptureError, naming file and line."""
    try:
        with path.open("rb") as file:
            header, rest, line = _header(path, file)
            scale_ns, chosen = _declared(path, header, mapped)
            first, last = _read_body(path, file, rest, line, chosen, notice)
    except FileNotFoundError:
        raise CaptureError(f"{path}: no such file. Give the path of a capture, .csv or .vcd.") from None
    except OSError as error:
        raise CaptureError(f"{path}: cannot be read ({error.strerror}). Give another path.") from None
    if (last - first) * scale_ns > LATEST_NS:
        raise CaptureError(
            f"{path}: lasts {(last - first) * scale_ns * 1e-9:.4g} s by its time scale; 600 s are the most. "
            "Is its $timescale right?"
        )
    channels = []
    moments = []
    for one in chosen:
        if not one.times:
            raise CaptureError(
                f"{path}: {shown(one.name)} is declared, but has no value. Is the file cut off?"
            )
        ticks = np.array(one.times, np.int64)
        moments.append(ticks[ticks > first])
        t_ns = np.round((ticks - first) * scale_ns).astype(np.int64)
        values = np.array(one.values, np.float64)
        channels.append(Changes(t_ns, values if one.real else values.astype(np.int64)))
        one.times, one.values = [], []
    apart = np.diff(np.unique(np.concatenate(moments)))
    least = float(apart.min()) * scale_ns if len(apart) else scale_ns
    sample_ns = mapped.sample_ns or max(least, scale_ns)
    end_ns = (last - first) * scale_ns
    if end_ns <= 0.0:
        raise CaptureError(f"{path}: has no time between its first and last moment; is it cut off?")
    rows = round(end_ns / sample_ns)
    return Raw(tuple(channels), np.zeros(0), first * scale_ns, sample_ns, end_ns, False, rows)


def _header(path: Path, file: io.BufferedReader) -> tuple[bytes, bytes, int]:
    """(header, what was read beyond it, line at which that begins)."""
    text = b""
    while len(text) < LONGEST_HEADER:
        more = file.read(1 << 16)
        text += more
        at = text.find(END_DEFINITIONS)
        end = text.find(b"$end", at + len(END_DEFINITIONS)) if at >= 0 else -1
        if end >= 0:
            end += len(b"$end")
            return text[:end] + b"\n", text[end:], text.count(b"\n", 0, end) + 1
        if not more:
            break
    if not text:
        raise CaptureError(f"{path}: is empty; a capture was expected")
    raise CaptureError(
        f"{path}: has no $enddefinitions, so it is no value change dump or is cut off in its header"
    )


def _declared(path: Path, header: bytes, mapped: CaptureMap) -> tuple[float, list["_Chosen"]]:
    """(nanoseconds in one unit of time, the mapped variables)."""
    try:
        from vcd.reader import TokenKind, VCDParseError, tokenize
    except ImportError:
        raise UsageError(
            f"{path}: a value change dump needs pyvcd: pip install 'dryspin[waveforms]'"
        ) from None
    scale_ns = 0.0
    scope: list[str] = []
    names: dict[str, tuple[str, str, int]] = {}
    try:
        for token in tokenize(io.BytesIO(header)):
            match token.kind:
                case TokenKind.TIMESCALE:
                    scale_ns = token.timescale.magnitude * _UNITS_NS[token.timescale.unit.value]
                case TokenKind.SCOPE:
                    scope.append(token.scope.ident)
                case TokenKind.UPSCOPE:
                    if not scope:
                        raise CaptureError(f"{path}:{token.span.start.line}: $upscope without a $scope")
                    scope.pop()
                case TokenKind.VAR:
                    var = token.var
                    full = ".".join([*scope, var.ref_str])
                    if full in names:
                        raise CaptureError(
                            f"{path}:{token.span.start.line}: two variables are called {shown(full)}. "
                            "Give each its own name where the capture is saved."
                        )
                    names[full] = (var.id_code, var.type_.value, var.size)
    except VCDParseError as error:
        raise CaptureError(
            f"{path}:{error.loc.line}: not a value change dump: {error}. Save it again."
        ) from None
    except (ValueError, AssertionError) as error:
        raise CaptureError(f"{path}: its header is damaged ({shown(str(error))}). Save it again.") from None
    if scale_ns <= 0.0:
        raise CaptureError(f"{path}: has no $timescale, so nothing tells how long a unit of its time is")
    return scale_ns, [_choose(path, channel, names) for channel in mapped.channels]


@dataclass
class _Chosen(_Channel):
    code: bytes = b""


def _choose(path: Path, channel: ChannelMap, names: dict[str, tuple[str, str, int]]) -> _Chosen:
    place = channel.channel
    if isinstance(place, int):
        raise CaptureError(f"{channel.line}: channel {place}: a value change dump has names. Give the name.")
    fits = [name for name in names if name == place or name.rsplit(".", 1)[-1] == place]
    if place in names:
        fits = [place]
    if not fits:
        known = ", ".join(shown(name) for name in list(names)[:20])
        raise CaptureError(f"{channel.line}: {path} has no variable {shown(place)}. It has {known}.")
    if len(fits) > 1:
        raise CaptureError(
            f"{channel.line}: {path} has {shown(place)} in several scopes. Give one of "
            f"{', '.join(shown(name) for name in fits[:5])}."
        )
    code, kind, size = names[fits[0]]
    real = kind in ("real", "realtime", "shortreal")
    if size > 1 and not real and channel.bit is None:
        raise CaptureError(
            f"{channel.line}: {shown(fits[0])} has {size} bits. Say which with bit = 0 or above."
        )
    if channel.bit is not None and (real or channel.bit >= size):
        raise CaptureError(f"{channel.line}: {shown(fits[0])} has no bit {channel.bit}; it has {size}.")
    return _Chosen(fits[0], real, channel.bit if size > 1 else None, code=code.encode())


def _read_body(
    path: Path,
    file: io.BufferedReader,
    rest: bytes,
    line: int,
    chosen: list[_Chosen],
    notice: Notice,
) -> tuple[int, int]:
    """Collect the changes of `chosen`; returns first and last moment, in units of the file."""
    wanted: dict[bytes, list[_Chosen]] = {}
    for one in chosen:
        wanted.setdefault(one.code, []).append(one)
    size = max(path.stat().st_size, 1)
    now, first = 0, None
    pending = b""
    skipping = False

    def complain(block: bytes, token: bytes, why: str) -> CaptureError:
        place = re.search(rb"(?<!\S)" + re.escape(token) + rb"(?!\S)", block)
        at = line + block.count(b"\n", 0, place.start() if place else 0)
        text = shown(token.decode("ascii", "backslashreplace"))
        return CaptureError(f"{path}:{at}: {text} {why}. Is the file cut off or damaged? Save it again.")

    for block in _whole_lines(path, file, rest):
        for token in block.split():
            if skipping:
                skipping = token != b"$end"
                continue
            if pending:
                for one in wanted.get(token, ()):
                    if wrong := _take(one, now, pending):
                        raise complain(block, pending, wrong)
                pending = b""
                continue
            kind = token[0]
            if kind == 35:  # '#'
                try:
                    moment = int(token[1:])
                except ValueError:
                    raise complain(block, token, "is no time") from None
                if moment < now and first is not None:
                    raise complain(block, token, f"goes back in time, from #{now}")
                now = moment
                first = now if first is None else first
            elif kind in _LEVELS or kind in _UNKNOWN:
                if len(token) == 1:
                    raise complain(block, token, "is a level without a variable")
                for one in wanted.get(token[1:], ()):
                    if kind in _LEVELS:
                        one.times.append(now)
                        one.values.append(_LEVELS[kind])
                    elif one.times:
                        raise complain(block, token, f"makes {shown(one.name)} unknown in the middle")
            elif kind in b"bBrRsS":
                pending = token
            elif kind == 36:  # '$'
                if token in (b"$comment",):
                    skipping = True
                elif not (token.startswith(b"$dump") or token == b"$end"):
                    raise complain(block, token, "is not expected among the changes")
            else:
                raise complain(block, token, "is neither a time nor a change")
        line += block.count(b"\n")
        notice("bytes", min(file.tell(), size), size)
    if pending or skipping:
        raise CaptureError(
            f"{path}:{line}: ends in the middle of a change. Is the file cut off? Save it again."
        )
    if first is None:
        raise CaptureError(f"{path}: has a header and no moment. Is the file cut off? Save it again.")
    return first, now


def _take(one: _Chosen, now: int, value: bytes) -> str:
    """Keep a vector or real; what is wrong with it, or ""."""
    text = value[1:].decode("ascii", "replace")
    if one.real:
        try:
            number = float(text)
        except ValueError:
            return "is no number"
        if value[:1] not in b"rR" or not math.isfinite(number):
            return "is no finite real number, as the header says"
        one.times.append(now)
        one.values.append(number)
        return ""
    at = one.bit or 0
    bit = text[-1 - at] if len(text) > at else "0"
    if bit in "01":
        one.times.append(now)
        one.values.append(int(bit))
        return ""
    # Unknown until the first level is nothing to complain about.
    return f"makes {shown(one.name)} unknown in the middle" if one.times or bit not in "xXzZ" else ""


def _whole_lines(path: Path, file: io.BufferedReader, rest: bytes) -> Iterator[bytes]:
    """The body in blocks that end with a line."""
    while True:
        more = file.read(BLOCK)
        if not more:
            cut = rest.rfind(b"\n") + 1
            if cut:
                yield rest[:cut]
            if rest[cut:].strip():
                last = shown(rest[cut:].strip().decode("ascii", "backslashreplace"))
                raise CaptureError(
                    f"{path}: ends with {last} and no end of line, so it may be cut off. Save it again, or "
                    "end the last line if it is whole."
                )
            return
        text = rest + more
        cut = text.rfind(b"\n") + 1
        rest = text[cut:]
        yield text[:cut]
