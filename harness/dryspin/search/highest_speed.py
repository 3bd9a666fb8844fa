"""How fast the drive can turn, and how fast a check's scenarios did: what held at a crawl says little."""

from collections.abc import Iterable

from dryspin.drive import Drive
from dryspin.plant.ideal import dc_equivalent_speed
from dryspin.plant.parameters import PlantInput, plant_params
from dryspin.scenario import Scenario
from dryspin.search.envelope import Visit
from dryspin.units import rpm_from_rad_s

NEAR = 0.5
"""Share of the highest speed from which on a scenario ran at speed: the EMF then has half its height, the
propeller a quarter of its torque; house rule, no source."""


def balanced_rpm(drive: Drive) -> float:
    """Speed (rpm) at which motor and propeller balance at full duty, all nominal, commutation ideal."""
    still = Scenario(seed=0, end_s=1.0, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 0.0),))
    supply = PlantInput(drive.supply.v_v.nominal)
    return rpm_from_rad_s(dc_equivalent_speed(plant_params(drive, still), supply))


def fastest_rpm(visits: Iterable[Visit]) -> float | None:
    """Highest speed of any scenario, either way; None where nobody saw the rotor."""
    speeds = [abs(rpm) for visit in visits if visit.speeds_rpm is not None for rpm in visit.speeds_rpm]
    return max(speeds, default=None)
