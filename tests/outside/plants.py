"""The plants that the checks are put to, and what each of them does not model: the one place to say so."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from dryspin.drive import Drive, Firmware
from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantInput, PlantParams, PlantState
from dryspin.recording import Recording
from dryspin.rig.twin import TwinPlant
from dryspin.scenario import Scenario

from ..small_firmware import Bench
from .check import Check, Maker, NotModelled, Row

SLEEPS = Firmware(("*.c",), (".",), {}, "")
SLEEPER = """
    #include "say.h"
    int main(void)
    {
        SLEEP_FOREVER
    }
"""

FEATURES: dict[str, Callable[[PlantParams], bool]] = {
    "unequal resistances": lambda p: len(set(p.r_factors)) > 1 or p.r_factors[0] != 1.0,
    "unequal inductances": lambda p: len(set(p.l_factors)) > 1 or p.l_factors[0] != 1.0,
    "unequal EMFs": lambda p: len(set(p.k_factors)) > 1 or p.k_factors[0] != 1.0,
    "coupled phases": lambda p: any(p.m_h),
    "sine": lambda p: p.shape == "sine",
    "table": lambda p: p.shape == "table",
    "third harmonic": lambda p: p.third_harmonic != 0.0,
    "diode slope": lambda p: p.r_diode_ohm != p.r_on_ohm,
    "ESR": lambda p: p.esr_ohm != 0.0 and not p.stiff,
    "static friction": lambda p: p.breakaway_nm != p.coulomb_nm,
    "sense filter": lambda p: p.sense_tau_s != 0.0,
    "pin clamp": lambda p: p.pin_clamp_v is not None,
    "broken lead": lambda p: any(p.broken),
}
"""Parts of the model a plant may be without, each with whether these parameters ask for it."""
WATER = "moving water"


class Twin(TwinPlant):
    """The compiled plant, with its parameters at hand as the equations have them."""

    def __init__(self, params: PlantParams, state: PlantState) -> None:
        super().__init__(params, state)
        self.params = params


class _StillWater(Twin):
    """A twin that knows no moving water refuses it, where it would silently leave it out."""

    def __setattr__(self, name: str, value: Any) -> None:
        if name == "input" and isinstance(value, PlantInput) and value.water_rad_s:
            raise NotModelled(WATER)
        super().__setattr__(name, value)


@dataclass(frozen=True)
class Model:
    """A plant under check. lacks: names of FEATURES (and WATER) that it does not have.

    name: also what the rig calls it.
    """

    name: str
    factory: Maker
    lacks: frozenset[str] = frozenset()

    def make(self, params: PlantParams, state: PlantState) -> Any:
        """A plant, or NotModelled with what it would take."""
        missing = [feature for feature in FEATURES if feature in self.lacks and FEATURES[feature](params)]
        if missing:
            raise NotModelled(", ".join(missing))
        return self.factory(params, state)

    def run(self, drive: Drive, scenario: Scenario) -> Recording:
        """Run a firmware that only sleeps, on the rig with this plant."""
        with tempfile.TemporaryDirectory() as folder:
            bench = Bench(Path(folder) / "firmware", replace(drive, firmware=SLEEPS, layers=()))
            return bench.rig(SLEEPER).run(scenario, plant=self.name)

    def put_to(self, check: Check) -> tuple[list[Row], str]:
        """The check's rows, and what this plant does not model of it."""
        return check.put_to(self.run if check.on_rig else self.make)


MODELS = {
    model.name: model
    for model in (
        Model("equations", EquationPlant),
        # a twin that models everything is Model("twin", Twin)
        Model("twin", _StillWater, lacks=frozenset({*FEATURES, WATER})),
    )
}
