"""The firmware's headers as a C parser reads them: functions with their types.

The compiler's preprocessor does what it always does; of its output only the firmware's own text is
parsed, system headers are left out. What they declare for everybody (uint8_t, size_t, bool) is known
to cffi anyway.
"""

import copy
import re
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from pycparser import c_ast, c_generator, c_parser

from dryspin.build import Compiler
from dryspin.errors import CallError

PREFIX = "dryspin_type_"
"""Typedefs that stand for the types of functions."""

_COMPILER_WORDS = (
    *("-D__attribute__(x)=", "-D__asm__(x)=", "-D__extension__=", "-D__restrict=", "-D__inline=inline"),
    *("-D__inline__=inline", "-D__const=const", "-D__volatile__=volatile", "-D_Noreturn="),
)
"""Extensions of the compiler that say nothing about how a function is called."""

_KNOWN_TYPES = (
    *(f"{sign}int{bits}_t" for sign in ("", "u") for bits in (8, 16, 32, 64)),
    *(
        f"{sign}int_{kind}{bits}_t"
        for sign in ("", "u")
        for kind in ("least", "fast")
        for bits in (8, 16, 32, 64)
    ),
    *("intptr_t", "uintptr_t", "intmax_t", "uintmax_t", "size_t", "ptrdiff_t", "wchar_t"),
)

_MARKER = re.compile(r'^# \d+ "(?P<file>[^"]*)"(?P<flags>[ \d]*)$')


@dataclass(frozen=True)
class Declared:
    """One function as a header declares it.

    typedef     C text that makes PREFIX + name a type of such functions
    parameters  names, "" where the header gives none
    place       "timing.h:32"
    text        the declaration, for people
    inline      the header holds its body, too
    variadic    it takes a variable number of arguments
    """

    name: str
    typedef: str
    parameters: tuple[str, ...]
    place: str
    text: str
    inline: bool
    variadic: bool


@dataclass(frozen=True)
class Declarations:
    """What the headers declare: C texts of types, in order, and functions by name."""

    types: tuple[str, ...]
    functions: dict[str, Declared]


def read_declarations(
    compiler: Compiler, options: Sequence[str], stage: Path, headers: Iterable[str]
) -> Declarations:
    """Preprocess `headers` in `stage` and parse them. Raises CallError with file and line."""
    with tempfile.TemporaryDirectory(prefix="dryspin-") as scratch:
        source = Path(scratch) / "headers.c"
        source.write_text(including(headers), encoding="utf-8")
        done = compiler.run([*options, *_COMPILER_WORDS, "-E", "-I.", str(source)], stage)
        if done.returncode != 0:
            said = next(
                (line for line in done.stderr.splitlines() if " error: " in line), done.stderr.strip()
            )
            raise CallError(f"the firmware's headers cannot be preprocessed together: {said}")
    known = "".join(f"typedef int {name}; " for name in _KNOWN_TYPES) + "typedef int bool;\n"
    try:
        tree = c_parser.CParser().parse(known + _own_text(done.stdout), "headers.c")
    except c_parser.ParseError as problem:
        raise CallError(
            f"{_short(str(problem))}: the C parser stops there; a header must include what it needs, and "
            "keep to standard C (attributes are passed over)"
        ) from None
    return _sorted_out(tree)


def including(headers: Iterable[str]) -> str:
    """A source that includes the headers, the seam first."""
    rest = [name for name in headers if PurePosixPath(name).name != "drive_port.h"]
    return "".join(f'#include "{name}"\n' for name in ("drive_port.h", *rest))


def _own_text(preprocessed: str) -> str:
    """The text without what came from system headers; markers keep files and lines right."""
    kept = []
    own = True
    # Flag 3 also marks what a system header's macro becomes in a file of the firmware, such as bool.
    ours: set[str] = set()
    for line in preprocessed.splitlines():
        if marker := _MARKER.match(line):
            if "3" not in marker["flags"].split():
                ours.add(marker["file"])
            own = marker["file"] in ours
            if own:
                kept.append(line)
        elif own and not line.startswith("#pragma"):
            kept.append(line)
    return "\n".join(kept) + "\n"


def _sorted_out(tree: c_ast.FileAST) -> Declarations:
    generator = c_generator.CGenerator()
    types: list[str] = []
    functions: dict[str, Declared] = {}
    for node in tree.ext:
        if isinstance(node, c_ast.FuncDef):
            declaration, inline = node.decl, True
        elif isinstance(node, c_ast.Decl) and isinstance(node.type, c_ast.FuncDecl):
            declaration, inline = node, False
        elif isinstance(node, c_ast.Typedef):
            if node.name not in (*_KNOWN_TYPES, "bool"):
                types.append(generator.visit(node) + ";")
            continue
        elif isinstance(node, c_ast.Decl) and node.name is None:
            types.append(generator.visit(node) + ";")
            continue
        else:
            continue
        if declaration.name not in functions or inline:
            functions[declaration.name] = _declared(declaration, inline, generator)
    return Declarations(tuple(types), functions)


def _declared(node: c_ast.Decl, inline: bool, generator: c_generator.CGenerator) -> Declared:
    function = copy.deepcopy(node.type)
    inner = function.type
    while not isinstance(inner, c_ast.TypeDecl):
        inner = inner.type
    inner.declname = PREFIX + node.name
    typedef = c_ast.Typedef(PREFIX + node.name, [], ["typedef"], function)
    listed = node.type.args.params if node.type.args else ()
    names = tuple(getattr(parameter, "name", None) or "" for parameter in listed)
    shown = copy.copy(node)
    shown.storage, shown.funcspec = [], []
    return Declared(
        name=node.name,
        typedef=generator.visit(typedef) + ";",
        parameters=names,
        place=_short(f"{node.coord.file}:{node.coord.line}"),
        text=generator.visit(shown),
        inline=inline,
        variadic=any(isinstance(parameter, c_ast.EllipsisParam) for parameter in listed),
    )


def _short(place: str) -> str:
    """ "./timing.h:32" -> "timing.h:32"; the seam without its folder."""
    return re.sub(r"^(?:\./|/\S*/(?=[^/\s]+:))", "", place)
