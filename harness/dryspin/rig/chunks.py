"""What the core records: memory lent to it piece by piece."""

import sys
from threading import Lock
from typing import Any
from weakref import ReferenceType, ref

import numpy as np

_Block = np.ndarray[Any, Any]

_KEPT = 4
_KEPT_ROWS = 1 << 20


class _Kept:
    """A block, and the rows that stand at its head where a run went on behind some."""

    __slots__ = ("block", "head")

    def __init__(self, block: _Block) -> None:
        self.block = block
        self.head: ReferenceType[_Block] | None = None

    def holders(self) -> int:
        return sys.getrefcount(self.block)

    def begins_with(self, rows: _Block | None) -> bool:
        return rows is not None and self.head is not None and self.head() is rows

    def given(self, before: _Block | None) -> _Block:
        """The block, with `before` at its head."""
        if not self.begins_with(before):
            self.head = None
            if before is not None:
                self.block[: len(before)] = before
                self.head = ref(before)
        return self.block


_kept: list[_Kept] = []
_lock = Lock()

_NOBODY = _Kept(np.empty(1)).holders()
"""What `holders` counts of a block that only its `_Kept` holds; it differs between versions of Python."""


def _block(rows: int, layout: np.dtype[Any], before: _Block | None = None) -> _Block:
    """Memory for `rows`, `before` at its head: a block that no recording looks at any more, or a new one.

    The system clears new memory page by page, which takes a twentieth of a run's time; to copy what stands
    before a continuation takes as much of its own, so a block that has it from an earlier one is taken
    first. Every view of a block, however derived, holds the block itself: numpy sees to that where the block
    owns its memory.
    """
    with _lock:
        free = [
            kept
            for kept in _kept
            if kept.block.dtype == layout and len(kept.block) >= rows and kept.holders() == _NOBODY
        ]
        if free:
            return max(free, key=lambda kept: (kept.begins_with(before), kept.head is None)).given(before)
        fresh = _Kept(np.empty(rows, layout))
        if rows <= _KEPT_ROWS:
            del _kept[: max(len(_kept) + 1 - _KEPT, 0)]
            _kept.append(fresh)
        return fresh.given(before)


class Chunks:
    """A block of rows the core writes to, lent `room` rows at a time, so that the host is asked now and then.

    `buffer` is the core's, `name` that of its pointer ("edge" or "sample"); `room` in rows of `layout`.
    `expected`: rows that the first block is to hold. Memory that is never written to costs nothing, a
    second block costs a copy. `before`: what stands before all of it, of the run that this one goes on; it
    stands at the head of the first block. Nobody may write to it afterwards.
    """

    def __init__(
        self,
        ffi: Any,
        buffer: Any,
        name: str,
        layout: np.dtype[Any],
        room: int,
        expected: int = 0,
        before: _Block | None = None,
    ) -> None:
        self._ffi, self._buffer, self._name = ffi, buffer, name
        self._layout, self._room = layout, room
        self._full: list[_Block] = []
        begun = 0 if before is None else len(before)
        self._block = _block(max(begun + room, expected), layout, before)
        self._used = begun
        self._lend()

    def _lend(self) -> None:
        if self._used == len(self._block):
            self._full.append(self._block)
            self._block = _block(max(self._room, len(self._block)), self._layout)
            self._used = 0
        lent = self._block[self._used : self._used + self._room]
        at = self._ffi.cast(f"core_{self._name} *", self._ffi.from_buffer(lent))
        setattr(self._buffer, self._name, at)
        self._buffer.n, self._buffer.room = 0, len(lent)

    def take(self) -> None:
        """Keep what has been written, and lend more."""
        self._used += self._buffer.n
        self._lend()

    def all(self) -> _Block:
        """Everything so far, in one piece."""
        last = self._block[: self._used + self._buffer.n]
        if not self._full:
            return last
        # As bytes: numpy joins structured arrays field by field.
        return np.concatenate([piece.view(np.uint8) for piece in (*self._full, last)]).view(self._layout)
