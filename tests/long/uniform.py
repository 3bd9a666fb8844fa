"""Scenarios drawn uniformly over what a scenario may hold, for a directed search to be compared with.

Known to them is what anybody knows who reads the drive file: its envelope, the frames that arming takes, and
that half of the scenarios had better arm. Stick, faults, propeller, supply, noise and parts are drawn for
themselves, every kind, moment and value alike: no story, nothing aimed at, nothing steered. Runs are as long
as those of the search, and only faults are drawn that it knows, too. A lead that is open and a store that is
not erased are in neither.
"""

from collections.abc import Sequence
from random import Random

from dryspin.drive import Drive, Range
from dryspin.scenario import Fault, Scenario, Trace
from dryspin.scenario.schema import MOMENTARY_FAULTS
from dryspin.search.course import START_UP_S, Stick, armed_s
from dryspin.search.draws import SeededDraws
from dryspin.search.envelope import load_factors, varied_parts
from dryspin.search.rehearsal import UNREHEARSED
from dryspin.search.stalling import CRAWLS_RPM, jam_factor
from dryspin.search.strategies import NOISE_S, NOISY_ONE_IN, build

FRAME_MS = (5.0, 25.0)
"""Shortest and longest period of the throttle pulses in a search."""

MOST_STEPS, MOST_FAULTS = 6, 2

ABSENT_ONE_IN = 8
"""Stick positions that are no pulse at all."""

FAULTS = ("reset", "power cut", "supply gap", "endless loop")
OUTAGE_MS = (5.0, 300.0)
"""Shortest and longest outage in the stories of a search."""

PROPELLER = ("jammed", "blocked", "pushed")
"""What happens to the propeller in every second scenario."""

JAM_S = (0.05, 0.5)
"""Lengths of a jam, with those of the search (0.08 to 0.12 s) among them."""


def uniform_scenario(drive: Drive, family: str, generator: Random) -> Scenario:
    """One scenario, as long as a story of `family` happens to be."""
    end_s = build(SeededDraws(generator), drive, family).scenario.end_s
    frame_ms = round(generator.uniform(*FRAME_MS), 1)
    begin_s = min(armed_s(drive, UNREHEARSED, frame_ms), end_s / 2.0)
    arms = generator.random() < 0.5
    happens = generator.choice(PROPELLER) if generator.random() < 0.5 else ""
    hold_nm = drive.load.coulomb_nm.low
    noisy = generator.randrange(NOISY_ONE_IN) == 0
    return Scenario(
        seed=generator.randrange(100),
        end_s=end_s,
        rest_deg=round(generator.uniform(0.0, 359.9), 1),
        frame_ms=frame_ms,
        throttle_us=_steps(drive, begin_s if arms else 0.0, end_s, generator),
        supply_v=((0.0, _within(drive.supply.v_v, generator)),),
        load_factor=_load(drive, happens == "jammed", begin_s, end_s, generator),
        load_nm=((0.0, round(generator.uniform(-hold_nm, hold_nm), 6)),) if happens == "pushed" else (),
        speed_rpm=((0.0, 0.0),) if happens == "blocked" else (),
        comparator_noise_mv=_noise(drive.sense.noise_v, end_s, generator) if noisy else (),
        parts={name: _within(span, generator) for name, span in varied_parts(drive).items()},
        faults=_faults(end_s, generator),
    )


def _within(span: Range, generator: Random) -> float:
    value = float(f"{generator.uniform(span.low, span.high):.4g}")
    return min(max(value, span.low), span.high)


def _steps(drive: Drive, begin_s: float, end_s: float, generator: Random) -> Trace:
    """From `begin_s` on the stick anywhere, pulses too short, too long or absent among it; neutral before."""
    low_us, high_us = Stick(drive).bad_us[1:]
    moments = _moments(1 + generator.randrange(MOST_STEPS), begin_s, end_s, generator)
    steps = [
        (t_s, 0.0 if generator.randrange(ABSENT_ONE_IN) == 0 else round(generator.uniform(low_us, high_us)))
        for t_s in moments
    ]
    first_us = drive.throttle.neutral_us if begin_s else round(generator.uniform(low_us, high_us))
    return ((0.0, float(first_us)), *((t_s, float(us)) for t_s, us in steps))


def _moments(count: int, begin_s: float, end_s: float, generator: Random) -> Sequence[float]:
    least_s = max(begin_s, 0.0001)
    return sorted({round(generator.uniform(least_s, end_s - 0.001), 4) for _ in range(count)})


def _load(drive: Drive, jammed: bool, begin_s: float, end_s: float, generator: Random) -> Trace:
    """A propeller of the drive's; jammed, one that is as good as stopped between two moments."""
    usual = _within(load_factors(drive), generator)
    if not jammed:
        return ((0.0, usual),)
    thick = round(usual * jam_factor(drive, generator.uniform(min(CRAWLS_RPM), max(CRAWLS_RPM))), 4)
    return _burst(usual, thick, generator.uniform(*JAM_S), begin_s, end_s, generator)


def _noise(span: Range, end_s: float, generator: Random) -> Trace:
    return _burst(0.0, round(1000.0 * _within(span, generator), 6), NOISE_S, START_UP_S, end_s, generator)


def _burst(
    usual: float, other: float, for_s: float, begin_s: float, end_s: float, generator: Random
) -> Trace:
    """From `usual` to `other` and back, each within a millisecond, somewhere behind `begin_s`."""
    latest_s = max(end_s - for_s - 0.01, begin_s)
    from_s = generator.uniform(begin_s, latest_s)
    edges = (
        (from_s, usual),
        (from_s + 0.001, other),
        (from_s + for_s, other),
        (from_s + for_s + 0.001, usual),
    )
    return ((0.0, usual), *((round(t_s, 4), value) for t_s, value in edges))


def _faults(end_s: float, generator: Random) -> tuple[Fault, ...]:
    faults = []
    for _ in range(generator.randrange(MOST_FAULTS + 1)):
        kind = generator.choice(FAULTS)
        at_s = round(generator.uniform(START_UP_S, end_s - 0.001), 7)
        for_ms = 0.0 if kind in MOMENTARY_FAULTS else round(generator.uniform(*OUTAGE_MS), 1)
        faults.append(Fault(kind, at_s, for_ms))
    return tuple(sorted(faults, key=lambda fault: fault.at_s))
