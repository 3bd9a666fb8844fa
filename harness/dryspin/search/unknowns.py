"""Which of the drive's unknowns matters most: each at both ends of its range, everything else nominal.

One at a time, in the usual story of at most three families: what two unknowns do together is the
search's to find, this is to tell what to measure first.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from dryspin.drive import Drive, Range
from dryspin.errors import RigError
from dryspin.findings import BROKEN, HELD, Trial
from dryspin.scenario import Scenario, part_ranges
from dryspin.search.effect import Effect
from dryspin.search.family import Task, usual_draft
from dryspin.search.workers import run_tasks

SUPPLY = "supply_v"

PART_OF: Mapping[str, str] = {
    "motor.kv_rpm_per_v": "kv",
    "motor.kt_nm_per_a": "kv",
    "motor.r_phase_ohm": "r_phase",
    "motor.l_phase_h": "l_phase",
    "motor.j_kg_m2": "j",
    "load.kq_nm_s2": "kq",
    "load.coulomb_nm": "coulomb",
    "load.static_nm": "static",
    "bridge.r_on_ohm": "r_on",
    "bridge.v_f_v": "v_f",
    "bridge.diode_slope_ohm": "diode_slope",
    "supply.v_v": SUPPLY,
    "supply.r_ohm": "r_supply",
    "supply.c_f": "c_bus",
    "supply.esr_ohm": "esr",
    "sense.offset_v": "offset_v",
    "sense.delay_s": "delay_s",
    "sense.tau_s": "tau",
}
"""What a scenario can vary of the drive, by the drive's key."""

TELLING = ("startup", "reversal", "electrical", "commutation", "synchronism", "gates")
"""Families in which motor and load show; the first three that are searched are tried."""

MOST_FAMILIES = 3


def spanned_unknowns(drive: Drive) -> dict[str, Range]:
    """The keys listed under `unknown` that have a range, with the values a scenario gives the part."""
    ranges = {**part_ranges(drive), SUPPLY: drive.supply.v_v}
    spans = {key: ranges[PART_OF[key]] for key in drive.unknown if key in PART_OF}
    return {key: span for key, span in spans.items() if span.low < span.high}


def effects(
    try_out: Callable[[Scenario], Trial],
    drive: Drive,
    declared: Sequence[str],
    tasks: Sequence[Task],
    workers: int,
) -> tuple[Effect, ...]:
    """What each unknown with a range does to the declared claims, the one that matters most first.

    try_out: raises RigError for a scenario that cannot be run, which then says nothing.
    """
    chosen = sorted((t for t in tasks if t.family in TELLING), key=lambda t: TELLING.index(t.family))
    stories = [nominal(usual_draft(drive, task).scenario) for task in chosen[:MOST_FAMILIES]]
    spans = spanned_unknowns(drive)
    runs = [(key, end, story) for key in spans for end in ("low", "high") for story in stories]

    def work(run: tuple[str, str, Scenario], _: Callable[[int], None]) -> dict[str, float]:
        key, end, story = run
        try:
            trial = try_out(at_end(story, PART_OF[key], getattr(spans[key], end)))
        except RigError:
            return {}
        return {
            o.claim: o.margin
            for o in trial.outcomes
            if o.claim in declared and o.status in (BROKEN, HELD) and o.margin is not None
        }

    margins: dict[tuple[str, str], dict[str, float]] = {}
    for (key, end, _), seen in zip(runs, run_tasks(work, runs, workers), strict=True):
        least = margins.setdefault((key, end), {})
        for claim, margin in seen.items():
            least[claim] = min(margin, least.get(claim, margin))
    found = [_greatest(key, margins.get((key, "low"), {}), margins.get((key, "high"), {})) for key in spans]
    return tuple(sorted(found, key=lambda effect: -effect.swing))


def nominal(scenario: Scenario) -> Scenario:
    """The same story with every part nominal and no noise."""
    return replace(scenario, supply_v=(), load_factor=(), parts={}, comparator_noise_mv=())


def at_end(scenario: Scenario, part: str, value: float) -> Scenario:
    """The same story with one part, or the supply, at that value."""
    if part == SUPPLY:
        return replace(scenario, supply_v=((0.0, value),))
    return replace(scenario, parts={part: value})


def _greatest(key: str, low: Mapping[str, float], high: Mapping[str, float]) -> Effect:
    both = [Effect(key, claim, low[claim], high[claim]) for claim in low if claim in high]
    return max(both, key=lambda effect: effect.swing, default=Effect(key, "", 0.0, 0.0))
