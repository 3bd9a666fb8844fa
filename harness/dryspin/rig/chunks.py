"""What the core records: memory lent to it piece by piece."""

import sys
from threading import Lock
from typing import Any

import numpy as np

_Block = np.ndarray[Any, Any]

_KEPT = 4
_KEPT_ROWS = 1 << 20
_kept: list[_Block] = []
_lock = Lock()


def _holders(blocks: list[_Block], k: int) -> int:
    return sys.getrefcount(blocks[k])


_NOBODY = _holders([np.empty(1)], 0)
"""What `_holders` counts of a block that only its list holds; it differs between versions of Python."""


def _block(rows: int, layout: np.dtype[Any]) -> _Block:
    """Memory for `rows`: a block that no recording looks at any more, if there is one, or a new one.

    The system clears new memory page by page, which takes a twentieth of a run's time. Every view of a
    block, however derived, holds the block itself: numpy sees to that where the block owns its memory.
    """
    with _lock:
        for k in range(len(_kept)):
            fits = _kept[k].dtype == layout and len(_kept[k]) >= rows
            if fits and _holders(_kept, k) == _NOBODY:
                return _kept[k]
        fresh: _Block = np.empty(rows, layout)
        if rows <= _KEPT_ROWS:
            del _kept[: max(len(_kept) + 1 - _KEPT, 0)]
            _kept.append(fresh)
        return fresh


class Chunks:
    """A block of rows the core writes to, lent `room` rows at a time, so that the host is asked now and then.

    `buffer` is the core's, `name` that of its pointer ("edge" or "sample"); `room` in rows of `layout`.
    `expected`: rows that the first block is to hold. Memory that is never written to costs nothing, a
    second block costs a copy. `before`: what stands before all of it, of the run that this one goes on; it is
    copied to the head of the first block.
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
        self._block = _block(max(begun + room, expected), layout)
        if before is not None:
            self._block[:begun] = before
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
