"""Energy balance of every run of the rig on the compiled plant: what `energy_books` is for the equations.

Conservation of energy is the outside source: each port is metered by itself in the core, what is stored
at both ends comes from the plant's state, and what is left over is the residual.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import astuple
from typing import Any

import numpy as np
import pytest

from dryspin.plant.parameters import PlantParams, plant_params
from dryspin.plant.star import inductance_matrix
from dryspin.recording import Recording
from dryspin.rig import Rig
from dryspin.scenario import linear_value

from .energy_books import FLOOR_J, SHARE_MAX


def stored_j(
    p: PlantParams, i_a: tuple[float, float, float], v_c_v: float, w_rad_s: float
) -> tuple[float, float]:
    """(capacitor and windings, rotor): C v_c^2/2 (0 on a stiff bus) + i L i/2, J w^2/2."""
    i = np.array(i_a)
    capacitor = 0.0 if p.stiff else 0.5 * p.c_bus_f * v_c_v**2
    return capacitor + 0.5 * float(i @ inductance_matrix(p) @ i), 0.5 * p.j_kg_m2 * w_rad_s**2


def unaccounted(rig: Rig, run: Recording) -> str:
    """What of the last run's energy is unaccounted for beyond the limit, in words; "" if nothing."""
    e, p, now = rig.energy(), plant_params(rig.drive, run.scenario), rig.core.plant_access()
    began_v = linear_value(run.scenario.supply_v, 0.0, rig.drive.supply.v_v.nominal)
    electric_0, rotor_0 = stored_j(p, (0.0, 0.0, 0.0), began_v, 0.0)
    electric, rotor = stored_j(p, (now.i_a[0], now.i_a[1], now.i_a[2]), now.v_c_v, now.w_rad_s)
    lost = e.supply_ohm + e.esr + e.auxiliary + e.copper + e.fet + e.diode
    residual_j = abs(e.source - lost - e.electromechanical - (electric - electric_0))
    if not run.scenario.speed_rpm:
        residual_j += abs(e.electromechanical - e.friction - e.propeller - e.load - (rotor - rotor_0))
    moved_j = float(sum(abs(port) for port in astuple(e)))
    if residual_j <= SHARE_MAX * moved_j + FLOOR_J:
        return ""
    return f"{residual_j:.3g} J of {moved_j:.3g} J unaccounted for"


@pytest.fixture(autouse=True)
def rig_energy_balance(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> Iterator[list[str]]:
    """Every run that a test makes on the compiled plant must close to 0.1 % of the energy moved."""
    complaints: list[str] = []
    left_out = request.node.get_closest_marker("energy_does_not_close") is not None
    if not left_out and "benchmark" not in request.fixturenames:
        plain = Rig.run

        @functools.wraps(plain)
        def metered(rig: Rig, scenario: Any, plant: str = "twin", **options: Any) -> Recording:
            compiled = plant == "twin" and not options.keys() & {"plant_factory", "equations_from_s"}
            if not compiled:
                return plain(rig, scenario, plant, **options)
            recording = plain(rig, scenario, plant, **{"account_energy": True, **options})
            complaints.extend(filter(None, [unaccounted(rig, recording)]))
            return recording

        monkeypatch.setattr(Rig, "run", metered)
    yield complaints
    assert complaints == []
