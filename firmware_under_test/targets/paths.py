"""The longest path through a function: every loop at its bound, every branch the dearer way.

A bound, not a measurement: paths that cannot happen count like those that can. Of all paths those that
pass through one marked function are kept apart from those that do not, so that work which is done
once, in either of two handlers, is counted once.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import networkx as nx

from dryspin.target.instructions import RETURN
from firmware_under_test.targets.errors import TargetError
from firmware_under_test.targets.image import Image


@dataclass(frozen=True, slots=True)
class Work:
    """Cycles of the longest path that avoids the marked function, and of the longest through it.

    None where there is no such path.
    """

    plain: int | None
    marked: int | None = None

    @property
    def longest(self) -> int:
        """Cycles of the longest path of either kind."""
        return max(cycles for cycles in (self.plain, self.marked) if cycles is not None)

    def then(self, other: "Work") -> "Work":
        """This, and the other after it."""
        marked = (
            _sum(self.plain, other.marked),
            _sum(self.marked, other.plain),
            _sum(self.marked, other.marked),
        )
        return Work(_sum(self.plain, other.plain), _most(marked))

    def either(self, other: "Work") -> "Work":
        """This or the other, whichever is dearer."""
        return Work(_most((self.plain, other.plain)), _most((self.marked, other.marked)))


def _sum(a: int | None, b: int | None) -> int | None:
    return None if a is None or b is None else a + b


def _most(cycles: Iterable[int | None]) -> int | None:
    return max((c for c in cycles if c is not None), default=None)


@dataclass(frozen=True, slots=True)
class Bound:
    """How often a loop jumps back at most, and cycles it may wait besides for a moment to come."""

    back: int
    waits_cycles: int = 0


BoundOf = Callable[[Image, int, tuple[int, ...]], Bound]
"""From the image, the loop's first instruction and the jumps back to it to its bound."""

NOTHING = Work(0)
NO_PATH = Work(None)


class Paths:
    """Longest paths of an image's functions, each worked out once."""

    def __init__(
        self,
        image: Image,
        bound_of: BoundOf,
        marked: int | None = None,
        closed: frozenset[int] = frozenset(),
    ) -> None:
        self._image = image
        self._bound_of = bound_of
        self._marked = marked
        self._closed = closed
        self._known: dict[int, Work] = dict.fromkeys(closed, NO_PATH)
        self._open: list[int] = []

    def of(self, function: int) -> Work:
        """From the function's first instruction to its return, callees included.

        Raises TargetError for recursion, a loop without bound, and code that never returns.
        """
        if function in self._known:
            return self._known[function]
        if function in self._open:
            names = " -> ".join(self._image.name(f) for f in (*self._open, function))
            raise TargetError(f"{names}: recursion has no bound; write it as a loop")
        self._open.append(function)
        reached = self._reached(self._graph(function), function)
        self._open.pop()
        if RETURN not in reached:
            raise TargetError(f"{self._image.name(function)} never returns; it has no longest path")
        work = reached[RETURN]
        if function == self._marked:
            work = Work(None, _most((work.plain, work.marked)))
        self._known[function] = work
        return work

    def until_marked(self, function: int) -> int | None:
        """Cycles from the function's first instruction to the marked one's; None if it never gets there."""
        if function == self._marked:
            return 0
        if function in self._closed:
            return None
        self.of(function)
        reached = self._reached(self._graph(function), function)
        found: list[int | None] = []
        for address, ways in self._image.body(function).items():
            for way in ways:
                if way.callee is not None and address in reached:
                    before = _sum(reached[address].plain, way.cycles)
                    found.append(_sum(before, self.until_marked(way.callee)))
        return _most(found)

    def _graph(self, function: int) -> nx.DiGraph:
        graph = nx.DiGraph()
        graph.add_node(function)
        for address, ways in self._image.body(function).items():
            for way in ways:
                work = Work(way.cycles)
                if way.callee is not None:
                    work = work.then(self.of(way.callee))
                if graph.has_edge(address, way.target):
                    work = work.either(graph.edges[address, way.target]["work"])
                graph.add_edge(address, way.target, work=work)
        return graph

    def _reached(self, graph: nx.DiGraph, start: int) -> dict[int, Work]:
        """Longest work from `start` to every node that can be reached."""
        reached: dict[int, Work] = {start: NOTHING}
        condensed = nx.condensation(graph)
        for part in nx.topological_sort(condensed):
            nodes: set[int] = condensed.nodes[part]["members"]
            if not nodes & reached.keys():
                continue
            if len(nodes) > 1 or any(graph.has_edge(node, node) for node in nodes):
                self._pass_loop(graph, nodes, start, reached)
            for node in nodes & reached.keys():
                for _, target, work in graph.out_edges(node, data="work"):
                    if target not in nodes:
                        on = reached[node].then(work)
                        reached[target] = on.either(reached[target]) if target in reached else on
        return reached

    def _pass_loop(self, graph: nx.DiGraph, nodes: set[int], start: int, reached: dict[int, Work]) -> None:
        """Extend `reached` over a loop: its head after all passes, then once more through the body."""
        heads = {node for node in nodes if node == start or any(p not in nodes for p in graph.pred[node])}
        if len(heads) > 1:
            places = ", ".join(sorted(self._image.place(head) for head in heads))
            raise TargetError(
                f"a loop is entered in several places ({places}), so its passes cannot be counted"
            )
        head = heads.pop()
        back = tuple(sorted(node for node in graph.pred[head] if node in nodes))
        bound = self._bound_of(self._image, head, back)
        body = nx.DiGraph(graph.subgraph(nodes))
        body.remove_edges_from([(node, head) for node in back])
        inside = self._reached(body, head)
        once = NO_PATH
        for node in back:
            once = once.either(inside[node].then(graph.edges[node, head]["work"]))
        total = reached[head].then(Work(bound.waits_cycles))
        for _ in range(bound.back):
            total = total.either(total.then(once))
        for node, work in inside.items():
            reached[node] = total.then(work)
