"""Instructions that the part's compiler has put before a loop, though their lines stand inside it.

What does not change in a loop is reckoned once, before it: a quotient in the condition of a loop that polls;
the beginning of a `for` stands there anyway. Such an instruction runs once each time the loop is entered. It
is known by three things: every way to the loop's head leads over it, it is not in the loop itself, and its
line lies between the first and the last one that the same copy of its function has in the loop.

A loop is the natural loop of a jump back to a head that dominates it; dominators after Cooper, Harvey and
Kennedy, "A Simple, Fast Dominance Algorithm", Rice University TR-06-33870, 2001.
"""

from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass

from dryspin.target.instructions import RETURN, steps
from dryspin.target.program import Code

_BY_TABLE = "__tablejump"
"""Routines of the compiler's library that jump to where a table says: a `switch`."""

_Graph = Mapping[int, tuple[int, ...]]


@dataclass(frozen=True)
class Entries:
    """Whose turn such instructions have, by their addresses.

    above: the nearest line above the loop that runs as often. around: where none does, the first line of the
    loop around, once in each of its passes; what is in neither is left with its own line. heads: first lines
    of loops, each in the function that the loop is written in.
    """

    above: Mapping[int, str]
    around: Mapping[int, str]
    heads: frozenset[str]


@dataclass(frozen=True)
class _Span:
    """Lines of one copy of a function in a loop."""

    file: str
    first: int
    last: int

    @property
    def head(self) -> str:
        return f"{self.file}:{self.first}"

    def holds(self, line: str) -> bool:
        file, number = _parted(line)
        return file == self.file and self.first <= number <= self.last


@dataclass(frozen=True)
class _Loop:
    """`spans`: by copy."""

    head: int
    body: frozenset[int]
    spans: Mapping[int, _Span]


def entries_of(code: Code, own: Set[int]) -> Entries:
    """All in `code`. own: instructions of loops that are the compiler's and no source's.

    Nothing is said of functions whose jumps cannot be followed.
    """
    above: dict[int, str] = {}
    around: dict[int, str] = {}
    heads: set[str] = set()
    for function in sorted(code.functions):
        if (graph := _graph(code, function)) is None:
            continue
        over = _dominators(graph, _reverse_postorder(graph, function))
        loops = sorted(_loops(code, graph, over), key=lambda loop: len(loop.body))
        loops = [loop for loop in loops if not loop.body <= own]
        for loop in loops:
            # a function that has been put into a loop as a whole does not begin with it
            beside = {
                code.copies.get(at, -1)
                for at in graph.keys() - loop.body
                if (span := loop.spans.get(code.copies.get(at, -1))) and not span.holds(code.lines[at])
            }
            heads |= {loop.spans[copy].head for copy in beside}
        # an instruction before several loops, one in the other, is before the outermost of them: the largest
        found: dict[int, _Span] = {}
        for loop in loops:
            for at in _chain(over, loop.head):
                span = loop.spans.get(code.copies.get(at, -1))
                if span is not None and at not in loop.body and span.holds(code.lines[at]):
                    found[at] = span
        for at, span in found.items():
            copy = code.copies.get(at, -1)
            for each in _chain(over, at):
                strange = code.copies.get(each, -1) != copy or span.holds(code.lines[each])
                if not strange and each not in found and _as_often(graph, each, at):
                    above[at] = code.lines[each]
                    break
            else:
                outer = next((loop for loop in loops if at in loop.body), None)
                if outer is not None and copy in outer.spans and _each_pass(graph, over, outer, at):
                    around[at] = outer.spans[copy].head
    return Entries(above, around, frozenset(heads))


def _as_often(graph: _Graph, first: int, then: int) -> bool:
    """Whether `then`, which `first` dominates, runs once each time that `first` does."""
    ends = {at for at, ways in graph.items() if not ways}
    return not _leads(graph, first, {first, *ends}, then) and not _leads(graph, then, {then}, first)


def _each_pass(graph: _Graph, over: Mapping[int, int], loop: _Loop, at: int) -> bool:
    """Whether `at`, which stands in `loop`, runs once in each pass of it that comes to its end."""
    back = [each for each in loop.body if loop.head in graph[each]]
    return all(at in _chain(over, each) for each in back) and not _leads(graph, at, {at}, loop.head)


def _leads(graph: _Graph, start: int, goals: Set[int], without: int) -> bool:
    """Whether a way leads from behind `start` to one of `goals` and not over `without`."""
    met = {without}
    waiting = [start]
    while waiting:
        fresh = set(graph[waiting.pop()]) - met
        if fresh & goals:
            return True
        met |= fresh
        waiting += fresh
    return False


def _graph(code: Code, function: int) -> _Graph | None:
    """Instruction to those that can follow it in `function`; None where a jump goes through a pointer."""
    found: dict[int, tuple[int, ...]] = {}
    waiting = [function]
    while waiting:
        at = waiting.pop()
        if at in found:
            continue
        instruction = code.instructions[at]
        if instruction.name in ("ijmp", "eijmp"):
            return None
        if instruction.name == "icall":
            targets = [instruction.next]
        else:
            following = code.instructions.get(instruction.next)
            targets = [step.target for step in steps(instruction, following, code.functions, function)]
        if any(code.names.get(target, "").startswith(_BY_TABLE) for target in targets):
            return None
        found[at] = tuple(each for each in targets if each != RETURN and each in code.lines)
        waiting += found[at]
    return found


def _reverse_postorder(graph: _Graph, start: int) -> list[int]:
    order: list[int] = []
    met = {start}
    waiting = [(start, iter(graph[start]))]
    while waiting:
        at, ways = waiting[-1]
        following = next((each for each in ways if each not in met), None)
        if following is None:
            order.append(at)
            waiting.pop()
        else:
            met.add(following)
            waiting.append((following, iter(graph[following])))
    return order[::-1]


def _before(graph: _Graph) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {at: [] for at in graph}
    for at, targets in graph.items():
        for target in targets:
            found[target].append(at)
    return found


def _dominators(graph: _Graph, order: list[int]) -> dict[int, int]:
    """Instruction to the last one before it that every way to it leads over; the first one to itself."""
    rank = {at: k for k, at in enumerate(order)}
    before = _before(graph)
    over = {order[0]: order[0]}
    changed = True
    while changed:
        changed = False
        for at in order[1:]:
            ways = [each for each in before[at] if each in over]
            nearest = ways[0]
            for way in ways[1:]:
                while nearest != way:
                    while rank[way] > rank[nearest]:
                        way = over[way]
                    while rank[nearest] > rank[way]:
                        nearest = over[nearest]
            if over.get(at) != nearest:
                over[at], changed = nearest, True
    return over


def _chain(over: Mapping[int, int], at: int) -> Iterator[int]:
    """`at` and all that dominate it, nearest first."""
    yield at
    while over[at] != at:
        at = over[at]
        yield at


def _loops(code: Code, graph: _Graph, over: Mapping[int, int]) -> list[_Loop]:
    """One for each head, all its jumps back taken together."""
    before = _before(graph)
    bodies: dict[int, set[int]] = {}
    for at, targets in graph.items():
        for head in targets:
            if head > at or head not in _chain(over, at):
                continue
            body = bodies.setdefault(head, {head})
            waiting = [at]
            while waiting:
                each = waiting.pop()
                if each not in body:
                    body.add(each)
                    waiting += before[each]
    return [_Loop(head, frozenset(body), _spans(code, body)) for head, body in bodies.items()]


def _spans(code: Code, body: Set[int]) -> dict[int, _Span]:
    found: dict[int, _Span] = {}
    for at in sorted(body):
        copy, (file, number) = code.copies.get(at, -1), _parted(code.lines[at])
        span = found.get(copy, _Span(file, number, number))
        if file == span.file:
            found[copy] = _Span(file, min(span.first, number), max(span.last, number))
    return found


def _parted(line: str) -> tuple[str, int]:
    file, _, number = line.rpartition(":")
    return file, int(number)
