"""The plants that the checks are put to, and what each of them does not model: the one place to say so."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

from dryspin.drive import Drive, Firmware
from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantParams, PlantState
from dryspin.recording import Recording
from dryspin.rig.twin import TwinPlant
from dryspin.scenario import Scenario

from ..small_firmware import Bench
from .check import Check, Maker, Row

SLEEPS = Firmware(("*.c",), (".",), {}, "")
SLEEPER = """
    #include "say.h"
    int main(void)
    {
        SLEEP_FOREVER
    }
"""


class Twin(TwinPlant):
    """The compiled plant, with its parameters at hand as the equations have them."""

    def __init__(self, params: PlantParams, state: PlantState) -> None:
        super().__init__(params, state)
        self.params = params


@dataclass(frozen=True)
class Model:
    """A plant under check. name: what the rig calls it."""

    name: str
    factory: Maker

    def run(self, drive: Drive, scenario: Scenario) -> Recording:
        """Run a firmware that only sleeps, on the rig with this plant."""
        with tempfile.TemporaryDirectory() as folder:
            bench = Bench(Path(folder) / "firmware", replace(drive, firmware=SLEEPS, layers=()))
            return bench.rig(SLEEPER).run(scenario, plant=self.name)

    def put_to(self, check: Check) -> tuple[list[Row], str]:
        """The check's rows, and what this plant does not model of it."""
        return check.put_to(self.run if check.on_rig else self.factory)


MODELS = {model.name: model for model in (Model("equations", EquationPlant), Model("twin", Twin))}
