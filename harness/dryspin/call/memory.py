"""Memory that firmware and Python look at together, without either being able to hurt the other.

What Python lends lies against a page that nothing may touch, so that firmware that writes past the
end faults on its own stack. What firmware lends is read through the operating system, which answers
a wild address with an error.
"""

import mmap
import os
from collections.abc import Callable
from typing import Any

import cffi

from dryspin.errors import CallError

_PAGE = mmap.PAGESIZE
_PROT_NONE = 0

_c = cffi.FFI()
_c.cdef(
    "void *mmap(void *at, size_t bytes, int protection, int flags, int file, long offset);"
    "int munmap(void *at, size_t bytes);"
)


class GuardedMemory:
    """Allocates C objects of `ffi` that end where a page without access begins; another lies before."""

    def __init__(self, ffi: Any) -> None:
        self._ffi = ffi
        self._libc = _c.dlopen(None)
        self._spans: dict[int, tuple[int, int]] = {}
        self.new: Callable[..., Any] = ffi.new_allocator(self._allocate, self._free)

    def _allocate(self, size: int) -> Any:
        pages = -(-size // _PAGE)
        whole = (pages + 2) * _PAGE
        private = mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS
        base = self._map(_c.NULL, whole, _PROT_NONE, private)
        self._map(base + _PAGE, pages * _PAGE, mmap.PROT_READ | mmap.PROT_WRITE, private | _MAP_FIXED)
        # The size of a C type is a multiple of its alignment, so the object is aligned, too.
        address = int(_c.cast("uintptr_t", base)) + (pages + 1) * _PAGE - size
        self._spans[address] = int(_c.cast("uintptr_t", base)), whole
        return self._ffi.cast("void *", address)

    def _map(self, at: Any, size: int, protection: int, flags: int) -> Any:
        got = self._libc.mmap(at, size, protection, flags, -1, 0)
        if int(_c.cast("intptr_t", got)) == -1:
            raise MemoryError(f"no room for {size} bytes")
        return _c.cast("char *", got)

    def _free(self, pointer: Any) -> None:
        base, size = self._spans.pop(int(self._ffi.cast("uintptr_t", pointer)))
        self._libc.munmap(_c.cast("void *", base), size)


_MAP_FIXED = 0x10
"""Linux, x86-64; the module mmap does not name it."""


class Object:
    """A C object of Python's making, to be lent to the firmware: pass it where a pointer is asked for.

    `value` reads it (a struct as a namespace, an array as a tuple) and sets it, range-checked.
    """

    def __init__(self, cdata: Any, read: Callable[[Any], Any], write: Callable[[Any, Any], None]) -> None:
        self.cdata = cdata
        self._read, self._write = read, write

    @property
    def value(self) -> Any:
        """What it holds now."""
        return self._read(self.cdata)

    @value.setter
    def value(self, value: Any) -> None:
        self._write(self.cdata, value)

    def __repr__(self) -> str:
        return f"<Object {self.value!r}>"


class Pointer:
    """A pointer that the firmware has given: `p[0]`, `p[0:3]` read what it points to, in its C type."""

    def __init__(self, ffi: Any, cdata: Any, read: Callable[[Any], Any]) -> None:
        self.cdata = cdata
        self._ffi, self._read = ffi, read

    @property
    def address(self) -> int:
        """Where it points to."""
        return int(self._ffi.cast("uintptr_t", self.cdata))

    def __getitem__(self, index: int | slice) -> Any:
        """One element, or a tuple of them; raises CallError where there is no readable memory."""
        if isinstance(index, slice):
            if index.stop is None or index.stop < 0:
                raise CallError("a pointer does not know how much it points to; give the end: p[0:3]")
            return tuple(self[k] for k in range(index.start or 0, index.stop, index.step or 1))
        kind = self._ffi.typeof(self.cdata).item
        if kind.kind == "void":
            raise CallError("the function gives a void pointer, which says nothing about what lies there")
        size = self._ffi.sizeof(kind)
        holder = self._ffi.new(self._ffi.getctype(kind, "[1]"))
        self._ffi.memmove(holder, self._bytes(self.address + index * size, size), size)
        return self._read(holder[0])

    def _bytes(self, address: int, size: int) -> bytes:
        with open("/proc/self/mem", "rb", buffering=0) as memory:  # noqa: PTH123 - no path of ours
            try:
                found = os.pread(memory.fileno(), size, address)
            except (OSError, OverflowError):
                found = b""
        if len(found) < size:
            raise CallError(
                f"the pointer {address:#x} that the firmware has given leads to no readable memory; "
                "look at what the function returns"
            )
        return found

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Pointer) and other.address == self.address

    def __hash__(self) -> int:
        return hash(self.address)

    def __repr__(self) -> str:
        return f"<{self._ffi.typeof(self.cdata).cname} {self.address:#x}>"
