"""The compiled twin against the plain equations, where it counts: around a reversal of the bow thruster.

The two share no code and no mode logic (equations integrated and cut at events here, power series and
their roots there), so each is the other's outside check; published cases for both stand in tests/plant.
Limits are what was measured, rounded up.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from dryspin.build import build_image
from dryspin.drive import Drive
from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantInput, plant_params
from dryspin.recording import LEGS, Mark, Recording, Signal
from dryspin.rig import Rig
from dryspin.rig.twin import TwinPlant

from ..replays import Replayed, replay, state_at
from ..small_firmware import BOW_THRUSTER, scenario

pytestmark = pytest.mark.slow

FROM_S = 2.5
"""At full speed forward; the demand for full reverse reaches the pin 10 ms later."""
TO_S = 3.3
"""Back in the closed loop, in reverse."""

REVERSAL = scenario(TO_S, throttle_us=((0.0, 1500.0), (1.0, 1900.0), (2.5, 1100.0)), rest_deg=90.0)
"""From 0 degrees one crossing of the handover in reverse lies on the edge of its blanking, where a
nanosecond decides whether the firmware takes it; both plants are right then, and the runs part."""


@dataclass(frozen=True)
class Both:
    """The same scenario on the twin, and on the equations from FROM_S on."""

    twin: Recording
    equations: Recording


@pytest.fixture(scope="module")
def both(thruster: Drive) -> Both:
    """Run, brake, coast, align, ramp, run: all in the closed loop with the firmware."""
    rig = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    return Both(rig.run(REVERSAL), rig.run(REVERSAL, equations_from_s=FROM_S))


def test_the_firmware_commutates_at_the_same_moments(both: Both) -> None:
    """Every command the same, each within an electrical degree over the first 200 ms. Measured: in the
    same cycle through run, brake and coast; after the start in reverse one tick may make the next.
    """
    for leg in LEGS:
        cycles, values, _ = both.twin.of(leg)
        cycles_e, values_e, _ = both.equations.of(leg)
        assert values.tolist() == values_e.tolist()
        t_s = cycles / 16e6
        apart_deg = np.degrees(np.abs(cycles - cycles_e) / 16e6 * np.abs(both.twin.w_at(t_s)) * 7)
        assert (t_s > FROM_S).sum() > 150
        assert apart_deg[t_s < FROM_S + 0.2].max() < 1.0
        assert apart_deg.max() < 4.0


def test_the_rotor_takes_the_same_way(both: Both) -> None:
    """From 8 120 rpm forward through standstill to reverse: measured within 1.3 degrees and 0.03 %."""
    t_s = np.linspace(FROM_S, TO_S, 2000)
    w, w_e = both.twin.w_at(t_s), both.equations.w_at(t_s)
    apart_deg = np.degrees(np.abs(both.twin.theta_at(t_s) - both.equations.theta_at(t_s)))

    assert w[0] > 800.0
    assert w[-1] < -300.0
    assert np.abs(w - w_e).max() < 1e-3 * np.abs(w).max()
    assert apart_deg[t_s < FROM_S + 0.2].max() < 0.3
    assert apart_deg.max() < 4.0


def test_the_firmware_takes_the_same_crossings_and_states(both: Both) -> None:
    """Its own account of what it does: the same marks in the same order."""
    marks, marks_e = (seen.of(Signal.MARK)[1].tolist() for seen in (both.twin, both.equations))

    assert marks == marks_e
    assert marks.count(Mark.CROSSING) > 2000


@pytest.fixture(scope="module", params=[(2.505, 2.535), (3.2, 3.24)], ids=["brake", "reverse"])
def replays(request: pytest.FixtureRequest, both: Both, thruster: Drive) -> tuple[Replayed, Replayed]:
    """Twin and equations through the same recorded gates, from the same recorded state."""
    from_s, to_s = request.param
    start = state_at(both.twin, from_s)
    params = plant_params(thruster, REVERSAL)
    given = PlantInput(v_supply_v=11.1)
    twin = replay(TwinPlant(params, start), both.twin, start.t_s, to_s, given)
    return twin, replay(EquationPlant(params, start), both.twin, start.t_s, to_s, given)


def test_comparator_edges_agree_on_the_same_gates(replays: tuple[Replayed, Replayed]) -> None:
    """The golden limit: the same edges, each within 0.05 us. A user is promised 1 us."""
    twin, equations = replays

    assert [level for _, level in twin.comparator] == [level for _, level in equations.comparator]
    apart_s = [abs(a - b) for (a, _), (b, _) in zip(twin.comparator, equations.comparator, strict=True)]
    assert len(apart_s) > 50
    assert max(apart_s) < 0.05e-6


def test_currents_agree_on_the_same_gates(replays: tuple[Replayed, Replayed]) -> None:
    """Root mean square of the difference, against the peak: the golden 0.01 %. A user is promised 0.5 %."""
    twin, equations = replays
    currents, currents_e = (
        np.array([(s.i_u_a, s.i_v_a, s.i_w_a) for s in seen.states]) for seen in (twin, equations)
    )

    assert np.sqrt(np.mean((currents - currents_e) ** 2)) < 1e-4 * np.abs(currents).max()
    assert np.abs(currents).max() > 5.0


def test_bus_voltages_agree_on_the_same_gates(replays: tuple[Replayed, Replayed]) -> None:
    """Pumped up and loaded down by the same currents: measured within 0.01 mV."""
    bus, bus_e = (np.array([s.v_bus_v for s in seen.states]) for seen in replays)

    assert np.abs(bus - bus_e).max() < 1e-4
