"""Energy balance of every run on the equations: a fixture that keeps books beside whatever a test does.

Conservation of energy is the outside source. Each port is metered by itself (`dryspin.plant.energy`);
what came in and is neither lost, stored nor passed on is the residual, electrical and, where the rotor
is free, mechanical. A plant whose state is set or restored begins a new page; pages are added without
their signs, so that none hides another. Metering triples the time of a run.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest

from dryspin.plant.energy import EnergyMeter
from dryspin.plant.equations import EquationPlant
from dryspin.plant.machine import Vector

SHARE_MAX = 1e-3
FLOOR_J = 1e-9
"""Energies of a run that moves next to nothing are rounding."""

OnStep = Callable[[float, Vector, Vector], None]


@dataclass
class Book:
    """What has passed one plant: moved and unaccounted for (J), and the meter of the present page."""

    plant: EquationPlant
    meter: EnergyMeter | None = None
    moved_j: float = 0.0
    residual_j: float = 0.0

    def close_page(self) -> None:
        """Add what the meter has found so far; the next step begins a new page."""
        if self.meter is None:
            return
        self.moved_j += self.meter.throughput_j
        self.residual_j += abs(self.meter.electrical_residual_j)
        if not self.plant.params.fixed_speed:
            self.residual_j += abs(self.meter.mechanical_residual_j)
        self.meter = None

    def step(self, h_s: float, start: Vector, end: Vector) -> None:
        """Meter one step of the plant."""
        if self.meter is None:
            self.meter = EnergyMeter(_Begins(self.plant, start))  # type: ignore[arg-type]
            self.meter._plant = self.plant
        self.meter._add(h_s, start, end)

    def __str__(self) -> str:
        share = self.residual_j / self.moved_j if self.moved_j else float("nan")
        return f"{self.residual_j:.3g} J of {self.moved_j:.3g} J ({100.0 * share:.2g} %) unaccounted for"


class _Begins:
    """A plant as a meter sees it that begins at `vector`, which the plant has left already."""

    def __init__(self, plant: EquationPlant, vector: Vector) -> None:
        self.params, self.vector, self.on_step = plant.params, vector, None


class Books:
    """The books of all plants made since `keep`."""

    def __init__(self) -> None:
        self.of: dict[int, Book] = {}

    def keep(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Meter every plant made from now on; a test's own `on_step` is called as well."""
        steps: dict[int, OnStep] = {}
        set_state, restore = EquationPlant.state.fset, EquationPlant.restore  # type: ignore[attr-defined]

        def book(plant: EquationPlant) -> Book:
            # the book holds the plant, so that its id stays its own
            return self.of.setdefault(id(plant), Book(plant))

        def get(plant: EquationPlant) -> OnStep:
            return steps.get(id(plant), book(plant).step)

        def put(plant: EquationPlant, own: OnStep | None) -> None:
            keep = book(plant)

            def both(h_s: float, start: Vector, end: Vector) -> None:
                keep.step(h_s, start, end)
                if own is not None:
                    own(h_s, start, end)

            steps[id(plant)] = both

        def new_state(plant: EquationPlant, state: Any) -> None:
            book(plant).close_page()
            set_state(plant, state)

        def restored(plant: EquationPlant, snapshot: Any) -> None:
            book(plant).close_page()
            restore(plant, snapshot)

        monkeypatch.setattr(EquationPlant, "on_step", property(get, put), raising=False)
        monkeypatch.setattr(EquationPlant, "state", property(EquationPlant.state.fget, new_state))  # type: ignore[attr-defined]
        monkeypatch.setattr(EquationPlant, "restore", restored)

    def unbalanced(self) -> list[str]:
        """One line for each plant whose balance does not close."""
        for book in self.of.values():
            book.close_page()
        return [
            str(book) for book in self.of.values() if book.residual_j > SHARE_MAX * book.moved_j + FLOOR_J
        ]


@pytest.fixture(autouse=True)
def energy_balance(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[Books]:
    """Every run of every test that makes an `EquationPlant` must close to 0.1 % of the energy moved.

    `@pytest.mark.energy_does_not_close` leaves a test out, such as one with an error planted in
    the equations.
    """
    books = Books()
    books.keep(monkeypatch)
    yield books
    if request.node.get_closest_marker("energy_does_not_close") is None:
        assert not books.unbalanced(), books.unbalanced()
