"""Whole scenarios inside a drive's envelope, one flavour per family.

The same construction serves two askers: `covering_draft` goes through the envelope by plan
(every rest sector, both ends of supply and propeller, full stick both ways), `drafts` is the
Hypothesis strategy that looks everywhere else and shrinks.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from random import Random

from hypothesis import strategies as st

from dryspin.drive import Drive
from dryspin.scenario import Scenario, Trace
from dryspin.scenario.schema import OUTAGES
from dryspin.search import unarmed
from dryspin.search.beginnings import SLOTS, Beginning
from dryspin.search.course import RARE, WAYS, Course
from dryspin.search.draws import Draws, HypothesisDraws, NotedDraws, SeededDraws
from dryspin.search.envelope import SECTOR_DEG, SECTORS, level, load_factors, varied_parts
from dryspin.search.flavours import FLAVOURS, HANDS, frames_ms
from dryspin.search.learning import CUT_OFF, DECLARED, KINDS, LEARNT_FIRST
from dryspin.search.loading import THEN_JAMMED
from dryspin.search.positions import SPANS
from dryspin.search.rehearsal import UNREHEARSED, Rehearsal
from dryspin.search.stalling import JOINING
from dryspin.search.starting import AGAINST, FLICKED, HELD, STARTS, STREAMS

NOISY_ONE_IN = 5
"""One scenario in so many has noise."""

NOISE_S = 0.4
"""It lasts no longer: the rig follows noise microsecond by microsecond, in time and in memory."""

RAMP_S = 0.3
"""Length of a change of supply or load: slow for the bus, quick for the rotor."""

MAX_OFF_NOMINAL = 3
"""Parts that leave their nominal value in one scenario, at most."""


def _plan(kinds: int, first: Sequence[int]) -> tuple[int, ...]:
    """All kinds of story, those told once in so many first: what only they show is to be met early."""
    return (*first, *(k for k in range(kinds) if k not in first))


PLANNED_KINDS: Mapping[str, tuple[int, ...]] = {
    "startup": _plan(STARTS, (RARE, *STREAMS, FLICKED, HELD, AGAINST)),
    "arming": _plan(unarmed.KINDS, tuple(unarmed.STORIES)),
    "calibration": _plan(KINDS, LEARNT_FIRST),
}
"""Order of the kinds of story in the covering plan, where it is not theirs."""


@dataclass(frozen=True)
class Draft:
    """A scenario together with the choices it was built from, which Hypothesis can shrink.

    `rehearsal` is what the choices aim by; `aside` and `beginning` see `Course`.
    """

    family: str
    scenario: Scenario
    choices: tuple[int, ...]
    rehearsal: Rehearsal = UNREHEARSED
    aside: bool = False
    beginning: Beginning | None = None

    @property
    def shared_s(self) -> float | None:
        """Up to this moment (s) others may begin in the same way; None where they do not."""
        return self.beginning.until_s if self.beginning else None

    def alone(self) -> "Draft":
        """The same, of whose beginning no other is to make use."""
        return replace(self, beginning=None)


def build(draws: Draws, drive: Drive, family: str, rehearsal: Rehearsal = UNREHEARSED) -> Draft:
    """Build one scenario of a family's flavour from choices.

    The order matters for shrinking: what tells the story comes first, what only dresses it last.
    """
    if drive.throttle.one_way:
        draws.settle(*WAYS)
    frame_ms = draws.pick("frame", frames_ms(family))
    course = FLAVOURS[family](draws, drive, frame_ms, rehearsal)
    frame_ms = course.frame_ms or frame_ms
    rest_deg = float(draws.index("sector", SECTORS) * SECTOR_DEG + draws.index("rest", SECTOR_DEG))
    supply_v = _trace(draws, "supply", course, lambda name: level(draws, name, drive.supply.v_v))
    load_factor = _trace(draws, "load", course, lambda name: level(draws, name, load_factors(drive)))
    if course.jam:
        usual = load_factor[0][1] if load_factor else 1.0
        load_factor = tuple((t_s, round(usual * times, 4)) for t_s, times in course.jam)
    parts = _parts(draws, drive) | course.parts
    noise_mv = _noise(draws, drive, course)
    # A byte whose writing loses its supply is left to chance, too.
    torn = any(fault.kind in OUTAGES for fault in course.faults)
    seed = draws.index("seed", 100) if noise_mv or torn else 0
    scenario = Scenario(
        seed=seed,
        end_s=round(course.end_s, 4),
        rest_deg=rest_deg,
        frame_ms=frame_ms,
        throttle_us=_without_repeats(course.throttle_us, course.end_s),
        supply_v=supply_v,
        load_factor=load_factor,
        load_nm=course.load_nm,
        speed_rpm=((0.0, 0.0),) if course.blocked else (),
        comparator_noise_mv=noise_mv,
        parts=parts,
        faults=tuple(sorted(course.faults, key=lambda fault: fault.at_s)),
    )
    beginning = course.beginning
    if beginning is not None:
        early = any(0.0 < t_s <= beginning.until_s for trace in _dressed(scenario) for t_s, _ in trace)
        beginning = None if early else beginning.dressed(draws.named)
    return Draft(family, scenario, tuple(draws.choices), rehearsal, course.aside, beginning)


def retold(drive: Drive, draft: Draft, choices: Sequence[int], generator: Random | None = None) -> Draft:
    """The draft with other choices; those behind them from `generator`, or the simplest."""
    return build(NotedDraws(choices, generator), drive, draft.family, draft.rehearsal)


@st.composite
def drafts(
    draw: Callable[[st.SearchStrategy[int]], int],
    drive: Drive,
    family: str,
    rehearsal: Rehearsal = UNREHEARSED,
) -> Draft:
    """The Hypothesis strategy of one family."""
    return build(HypothesisDraws(draw), drive, family, rehearsal)


@st.composite
def explored(
    draw: Callable[[st.SearchStrategy[int]], int],
    drive: Drive,
    family: str,
    rehearsal: Rehearsal,
    beginnings: Sequence[Beginning],
) -> Draft:
    """The same, of `SLOTS` scenarios as many as there are `beginnings` each with one of these."""
    slot = draw(st.integers(0, SLOTS - 1)) - (SLOTS - len(beginnings))
    fixed = beginnings[slot].chosen if slot >= 0 else {}
    return build(HypothesisDraws(draw, fixed), drive, family, rehearsal)


def covering_draft(
    drive: Drive, family: str, row: int, seed: int, rehearsal: Rehearsal = UNREHEARSED
) -> Draft:
    """Row `row` of the covering plan, the other choices from the generator of `seed` and `row`.

    Rows are numbered through all families. Twenty-four rows in sequence meet every rest sector
    (their order differs with the seed), both ends of the supply with both ends of the propeller,
    full stick both ways, every kind of story a flavour has, and cuts in most writes of the store.
    """
    sectors = list(range(SECTORS))
    Random(seed).shuffle(sectors)
    kinds = PLANNED_KINDS.get(family)
    fixed = {"sector": sectors[row % SECTORS], "way": row, "trim": row}
    fixed |= {"hand": row, "halves": row, "in turn": row // HANDS, "offset": row // STARTS}
    fixed["kind"] = kinds[row % len(kinds)] if kinds else row
    if family == "arming":
        # Frames too fast for any transmitter, offered last, come first.
        fixed["frame"] = row - 1
        fixed |= {"missing after": row // unarmed.KINDS, "still water": 0}
    if family == "synchronism" and row % 7 == 0:
        # Seldom drawn, and the only story in which a rotor that turns already is joined.
        fixed["gap"] = JOINING
    if family == "electrical" and row % 6 == 2:
        # What a stop by the current limit leaves behind shows on a full supply only, and the second time.
        fixed |= {"then": THEN_JAMMED, "jams more": 1}
    if family == "calibration":
        # Counted without the stories that are not cut off, else some bytes would never be.
        nth = cut_off_before(row)
        fixed["write"] = nth + nth // len(CUT_OFF)
        # The first choice is the bare story, which exercises little: for the shortening, and now and then.
        fixed["old span"] = 1 + nth % (SPANS + DECLARED)
        if nth % (SPANS + DECLARED) >= SPANS:
            fixed |= _cut_of_the_first_record(nth, len(rehearsal.store_s))
    # level(): 1 is the low end, 2 the high end; every third row is left free.
    if row % 3:
        fixed["supply"] = row % 3
    if row // 3 % 3:
        fixed["load"] = row // 3 % 3
    # Full stick every other time, the other sizes in turn; of four rows each is met both ways.
    fixed["size"] = 1 + row % SECTORS // 4 if row % 4 in (1, 2) else 0
    generator = Random(f"{seed}/{family}/{row}")
    return build(SeededDraws(generator, fixed), drive, family, rehearsal)


def cut_off_before(row: int) -> int:
    """Of the rows of a calibration's covering plan before `row`, those that tell of one that is cut off."""
    kinds = PLANNED_KINDS["calibration"]
    rounds, rest = divmod(row, len(kinds))
    return rounds * len(CUT_OFF) + sum(kind in CUT_OFF for kind in kinds[:rest])


def _cut_of_the_first_record(row: int, writes: int) -> dict[str, int]:
    """Nothing was ever stored, so what is not written yet reads as erased: a mix of ranges, if anything is.

    It is likeliest in the middle of the writes, between two bytes, and shows where both ways are looked at.
    """
    nth = row % SECTORS // (SPANS + DECLARED) * DECLARED + row % (SPANS + DECLARED) - SPANS
    outwards = sorted(range(writes), key=lambda write: abs(2 * write + 1 - writes))
    cut = {"both ways": 1, "within": row // (SECTORS // 2)}
    return cut | ({"write": outwards[nth % writes]} if writes else {})


def _dressed(scenario: Scenario) -> tuple[Trace, ...]:
    return scenario.supply_v, scenario.load_factor, scenario.comparator_noise_mv


def _trace(draws: Draws, name: str, course: Course, value: Callable[[str], float]) -> Trace:
    """A constant, or now and then a ramp that begins with the last change of the stick."""
    start = value(name)
    if draws.index(f"{name} ramp", 6) != 1:
        return ((0.0, start),)
    # A drive that is left alone meets it halfway.
    begin_s = max((t_s for t_s, _ in course.throttle_us if 0.0 < t_s < course.end_s), default=1.0)
    until_s = round(min(begin_s + RAMP_S, course.end_s), 4)
    end = value(f"{name} after")
    if end == start or until_s <= begin_s:
        return ((0.0, start),)
    return ((0.0, start), (begin_s, start), (until_s, end))


def _noise(draws: Draws, drive: Drive, course: Course) -> Trace:
    """None, or a burst that begins at a change of the stick or a while after it."""
    if draws.index("noisy", NOISY_ONE_IN) != 1:
        return ()
    span = drive.sense.noise_v
    noise_mv = round(1000.0 * draws.pick("noise", (span.low, span.nominal, span.high)), 6)
    changes_s = [t_s for t_s, _ in course.throttle_us if 0.0 < t_s < course.end_s - NOISE_S]
    if not changes_s:
        return ()
    begin_s = draws.pick("noise from", changes_s) + draws.pick("noise later", (0.0, 0.3, 0.1))
    stop_s = min(begin_s + NOISE_S, course.end_s - 0.01)
    edges = (
        (0.0, 0.0),
        (begin_s, 0.0),
        (begin_s + 0.001, noise_mv),
        (stop_s, noise_mv),
        (stop_s + 0.001, 0.0),
    )
    return tuple((round(t_s, 4), value) for t_s, value in edges)


def _parts(draws: Draws, drive: Drive) -> dict[str, float]:
    ranges = varied_parts(drive)
    names = sorted(ranges)
    if not names:
        return {}
    parts = {}
    for k in range(draws.index("off nominal", MAX_OFF_NOMINAL + 1)):
        name = draws.pick(f"part {k}", names)
        parts[name] = level(draws, f"value {k}", ranges[name])
    nominal = {name: span.nominal for name, span in ranges.items()}
    return {name: value for name, value in sorted(parts.items()) if value != nominal[name]}


def _without_repeats(steps: list[tuple[float, float]], end_s: float) -> Trace:
    """Steps in order of time, later ones winning, without those that change nothing or come too late."""
    by_time = dict(steps)
    kept: list[tuple[float, float]] = []
    for t_s in sorted(by_time):
        if t_s < end_s and (not kept or kept[-1][1] != by_time[t_s]):
            kept.append((t_s, by_time[t_s]))
    return tuple(kept)
