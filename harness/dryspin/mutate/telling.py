"""Where a change makes a difference at the spot: the same expression with and without it, side by side.

A changed comparison that always comes out as before, or a store of what is there already, changes nothing,
however often it is run. To see that without a run for each change, the firmware is built once with both
values worked out wherever that is safe: the expression calls nothing, stores nothing and divides nothing.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from dryspin.mutate.mutations import REMOVED, Mutation, Source, walk

_PURE = (
    "binary_expression",
    "cast_expression",
    "conditional_expression",
    "field_expression",
    "identifier",
    "number_literal",
    "parenthesized_expression",
    "pointer_expression",
    "subscript_expression",
    "unary_expression",
)
_DIVIDES = ("/", "%")
_GUARDS = ("&&", "||")
_REACHING = ("field_expression", "pointer_expression", "subscript_expression")


@dataclass(frozen=True)
class Insertion:
    """Text to put in at `at`; of several at one place the lower `order` comes first."""

    at: int
    order: int
    text: str


def insertions(
    source: Source, numbers: Mapping[Mutation, int], array: str
) -> tuple[list[Insertion], set[Mutation]]:
    """What to put into a source so that array[n] is set where change number n makes a difference.

    The changes for which nothing can be told are left out of the second.
    """
    groups: dict[tuple[int, int], tuple[Any, list[Mutation]]] = {}
    found: list[Insertion] = []
    told: set[Mutation] = set()
    for mutation in numbers:
        if mutation.file != source.name or not mutation.function:
            continue
        node = source.tree.root_node.descendant_for_byte_range(mutation.start, mutation.end)
        if mutation.kind == REMOVED:
            if (parts := _store(node)) is not None:
                left = _text(parts, source)
                found += _around(
                    node,
                    f"{{ __typeof__({left}) dryspin_was = {left}; ",
                    _differs(left, mutation, numbers, array),
                )
                told.add(mutation)
            continue
        whole = _whole(node)
        if whole is not None and _is_safe(whole, mutation):
            groups.setdefault((whole.start_byte, whole.end_byte), (whole, []))[1].append(mutation)
            told.add(mutation)
    for whole, mutations in groups.values():
        marks = "".join(
            f"{array}[{numbers[m]}] |= ({_text(whole, source)}) != ({_changed(whole, m, source)}), "
            for m in mutations
        )
        found += _around(whole, f"({marks}(", "))")
    return found, told


def with_insertions(content: bytes, found: Iterable[Insertion]) -> bytes:
    """The text with everything put in."""
    for each in sorted(found, key=lambda each: (each.at, each.order), reverse=True):
        content = content[: each.at] + each.text.encode() + content[each.at :]
    return content


def _around(node: Any, before: str, after: str) -> Iterator[Insertion]:
    """Nested: what is longer opens first and closes last."""
    length = node.end_byte - node.start_byte
    yield Insertion(node.start_byte, -length, before)
    yield Insertion(node.end_byte, length - (1 << 30), after)


def _differs(left: str, mutation: Mutation, numbers: Mapping[Mutation, int], array: str) -> str:
    compared = f"__builtin_memcmp((const void *)&dryspin_was, (const void *)&({left}), sizeof dryspin_was)"
    return f" {array}[{numbers[mutation]}] |= {compared} != 0; }}"


def _store(node: Any) -> Any | None:
    """Where a statement stores a pure value; None for any other statement."""
    inner = node.named_children[0] if node.named_child_count == 1 else None
    if node.type != "expression_statement" or inner is None or inner.type != "assignment_expression":
        return None
    left, right = inner.child_by_field_name("left"), inner.child_by_field_name("right")
    return left if _is_pure(left) and _is_pure(right) else None


def _whole(node: Any) -> Any | None:
    """The largest pure expression around a node, where it may be written in another way."""
    while node is not None and node.type not in _PURE:
        node = node.parent
    if node is None or not _is_pure(node):
        return None
    while node.parent is not None and node.parent.type in _PURE and _is_pure(node.parent):
        node = node.parent
    parent = node.parent
    if parent is None or parent.type in ("case_statement", "sizeof_expression", "enumerator"):
        return None
    if parent.type == "assignment_expression" and parent.child_by_field_name("left") == node:
        return None
    if parent.type in ("update_expression", "unary_expression", "pointer_expression"):
        return None
    at = parent
    while at is not None and at.type != "function_definition":
        constant = any(child.type == "storage_class_specifier" for child in at.children)
        if (at.type == "declaration" and constant) or "static_assert" in at.type:
            return None
        if at.type in ("initializer_list", "array_declarator"):
            return None
        at = at.parent
    return node


def _is_pure(node: Any) -> bool:
    return all(
        inner.type in _PURE or not inner.is_named or _names_a_type(inner) or inner.type == "field_identifier"
        for inner in walk(node)
    ) and not any(inner.type == "&" and inner.parent.type == "pointer_expression" for inner in walk(node))


def _names_a_type(node: Any) -> bool:
    return node.type in ("type_descriptor", "primitive_type", "type_identifier", "sized_type_specifier")


def _is_safe(whole: Any, mutation: Mutation) -> bool:
    """Whether the other value can be worked out wherever this one is: no trap, no step beyond a variable."""
    inside = list(walk(whole))
    if any(inner.type in _DIVIDES for inner in inside):
        return False
    for inner in inside:
        index = inner.child_by_field_name("index") if inner.type == "subscript_expression" else None
        if index is not None and index.start_byte <= mutation.start < index.end_byte:
            return False
    return mutation.before not in _GUARDS or not any(inner.type in _REACHING for inner in inside)


def _changed(whole: Any, mutation: Mutation, source: Source) -> str:
    content = source.content
    return (
        content[whole.start_byte : mutation.start]
        + mutation.after.encode()
        + content[mutation.end : whole.end_byte]
    ).decode(errors="replace")


def _text(node: Any, source: Source) -> str:
    return source.content[node.start_byte : node.end_byte].decode(errors="replace")
