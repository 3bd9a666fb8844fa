"""Python values to C and back: nothing is cut off in silence, structs are namespaces, arrays tuples."""

import operator
from collections.abc import Mapping, Sequence
from types import SimpleNamespace
from typing import Any

import cffi

from dryspin.call.memory import GuardedMemory, Object, Pointer
from dryspin.errors import CallError


class Values:
    """Conversions for the types of one firmware. `lent` keeps what the firmware may still point to."""

    def __init__(self, ffi: Any) -> None:
        self._ffi = ffi
        self._memory = GuardedMemory(ffi)
        self.lent: list[Any] = []

    def to_c(self, kind: Any, value: Any, where: str) -> Any:
        """What cffi takes for a C value of type `kind`. Raises CallError, naming `where`."""
        if kind.kind == "primitive":
            return self._number(kind, value, where)
        if kind.kind == "enum":
            return self._enumerator(kind, value, where)
        if kind.kind == "pointer":
            return self._pointer(kind, value, where)
        if kind.kind == "array":
            return self._array(kind, value, where)
        return self._struct(kind, value, where)

    def from_c(self, value: Any) -> Any:
        """A C value as cffi gives it, in Python's own types."""
        if isinstance(value, bytes):
            # a plain char, which is a small number in firmware; signed on this machine
            return int.from_bytes(value, "little", signed=True)
        if not isinstance(value, self._ffi.CData):
            return value
        kind = self._ffi.typeof(value)
        if kind.kind == "pointer":
            return None if value == self._ffi.NULL else Pointer(self._ffi, value, self.from_c)
        if kind.kind == "array":
            return tuple(self.from_c(item) for item in value)
        return SimpleNamespace(**{name: self.from_c(getattr(value, name)) for name, _ in kind.fields})

    def new(self, type_name: str, value: Any = None) -> Object:
        """A C object of that type, all zero or as given. Raises CallError."""
        try:
            kind = self._ffi.typeof(type_name)
            self._ffi.sizeof(kind)
        except (cffi.FFIError, cffi.CDefError, TypeError, ValueError) as problem:
            raise CallError(
                f"no object of type {type_name!r} can be made ({str(problem).splitlines()[0]}); name a type "
                'of the firmware\'s headers, such as "uint8_t" or "uint8_t[4]"'
            ) from None
        made = Object(self._allocated(kind), self._read_object, self._write_object)
        if value is not None:
            made.value = value
        return made

    def _allocated(self, kind: Any) -> Any:
        """An object of type `kind`: an array, or a pointer to one of anything else."""
        return self._memory.new(kind if kind.kind == "array" else self._ffi.getctype(kind, "*"))

    def _read_object(self, cdata: Any) -> Any:
        is_array = self._ffi.typeof(cdata).kind == "array"
        return self.from_c(cdata if is_array else cdata[0])

    def _write_object(self, cdata: Any, value: Any) -> None:
        kind = self._ffi.typeof(cdata)
        given = self.to_c(kind if kind.kind == "array" else kind.item, value, kind.cname)
        if kind.kind == "array":
            for k, item in enumerate(given):
                cdata[k] = item
        else:
            cdata[0] = given

    def _number(self, kind: Any, value: Any, where: str) -> Any:
        name = kind.cname
        if name in ("float", "double", "long double"):
            if isinstance(value, bool) or not hasattr(value, "__float__"):
                raise CallError(f"{where}: {value!r} is no number, as {name} asks for")
            return float(value)
        try:
            number = operator.index(value)
        except TypeError:
            raise CallError(f"{where}: {value!r} is no whole number, as {name} asks for") from None
        low, high = self._range(kind)
        if not low <= number <= high:
            raise CallError(f"{where}: {number} is outside {name}, {low} to {high}")
        return number.to_bytes(1, "little", signed=True) if name == "char" else number

    def _range(self, kind: Any) -> tuple[int, int]:
        if kind.cname == "_Bool":
            return 0, 1
        bits = 8 * self._ffi.sizeof(kind)
        if kind.cname == "char" or int(self._ffi.cast(kind, -1)) < 0:
            return -(1 << (bits - 1)), (1 << (bits - 1)) - 1
        return 0, (1 << bits) - 1

    def _enumerator(self, kind: Any, value: Any, where: str) -> int:
        if isinstance(value, str):
            if value not in kind.relements:
                names = sorted(kind.relements, key=kind.relements.__getitem__)
                raise CallError(f"{where}: {value} is none of {', '.join(names)}")
            return int(kind.relements[value])
        bits = 8 * self._ffi.sizeof(kind)
        signed = int(self._ffi.cast(kind, -1)) < 0
        try:
            number = operator.index(value)
        except TypeError:
            raise CallError(f"{where}: {value!r} is no whole number, as {kind.cname} asks for") from None
        low, high = (-(1 << (bits - 1)), (1 << (bits - 1)) - 1) if signed else (0, (1 << bits) - 1)
        if not low <= number <= high:
            raise CallError(f"{where}: {number} is outside {kind.cname}, {low} to {high}")
        return number

    def _pointer(self, kind: Any, value: Any, where: str) -> Any:
        if value is None:
            return self._ffi.NULL
        if isinstance(value, Object | Pointer):
            return self._fitting(kind, value, where)
        if kind.item.kind == "void":
            raise CallError(f"{where}: give an object made by new(), None, or a pointer of the firmware's")
        listed = isinstance(value, bytes | list | tuple) and not (
            kind.item.kind == "struct" and value and not isinstance(value[0], Mapping | SimpleNamespace)
        )
        items = list(value) if listed else [value]
        array = self._memory.new(self._ffi.getctype(kind.item, f"[{max(len(items), 1)}]"))
        for k, item in enumerate(items):
            array[k] = self.to_c(kind.item, item, f"{where}[{k}]" if listed else where)
        self.lent.append(array)
        return self._ffi.cast(kind, array)

    def _fitting(self, kind: Any, value: Object | Pointer, where: str) -> Any:
        given = self._ffi.typeof(value.cdata)
        if given.item is not kind.item and "void" not in (kind.item.kind, given.item.kind):
            raise CallError(f"{where}: points to {given.item.cname}, where {kind.item.cname} is asked for")
        if isinstance(value, Object):
            self.lent.append(value.cdata)
        return self._ffi.cast(kind, value.cdata)

    def _array(self, kind: Any, value: Any, where: str) -> list[Any]:
        if not isinstance(value, Sequence) or isinstance(value, str):
            raise CallError(f"{where}: {value!r} is no list, as {kind.cname} asks for")
        if kind.length is not None and len(value) > kind.length:
            raise CallError(f"{where}: {len(value)} elements for {kind.cname}")
        return [self.to_c(kind.item, item, f"{where}[{k}]") for k, item in enumerate(value)]

    def _struct(self, kind: Any, value: Any, where: str) -> dict[str, Any]:
        fields = {name: field.type for name, field in kind.fields}
        if isinstance(value, SimpleNamespace):
            value = vars(value)
        if isinstance(value, list | tuple):
            if len(value) > len(fields):
                raise CallError(f"{where}: {len(value)} values for {kind.cname}, which has {len(fields)}")
            value = dict(zip(fields, value, strict=False))
        if not isinstance(value, Mapping):
            raise CallError(f"{where}: {value!r} is no {kind.cname}; give a dict of {', '.join(fields)}")
        for name in value:
            if name not in fields:
                raise CallError(f"{where}: {kind.cname} has no {name}; it has {', '.join(fields)}")
        return {name: self.to_c(fields[name], item, f"{where}.{name}") for name, item in value.items()}
