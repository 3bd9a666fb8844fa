"""Choices a scenario is built from: small whole numbers, 0 the simplest.

A flavour asks for choices by name and never learns who answers. In the systematic part of a
check a seeded generator answers, with some names fixed by the covering plan; in the rest
Hypothesis does. Both note what was chosen, and a note can be handed to Hypothesis to shrink.

Two limits keep the answers the same wherever a check runs: a choice has at most 100 values,
because Hypothesis mixes constants of 100 and more, found in whatever modules are loaded, into
larger ranges; and a choice of one value is not asked for.
"""

from collections.abc import Callable, Mapping, Sequence
from random import Random
from typing import TypeVar

from hypothesis import strategies as st

T = TypeVar("T")

MAX_VALUES = 100
"""Largest number of values of one choice (Hypothesis collects constants from 100 up)."""


class Draws:
    """Source of choices; `choices` is the note of those made so far, in order, `named` by name.

    `fixed`: names that are not asked for; they get the value given there, modulo the number of values, so
    that a counter can be passed on.
    """

    def __init__(self, fixed: Mapping[str, int] | None = None) -> None:
        self.choices: list[int] = []
        self.named: dict[str, int] = {}
        self._fixed = fixed or {}
        self._settled: frozenset[str] = frozenset()

    def settle(self, *names: str) -> None:
        """These choices have one value from here on, the simplest: they are neither asked for nor noted."""
        self._settled |= frozenset(names)

    def index(self, name: str, n: int) -> int:
        """One of 0 .. n-1; 0 is what shrinking moves to. `name` tells what is being chosen."""
        if not 1 <= n <= MAX_VALUES:
            raise ValueError(f"choice {name!r} has {n} values, must have 1 to {MAX_VALUES}")
        if n == 1 or name in self._settled:
            return 0
        chosen = self._fixed[name] % n if name in self._fixed else self._choose(n)
        self.choices.append(chosen)
        self.named[name] = chosen
        return chosen

    def pick(self, name: str, options: Sequence[T]) -> T:
        """One of `options`, the simplest first."""
        return options[self.index(name, len(options))]

    def _choose(self, n: int) -> int:
        raise NotImplementedError


class SeededDraws(Draws):
    """Answers from a seeded generator, uniformly."""

    def __init__(self, generator: Random, fixed: Mapping[str, int] | None = None) -> None:
        super().__init__(fixed)
        self._generator = generator

    def _choose(self, n: int) -> int:
        return self._generator.randrange(n)


class NotedDraws(Draws):
    """Answers from a note, one after the other; what is too large is cut.

    Behind its end the generator answers, or, without one, the simplest is chosen.
    """

    def __init__(self, noted: Sequence[int], generator: Random | None = None) -> None:
        super().__init__()
        self._noted = iter(noted)
        self._generator = generator

    def _choose(self, n: int) -> int:
        noted = next(self._noted, None)
        if noted is None:
            return self._generator.randrange(n) if self._generator else 0
        return min(noted, n - 1)


class HypothesisDraws(Draws):
    """Answers from Hypothesis: one bounded integer, thus one entry of its choice sequence, each."""

    def __init__(
        self, draw: Callable[[st.SearchStrategy[int]], int], fixed: Mapping[str, int] | None = None
    ) -> None:
        super().__init__(fixed)
        self._draw = draw

    def _choose(self, n: int) -> int:
        return self._draw(st.integers(0, n - 1))
