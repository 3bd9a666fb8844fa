"""C around each function: arguments out of a struct, the result into it.

So the compiler itself passes structs and results as the functions' own callers do, whatever the
calling convention of this machine makes of them.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import cffi

from dryspin.build.symbols import CALLS_SOURCE
from dryspin.call.declarations import PREFIX, Declarations, Declared, including

SOURCE = CALLS_SOURCE
_THUNK = "dryspin_call_"
_BOX = "dryspin_box_"


_READER = (cffi.FFIError, cffi.CDefError, NotImplementedError, TypeError, ValueError)
"""What cffi raises for C that it does not take."""


@dataclass(frozen=True)
class Signature:
    """One function that can be called: its declaration and its types as cffi knows them.

    `box` points to a struct of the arguments a0, a1, ... and the result r.
    """

    declared: Declared
    arguments: tuple[Any, ...]
    result: Any
    box: Any

    @property
    def thunk(self) -> str:
        """The function in the image that takes a pointer to the box."""
        return _THUNK + self.declared.name


@dataclass(frozen=True)
class Surface:
    """What can be called, and why the rest cannot; the C source that goes into the image."""

    functions: Mapping[str, Signature]
    refused: Mapping[str, str]
    source: str

    @property
    def shown(self) -> list[str]:
        """Names to be found in the image."""
        return [function.thunk for function in self.functions.values()]


class _RefusedError(Exception):
    """Why a function cannot be called."""


def surface(ffi: Any, declarations: Declarations, headers: Iterable[str], defined: set[str]) -> Surface:
    """Declare everything to `ffi`, and write the source. `defined`: functions that the image holds."""
    # What cffi does not take is missed by the functions that need it, which then say so.
    _declare(ffi, dict(enumerate(declarations.types)))
    wanted = {
        name: declared
        for name, declared in declarations.functions.items()
        if name != "main" and (declared.inline or name in defined)
    }
    reasons = {
        name: "it takes a variable number of arguments; give it a fixed number"
        for name, declared in wanted.items()
        if declared.variadic
    }
    typedefs = {name: wanted[name].typedef for name in wanted if name not in reasons}
    reasons |= {
        name: f"its types are beyond the reader of C declarations ({problem})"
        for name, problem in _declare(ffi, typedefs).items()
    }
    kinds = _types(ffi, [name for name in typedefs if name not in reasons], PREFIX)
    boxes = {}
    for name, kind in kinds.items():
        try:
            for each in (*kind.args, kind.result):
                _require_passable(ffi, each)
            boxes[name] = _box(ffi, name, kind.args, kind.result)
        except _RefusedError as reason:
            reasons[name] = str(reason)
    reasons |= _declare(ffi, boxes)
    holders = _types(ffi, [name for name in boxes if name not in reasons], _BOX)
    functions = {
        name: Signature(wanted[name], tuple(kinds[name].args), kinds[name].result, box)
        for name, box in holders.items()
    }
    _declare(ffi, {name: f"void {function.thunk}(void *box);" for name, function in functions.items()})
    refused = {
        name: f"{wanted[name].place}: {name}() cannot be called from Python: {reason}"
        for name, reason in reasons.items()
    }
    thunks = "".join(_thunk(ffi, function) for function in functions.values())
    return Surface(functions, refused, including(headers) + "\n" + thunks)


def _declare(ffi: Any, texts: Mapping[Any, str]) -> dict[Any, str]:
    """Declare C texts; what cffi does not take, with its reason."""
    try:
        # One by one takes cffi half a minute for a hundred functions.
        ffi.cdef("\n".join(texts.values()))
    except _READER:
        problems = {}
        for name, text in texts.items():
            try:
                ffi.cdef(text, override=True)
            except _READER as problem:
                problems[name] = (str(problem).splitlines() or [type(problem).__name__])[0]
        return problems
    return {}


def _types(ffi: Any, names: Iterable[str], prefix: str) -> dict[str, Any]:
    """Pointers to the types prefix + name, all asked for in one go."""
    fields = " ".join(f"{prefix}{name} *{name};" for name in names)
    if not fields:
        return {}
    return {name: field.type for name, field in ffi.typeof(f"struct {{ {fields} }}").fields}


def _require_passable(ffi: Any, kind: Any) -> None:
    # A pointer to a function is what cffi itself calls a function.
    if kind.kind == "function":
        raise _RefusedError("it deals in pointers to functions; call the function behind it itself")
    if kind.kind in ("struct", "union"):
        try:
            ffi.sizeof(kind)
        except _READER:
            raise _RefusedError(f"the header does not say what {kind.cname} holds") from None


def _box(ffi: Any, name: str, arguments: Sequence[Any], result: Any) -> str:
    fields = [ffi.getctype(argument, f"a{k}") for k, argument in enumerate(arguments)]
    if result.kind != "void":
        fields.append(ffi.getctype(result, "r"))
    return f"typedef struct {{ {' '.join(f'{field};' for field in fields or ['char none'])} }} {_BOX}{name};"


def _thunk(ffi: Any, function: Signature) -> str:
    name = function.declared.name
    box = _BOX + name
    call = f"{name}({', '.join(f'box->a{k}' for k in range(len(function.arguments)))})"
    if function.result.kind != "void":
        # The box's pointers do not say const; whoever looks through them from Python only reads.
        call = f"box->r = {'(void *)' if function.result.kind == 'pointer' else ''}{call}"
    size = ffi.sizeof(function.box.item)
    return (
        f"{_box(ffi, name, function.arguments, function.result)}\n"
        f'_Static_assert(sizeof({box}) == {size}, "{name}() takes a struct whose layout an '
        'attribute changes; dryspin cannot pass it");\n'
        f'__attribute__((visibility("default"))) void {function.thunk}({box} *box);\n'
        f"void {function.thunk}({box} *box)\n"
        f"{{\n\t(void)box;\n\t{call};\n}}\n\n"
    )
