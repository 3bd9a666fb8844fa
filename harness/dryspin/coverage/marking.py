"""The firmware with a mark at every statement, at either way of every condition and at every case.

A mark is a store into memory that no reset clears. Stores take no virtual time, so a run is what it was
without them. With block_cycles, which charges what the compiler makes of the code, it is not: the two ways
of a condition are blocks of their own.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cffi

from dryspin.build import Image
from dryspin.build.workshop import Workshop
from dryspin.coverage.covered import Coverage, Mark
from dryspin.mutate.mutations import Source, parse_source, walk

_ARRAY = "dryspin_covered"
_SOURCE = "dryspin_covered.c"

_STATEMENTS = (
    *("expression_statement", "return_statement", "break_statement", "continue_statement"),
    *("if_statement", "for_statement", "while_statement", "do_statement", "switch_statement"),
    "for_range_loop",
)
_CONDITIONS = ("if_statement", "while_statement", "do_statement")
_CONDITION_NODES = ("parenthesized_expression", "condition_clause")
"""Of C and of C++; the latter may hold a declaration, which has no two ways to mark."""


class Covering:
    """The firmware of a workshop with its marks. Raises BuildError, UsageError without the parser."""

    def __init__(self, workshop: Workshop, place: Path) -> None:
        self.marks: list[Mark] = []
        changed: dict[str, bytes] = {}
        for name in workshop.text.sources:
            source = parse_source(name, workshop.text.files[name])
            changed[name] = self._marked(source)
        array = (
            f"extern unsigned char {_ARRAY}[];\n"
            f'__attribute__((visibility("default"), section(".{_ARRAY}")))\n'
            f"unsigned char {_ARRAY}[{len(self.marks) + 1}] = {{1}};\n"
        )
        self.image: Image = workshop.whole_image(changed | {_SOURCE: array.encode()}, place, (_ARRAY,))

    def forget(self) -> None:
        """As if nothing had been reached."""
        self._memory()[:] = bytes(len(self.marks) + 1)

    def reached(self) -> frozenset[Mark]:
        """Marks reached since `forget`, in this process."""
        return frozenset(mark for mark, flag in zip(self.marks, bytes(self._memory()), strict=False) if flag)

    def coverage(self, reached: frozenset[Mark]) -> Coverage:
        """What is reached beside all there is."""
        return Coverage(tuple(self.marks), reached)

    def _memory(self) -> Any:
        ffi = cffi.FFI()
        ffi.cdef(f"extern unsigned char {_ARRAY}[{len(self.marks) + 1}];")
        self._library = ffi.dlopen(str(self.image.path))
        return ffi.buffer(getattr(self._library, _ARRAY))

    def _mark(self, node: Any, name: str, way: str = "") -> str:
        self.marks.append(Mark(name, node.start_point[0] + 1, node.start_point[1], way))
        return f"{_ARRAY}[{len(self.marks) - 1}] = 1"

    def _marked(self, source: Source) -> bytes:
        """The source with its marks; each line stays where it is."""
        insertions = sorted(self._insertions(source), key=lambda each: (each[0], each[1]))
        content, last = bytearray(), 0
        for at, _, text in insertions:
            content += source.content[last:at] + text.encode()
            last = at
        content += source.content[last:]
        return f"extern unsigned char {_ARRAY}[];\n#line 1\n".encode() + bytes(content)

    def _insertions(self, source: Source) -> Iterator[tuple[int, int, str]]:
        """Byte, order among those at one byte, text: what closes comes before what opens."""
        for node in walk(source.tree.root_node):
            if _in_macro(node) or _in_constant(node, source.content):
                continue
            if node.type in _STATEMENTS and _is_code(node):
                alone = node.parent.type not in ("compound_statement", "case_statement")
                opened = "{ " if alone else ""
                yield node.start_byte, 2, f"{opened}{self._mark(node, source.name)}; "
                if alone:
                    yield node.end_byte, 0, " }"
            if node.type in _CONDITIONS:
                condition = node.child_by_field_name("condition")
                if condition is not None and _has_two_ways(node, condition):
                    yield from self._both_ways(condition, node, source.name)
            if node.type == "case_statement":
                colon = next(child for child in node.children if child.type == ":")
                value = node.child_by_field_name("value")
                text = source.content[value.start_byte : value.end_byte].decode() if value else ""
                yield (
                    colon.end_byte,
                    1,
                    f" {self._mark(node, source.name, f'case {text}' if text else 'default')};",
                )

    def _both_ways(self, condition: Any, node: Any, name: str) -> Iterator[tuple[int, int, str]]:
        true, false = self._mark(node, name, "true"), self._mark(node, name, "false")
        yield condition.start_byte, 3, "(("
        yield condition.end_byte, 0, f") ? ({true}, 1) : ({false}, 0))"


def _is_code(node: Any) -> bool:
    """Whether a statement can have another before it: not the update of a for, nor what a label names."""
    return node.parent is not None and node.parent.type in (
        *("compound_statement", "case_statement", "if_statement", "else_clause"),
        *("for_statement", "while_statement", "do_statement", "for_range_loop"),
    )


def _has_two_ways(node: Any, condition: Any) -> bool:
    """Whether a condition is one expression, decided when the program runs."""
    inside = [child for child in condition.named_children if child.type != "comment"]
    one = len(inside) == 1 and inside[0].type not in ("declaration", "init_statement")
    constant = any(child.type == "constexpr" for child in node.children)
    return condition.type in _CONDITION_NODES and one and not constant


def _in_constant(node: Any, content: bytes) -> bool:
    """Whether the node stands in a function that the compiler may run: a store has no place in it."""
    while node is not None and node.type != "function_definition":
        node = node.parent
    body = None if node is None else node.child_by_field_name("body")
    if node is None or body is None:
        return False
    head = content[node.start_byte : body.start_byte].split()
    return b"constexpr" in head or b"consteval" in head


def _in_macro(node: Any) -> bool:
    while node is not None:
        if node.type.startswith("preproc_def") or node.type == "preproc_function_def" or node.type == "ERROR":
            return True
        node = node.parent
    return False
