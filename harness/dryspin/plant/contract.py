"""What the rig needs of a plant, so that another model can take the place of the equations."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from dryspin.plant.conduction import Gates
from dryspin.plant.parameters import PlantInput, PlantParams, PlantState


class Plant(Protocol):
    """Motor, bridge, supply and comparator input in motion.

    input, sense_leg (0..2), comparator_noise_v (V at the pin): set from outside between two calls, in
    force from the next `advance` on. level: 1 while the comparator's input sees the terminal of
    `sense_leg` above the neutral, as of the last reported event; its delay is the rig's.
    """

    input: PlantInput
    sense_leg: int
    level: int
    comparator_noise_v: float

    @property
    def state(self) -> PlantState:
        """State now; set by the rig only where the scenario drives the rotor."""
        ...

    @state.setter
    def state(self, state: PlantState) -> None: ...

    def advance(self, to_s: float, gates: Gates) -> tuple[float, str | None]:
        """Go on to `to_s` (s) with these gates (0 off, 1 high FET on, 2 low FET on), or to an event.

        Returns the time reached and None at `to_s`, or the time of the first change of `level` and any
        string. `to_s` may be now: then only new gates, input and `sense_leg` are taken over.
        """
        ...

    def copy_state(self) -> Any:
        """All that decides how the plant goes on; the rig runs ahead on trial and comes back."""
        ...

    def restore(self, snapshot: Any) -> None:
        """Go back to what `copy_state` gave."""
        ...


PlantFactory = Callable[[PlantParams, PlantState], Plant]
"""Makes a plant of these constants in this state."""
