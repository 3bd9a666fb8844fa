"""Small changes of the control code, each of which somebody might have made by mistake.

A C parser says what is a comparison, a constant, a statement; the change is made in the text itself,
so that macros, comments and lines stay where they are.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from typing import Any

from dryspin.errors import UsageError

COMPARISON, OFF_BY_ONE, SIGN = "comparison", "off by one", "sign"
REMOVED, SWAPPED = "removed statement", "swapped constant"
KINDS = (COMPARISON, OFF_BY_ONE, SIGN, REMOVED, SWAPPED)

_OPERATORS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    # the border itself, and the other side
    "<": (COMPARISON, ("<=", ">=")),
    "<=": (COMPARISON, ("<", ">")),
    ">": (COMPARISON, (">=", "<=")),
    ">=": (COMPARISON, (">", "<")),
    "==": (COMPARISON, ("!=",)),
    "!=": (COMPARISON, ("==",)),
    "&&": (COMPARISON, ("||",)),
    "||": (COMPARISON, ("&&",)),
    "+": (SIGN, ("-",)),
    "-": (SIGN, ("+",)),
    "+=": (SIGN, ("-=",)),
    "-=": (SIGN, ("+=",)),
    "++": (SIGN, ("--",)),
    "--": (SIGN, ("++",)),
}

_HANDLERS = ("ISR", "SIGNAL")

_WITH_OPERATOR = ("binary_expression", "assignment_expression", "update_expression")
_STATEMENTS = ("expression_statement", "break_statement", "continue_statement", "return_statement")
_WHOLE = re.compile(r"^(?P<digits>0[xX][0-9a-fA-F]+|[0-9]+)(?P<suffix>[uUlL]*)$")


@dataclass(frozen=True, slots=True)
class Mutation:
    """One change: in `file`, the bytes from `start` to `end`, which read `before`, become `after`.

    `line` counts from 1; `function` is empty outside of one, as in a table; `block` is where the block
    around it begins, -1 where there is none to be observed; `old_line` and `new_line` are the source
    line before and after.
    """

    file: str
    start: int
    end: int
    kind: str
    before: str
    after: str
    function: str
    line: int
    block: int
    old_line: str
    new_line: str

    def applied(self, content: bytes) -> bytes:
        """The file with the change."""
        return content[: self.start] + self.after.encode() + content[self.end :]


_ATTRIBUTE = re.compile(rb"^((?:static |inline )*)([A-Z][A-Z0-9_]*)(?= [a-z]\w* \**[a-z]\w*\()", re.MULTILINE)


@dataclass(frozen=True)
class Source:
    """A parsed file; `gaps` are lines that the parser does not understand, which are left alone."""

    name: str
    content: bytes
    tree: Any

    @property
    def gaps(self) -> tuple[int, ...]:
        """Lines at which the parser lost track, in order."""
        errors = (node for node in walk(self.tree.root_node) if node.type == "ERROR" or node.is_missing)
        return tuple(sorted({node.start_point[0] + 1 for node in errors}))


def parse_source(name: str, content: bytes) -> Source:
    """Parse C text. Raises UsageError where the parser is not installed.

    A macro in front of a function's type, an attribute as a rule, is blank for the parser, which does
    not expand it.
    """
    blanked = _ATTRIBUTE.sub(lambda found: found[1] + b" " * len(found[2]), content)
    return Source(name, content, _parser(name.endswith(_CPP)).parse(blanked))


def neighbours(files: Mapping[str, bytes]) -> dict[str, str]:
    """For each named constant, the one beside it in the list that it is defined in.

    A list is an enumeration, or #define lines of constants one below the other; its last one's
    neighbour is the first.
    """
    beside: dict[str, str] = {}
    for name, content in files.items():
        for group in _groups(parse_source(name, content)):
            if len(group) > 1:
                beside |= dict(zip(group, [*group[1:], group[0]], strict=True))
    return beside


def mutations(source: Source, beside: Mapping[str, str], functions: Iterable[str] = ()) -> Iterator[Mutation]:
    """All changes of a source in the order of its text; in `functions` only, where some are named."""
    wanted = set(functions)
    for node in walk(source.tree.root_node):
        function = _function_of(node)
        if (wanted and function not in wanted) or _sizes_an_array(node):
            continue
        for start, end, kind, after in _changes(node, source.content, beside):
            yield _mutation(source, start, end, kind, after, function, block_of(node))


def _changes(node: Any, content: bytes, beside: Mapping[str, str]) -> Iterator[tuple[int, int, str, str]]:
    """Start, end, kind and new text of each change of one node."""
    if node.type in _WITH_OPERATOR:
        sign = node.child_by_field_name("operator")
        if sign is not None and sign.type in _OPERATORS:
            kind, others = _OPERATORS[sign.type]
            for after in others:
                yield sign.start_byte, sign.end_byte, kind, after
    elif node.type == "unary_expression":
        sign = node.child_by_field_name("operator")
        if sign is not None and sign.type in ("!", "-"):
            yield sign.start_byte, sign.end_byte, COMPARISON if sign.type == "!" else SIGN, ""
    elif node.type == "number_literal":
        for after in _one_off(_text(node, content)):
            yield node.start_byte, node.end_byte, OFF_BY_ONE, after
    elif node.type == "identifier":
        name = _text(node, content)
        if name in beside and _is_value(node):
            yield node.start_byte, node.end_byte, SWAPPED, beside[name]
    elif node.type in _STATEMENTS and not _holds_a_value(node) and _text(node, content) != ";":
        yield node.start_byte, node.end_byte, REMOVED, ";"


def _mutation(
    source: Source, start: int, end: int, kind: str, after: str, function: str, block: int
) -> Mutation:
    content = source.content
    line_start = content.rfind(b"\n", 0, start) + 1
    line_end = content.find(b"\n", start)
    line_end = len(content) if line_end < 0 else line_end
    shown_end = min(end, line_end)
    rest = content[end:line_end] if end <= line_end else b""
    return Mutation(
        file=source.name,
        start=start,
        end=end,
        kind=kind,
        before=content[start:end].decode(errors="replace"),
        after=after,
        function=function,
        line=content.count(b"\n", 0, start) + 1,
        block=block,
        old_line=content[line_start : max(shown_end, line_end)].decode(errors="replace").strip(),
        new_line=(content[line_start:start] + after.encode() + rest).decode(errors="replace").strip(),
    )


def _one_off(literal: str) -> Iterator[str]:
    """One more and one less; below 0 is not less but huge, for what is unsigned."""
    found = _WHOLE.match(literal)
    if not found:
        return
    digits = found["digits"]
    octal = len(digits) > 1 and digits[0] == "0" and digits[1] not in "xX"
    value = int(digits, 8 if octal else 0)
    for other in (value + 1, value - 1):
        if other >= 0:
            yield (hex(other) if digits[:2] in ("0x", "0X") else str(other)) + found["suffix"]


def _is_value(node: Any) -> bool:
    """A constant in an expression; not a name being declared, called, or asked for by the preprocessor."""
    parent = node.parent
    if parent is None or parent.type.startswith("preproc_") or parent.type == "enumerator":
        return False
    if parent.type == "call_expression":
        return bool(parent.child_by_field_name("function") != node)
    return bool(parent.child_by_field_name("declarator") != node)


def _sizes_an_array(node: Any) -> bool:
    """Part of a size: one more element changes nothing that a claim could see."""
    at = node
    while at is not None and not at.type.endswith("_statement"):
        if at.type.startswith("preproc_"):
            return True
        if at.parent is not None and at.parent.type == "array_declarator":
            return bool(at.parent.child_by_field_name("size") == at)
        at = at.parent
    return False


def _holds_a_value(node: Any) -> bool:
    """A return of a value: without it the function would be another kind of wrong, which compilers tell."""
    return bool(node.type == "return_statement" and node.named_child_count > 0)


def _function_of(node: Any) -> str:
    """Its name, a handler's that of its vector; "" outside of one."""
    found = _functions_around(node)
    if not found:
        return ""
    declarator = found[-1].child_by_field_name("declarator")
    parameters = None
    while declarator is not None and declarator.type != "identifier":
        parameters = declarator.child_by_field_name("parameters") or parameters
        declarator = declarator.child_by_field_name("declarator")
    name = declarator.text.decode() if declarator is not None else ""
    return parameters.text.decode().strip("() ") if name in _HANDLERS and parameters else name


def _functions_around(node: Any) -> list[Any]:
    """The innermost first: a macro before a block, as ATOMIC_BLOCK(x) { }, looks like one inside another."""
    found = []
    while node is not None:
        if node.type == "function_definition":
            found.append(node)
        node = node.parent
    return found


def _groups(source: Source) -> Iterator[list[str]]:
    group: list[str] = []
    last_line = -2
    for node in walk(source.tree.root_node):
        if node.type == "enumerator_list":
            yield [
                _text(child.child_by_field_name("name"), source.content)
                for child in node.named_children
                if child.type == "enumerator"
            ]
        if node.type != "preproc_def" or node.child_by_field_name("value") is None:
            continue
        # The node ends with its line, so the next line begins where it ends.
        if node.start_point[0] != last_line:
            yield group
            group = []
        group.append(_text(node.child_by_field_name("name"), source.content))
        last_line = node.end_point[0] + (node.end_point[1] > 0)
    yield group


def block_of(node: Any) -> int:
    """Start of the innermost block around a node that can be observed, -1 where there is none."""
    at = node.parent
    while at is not None:
        if at.type == "compound_statement" and is_observable(at):
            return int(at.start_byte)
        at = at.parent
    return -1


def is_observable(block: Any) -> bool:
    """A switch jumps past the head of its body, a goto past any block's; constexpr may store nothing."""
    if block.parent is not None and block.parent.type == "switch_statement":
        return False
    if _is_constexpr(block):
        return False
    return not any(inner.type == "labeled_statement" for inner in walk(block))


def _is_constexpr(block: Any) -> bool:
    return any(
        child.text == b"constexpr" for function in _functions_around(block) for child in function.children
    )


def walk(node: Any) -> Iterator[Any]:
    """The node and all below it, in the order of the text; nothing inside what is not understood."""
    waiting = [node]
    while waiting:
        at = waiting.pop()
        yield at
        if at.type != "ERROR":
            waiting += reversed(at.children)


def _text(node: Any, content: bytes) -> str:
    return content[node.start_byte : node.end_byte].decode(errors="replace")


_CPP = (".cpp", ".cc", ".cxx", ".hpp", ".ino")
"""Sources in C++, and sketches, which are."""


@cache
def _parser(is_cpp: bool) -> Any:
    try:
        import tree_sitter

        grammar = import_module("tree_sitter_cpp" if is_cpp else "tree_sitter_c")
    except ImportError:
        raise UsageError(
            "the C parser for mutations is not installed; install it with: pip install 'dryspin[mutate]'"
        ) from None
    return tree_sitter.Parser(tree_sitter.Language(grammar.language()))
