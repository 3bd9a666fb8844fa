"""What the core records, carried away buffer by buffer."""

from typing import Any

import numpy as np


class Chunks:
    """A buffer lent to the core, and what has been carried away from it.

    `buffer` is the core's, `name` that of its pointer ("edge" or "sample"); `room` in rows of `layout`.
    """

    def __init__(self, ffi: Any, buffer: Any, name: str, layout: np.dtype[Any], room: int) -> None:
        self._lent: np.ndarray[Any, Any] = np.zeros(room, layout)
        self._taken: list[np.ndarray[Any, Any]] = []
        self._buffer = buffer
        setattr(buffer, name, ffi.cast(f"core_{name} *", ffi.from_buffer(self._lent)))
        buffer.n, buffer.room = 0, room

    def take(self) -> None:
        """Carry away what stands in the buffer; the core may fill it again."""
        self._taken.append(self._lent[: self._buffer.n].copy())
        self._buffer.n = 0

    def all(self) -> np.ndarray[Any, Any]:
        """Everything recorded so far, in one array."""
        self.take()
        return np.concatenate(self._taken)
