"""What the core records: memory lent to it piece by piece."""

from typing import Any

import numpy as np


class Chunks:
    """A block of rows the core writes to, lent `room` rows at a time, so that the host is asked now and then.

    `buffer` is the core's, `name` that of its pointer ("edge" or "sample"); `room` in rows of `layout`.
    `expected`: rows that the first block is to hold. Memory that is never written to costs nothing, a
    second block costs a copy. `before`: what stands before all of it, from the run that this one goes on from.
    """

    def __init__(
        self,
        ffi: Any,
        buffer: Any,
        name: str,
        layout: np.dtype[Any],
        room: int,
        expected: int = 0,
        before: np.ndarray[Any, Any] | None = None,
    ) -> None:
        self._ffi, self._buffer, self._name = ffi, buffer, name
        self._layout, self._room = layout, room
        self._full: list[np.ndarray[Any, Any]] = [] if before is None else [before]
        self._block: np.ndarray[Any, Any] = np.empty(max(room, expected), layout)
        self._used = 0
        self._lend()

    def _lend(self) -> None:
        if self._used == len(self._block):
            self._full.append(self._block)
            self._block = np.empty(max(self._room, len(self._block)), self._layout)
            self._used = 0
        lent = self._block[self._used : self._used + self._room]
        at = self._ffi.cast(f"core_{self._name} *", self._ffi.from_buffer(lent))
        setattr(self._buffer, self._name, at)
        self._buffer.n, self._buffer.room = 0, len(lent)

    def take(self) -> None:
        """Keep what has been written, and lend more."""
        self._used += self._buffer.n
        self._lend()

    def all(self) -> np.ndarray[Any, Any]:
        """Everything so far, in one piece."""
        last = self._block[: self._used + self._buffer.n]
        if not self._full:
            return last
        # As bytes: numpy joins structured arrays field by field.
        return np.concatenate([piece.view(np.uint8) for piece in (*self._full, last)]).view(self._layout)
