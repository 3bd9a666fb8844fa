"""What the core records, carried away buffer by buffer."""

from typing import Any

import numpy as np


class Chunks:
    """A buffer lent to the core, and what has been carried away from it.

    `buffer` is the core's, `name` that of its pointer ("edge" or "sample"); `room` in rows of `layout`;
    `before`: what stands before all of it, from the run that this one goes on from.
    """

    def __init__(
        self,
        ffi: Any,
        buffer: Any,
        name: str,
        layout: np.dtype[Any],
        room: int,
        before: np.ndarray[Any, Any] | None = None,
    ) -> None:
        self._ffi, self._buffer, self._name = ffi, buffer, name
        self._layout, self._room = layout, room
        self._taken: list[np.ndarray[Any, Any]] = [] if before is None else [before]
        self._lend()

    def _lend(self) -> None:
        self._lent: np.ndarray[Any, Any] = np.empty(self._room, self._layout)
        at = self._ffi.cast(f"core_{self._name} *", self._ffi.from_buffer(self._lent))
        setattr(self._buffer, self._name, at)
        self._buffer.n, self._buffer.room = 0, self._room

    def take(self) -> None:
        """Carry away what is full, and lend another."""
        self._taken.append(self._lent[: self._buffer.n])
        self._lend()

    def all(self) -> np.ndarray[Any, Any]:
        """Everything so far, in one piece."""
        pieces = [*self._taken, self._lent[: self._buffer.n]]
        # As bytes: numpy joins structured arrays field by field.
        return np.concatenate([piece.view(np.uint8) for piece in pieces]).view(self._layout)
