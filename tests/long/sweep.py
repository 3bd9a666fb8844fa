"""Cuts and resets at every instant: what a search only samples, swept evenly.

    python tests/long/sweep.py [--instants N] [--workers N] [--results DIR]

Two sweeps of the shipped bow thruster, each judged by all monitors. "store": the power goes at N
instants across the writing of a calibration; afterwards the stick must mean the old or the new
range. "run": the controller is reset at N instants from power-on through arming, start, run and
reversal, with the stick left where it is; afterwards it takes the rite again. `.ci/long` runs this.
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

from dryspin.findings import BROKEN, CANNOT_TELL, HELD, NOT_EXERCISED, Outcome, Subject, Trial, load_subject
from dryspin.monitors import known_claims
from dryspin.scenario import Fault, Scenario
from dryspin.search.course import Course, armed_s
from dryspin.search.plan import versions
from dryspin.search.positions import INNERS, SHIFT_BANDS, positions_of, telling_of
from dryspin.search.rehearsal import UNREHEARSED, writes_of
from dryspin.search.teaching import DEFAULT, hold_at, learn
from dryspin.search.workers import run_tasks

ROOT = Path(__file__).parents[2]
FIRMWARE = ROOT / "firmware_under_test" / "bow_thruster"
INSTANTS = 1000
CHUNK = 5
SHOWN = 20

SHORT_FRAME_MS = 10.0
FRAME_MS = 20.0
SPANS_US = (450.0, 300.0)
CUT_MS = 30.0
AROUND_S = 2e-3
"""Before the first byte and after the last, so that both ends are met."""

FORWARD_S, REVERSE_S, RUN_END_S = 1.0, 2.1, 3.2
LEFT_S = 0.1
"""The stick is left where it is for so long after a reset: five frames of 20 ms."""


@dataclass(frozen=True)
class Sweep:
    """One sweep: its scenarios by instant (s from power-on)."""

    name: str
    what: str
    scenarios: tuple[tuple[float, Scenario], ...]


@dataclass
class Count:
    """One claim over a sweep: how often each status, and the least margin with its instant."""

    statuses: Counter[str] = field(default_factory=Counter)
    worst: Outcome | None = None
    worst_at_s: float = 0.0
    broken: list[tuple[float, str]] = field(default_factory=list)

    def add(self, at_s: float, outcome: Outcome) -> None:
        """Count one instant."""
        self.statuses[outcome.status] += 1
        if outcome.status == BROKEN:
            self.broken.append((at_s, outcome.text))
        if outcome.margin is not None and (
            self.worst is None or self.worst.margin is None or outcome.margin < self.worst.margin
        ):
            self.worst, self.worst_at_s = outcome, at_s


def thruster() -> Subject:
    """The shipped bow thruster, before all monitors there are, declared or not."""
    subject = load_subject(FIRMWARE)
    return replace(subject, claims=replace(subject.claims, declared=known_claims()))


def evenly(from_s: float, to_s: float, count: int) -> Iterator[float]:
    """`count` instants in the middle of as many equal parts of the time, to 10 ns."""
    for k in range(count):
        yield round(from_s + (k + 0.5) / count * (to_s - from_s), 8)


def store_sweep(subject: Subject, count: int) -> Sweep:
    """Power cuts across the writing of a second range, after the first has been seen at work."""
    drive = subject.drive
    rite, frame_ms = drive.calibration or DEFAULT, SHORT_FRAME_MS
    neutral_us, beside_us = drive.throttle.neutral_us, SHIFT_BANDS * drive.throttle.dead_band_us
    old = positions_of(rite, SPANS_US[0], neutral_us)
    new = positions_of(rite, SPANS_US[1], neutral_us - beside_us)
    telling = telling_of(drive, old, new, 0, INNERS[0])
    course = Course([(0.0, 0.0)], 0.0)
    done_s = learn(course, rite, frame_ms, 0.0, old)
    at_s = hold_at(course, drive, UNREHEARSED, frame_ms, done_s + 0.7, neutral_us, telling.seen_us)
    course.step(at_s, neutral_us)
    at_s = round(at_s + 0.05, 4)
    back_s = course.fault("power cut", at_s, CUT_MS)
    course.step(at_s, new.high)
    done_s = learn(course, rite, frame_ms, back_s, new)

    def scenario(cut_s: float | None, seed: int) -> Scenario:
        rest = Course(list(course.throttle_us), 0.0, list(course.faults))
        end_s = done_s + 1.5
        if cut_s is not None:
            back_s = rest.fault("power cut", cut_s, CUT_MS)
            end_s = hold_at(
                rest, drive, UNREHEARSED, frame_ms, back_s, neutral_us - beside_us / 2.0, telling.told_us
            )
        return _scenario(rest, end_s, frame_ms, seed)

    whole = subject.record(scenario(None, 0))
    writes = [(a, b) for a, b in writes_of(whole) if a >= done_s - frame_ms / 1000.0]
    if not writes:
        raise SystemExit(f"{FIRMWARE}: the second calibration writes nothing, so nothing can be swept")
    from_s, to_s = writes[0][0] - AROUND_S, writes[-1][1] + AROUND_S
    what = (
        f"power cut for {CUT_MS:g} ms, from {from_s:.4f} to {to_s:.4f} s, across {len(writes)} writes; "
        f"full stick {SPANS_US[0]:g} us from {old.neutral:g} us before, {SPANS_US[1]:g} us from "
        f"{new.neutral:g} us after"
    )
    instants = evenly(from_s, to_s, count)
    # A torn byte is left to chance: another seed, another outcome.
    return Sweep("store", what, tuple((at_s, scenario(at_s, k)) for k, at_s in enumerate(instants)))


def run_sweep(subject: Subject, count: int) -> Sweep:
    """Resets from power-on through arming, its tone, start, run, reversal and run."""
    throttle = subject.drive.throttle
    plan = (
        (0.0, throttle.neutral_us),
        (FORWARD_S, throttle.forward_full_us),
        (REVERSE_S, throttle.reverse_full_us),
    )

    def scenario(at_s: float) -> Scenario:
        release_s = at_s + LEFT_S
        course = Course([step for step in plan if step[0] < release_s], 0.0)
        course.fault("reset", at_s)
        course.step(release_s, throttle.neutral_us)
        again_s = release_s + armed_s(subject.drive, UNREHEARSED, FRAME_MS)
        course.step(again_s, throttle.forward_full_us)
        return _scenario(course, again_s + 0.6, FRAME_MS, 0)

    what = f"reset from 0 to {RUN_END_S:g} s: rite, forward at {FORWARD_S:g} s, reverse at {REVERSE_S:g} s"
    instants = evenly(0.0, RUN_END_S, count)
    return Sweep("run", what, tuple((at_s, scenario(at_s)) for at_s in instants))


def _scenario(course: Course, end_s: float, frame_ms: float, seed: int) -> Scenario:
    steps: list[tuple[float, float]] = []
    for t_s, us in sorted(dict(course.throttle_us).items()):
        if t_s < end_s and (not steps or steps[-1][1] != us):
            steps.append((t_s, us))
    return Scenario(
        seed=seed,
        end_s=round(end_s, 4),
        rest_deg=0.0,
        frame_ms=frame_ms,
        throttle_us=tuple(steps),
        faults=tuple(Fault(f.kind, round(f.at_s, 8), f.for_ms) for f in course.faults),
    )


def judged(
    subject: Subject, sweep: Sweep, workers: int, tell: Callable[[int], None] = lambda _: None
) -> list[Trial]:
    """A trial for every instant, in order; the same whatever `workers` is."""
    pieces = [sweep.scenarios[k : k + CHUNK] for k in range(0, len(sweep.scenarios), CHUNK)]

    def work(piece: tuple[tuple[float, Scenario], ...], progress: Callable[[int], None]) -> list[Trial]:
        trials = []
        for _, scenario in piece:
            trials.append(subject.try_out(scenario))
            progress(len(trials))
        return trials

    return [trial for trials in run_tasks(work, pieces, workers, tell) for trial in trials]


def counted(sweep: Sweep, trials: list[Trial]) -> dict[str, Count]:
    """Claim -> how it fared over the sweep."""
    counts: dict[str, Count] = {}
    for (at_s, _), trial in zip(sweep.scenarios, trials, strict=True):
        for outcome in trial.outcomes:
            counts.setdefault(outcome.claim, Count()).add(at_s, outcome)
    return counts


def summary(sweep: Sweep, counts: dict[str, Count]) -> list[str]:
    """The table of one sweep, and the instants at which claims broke."""
    lines = [f"{sweep.name}: {len(sweep.scenarios)} instants, {sweep.what}", ""]
    head = ("held", "broken", "not exercised", "cannot tell")
    lines.append(f"  {'claim':30}" + "".join(f"{word:>15}" for word in head) + "   least margin")
    for claim, count in counts.items():
        numbers = "".join(f"{count.statuses[s]:15}" for s in (HELD, BROKEN, NOT_EXERCISED, CANNOT_TELL))
        worst = "" if count.worst is None else f"   {count.worst.margin:+.3f} at {count.worst_at_s:.6f} s"
        lines.append(f"  {claim:30}{numbers}{worst}")
    for claim, count in counts.items():
        lines += [f"  broken  {claim} at {at_s:.8f} s: {text}" for at_s, text in count.broken[:SHOWN]]
        if len(count.broken) > SHOWN:
            lines.append(f"  broken  {claim} at {len(count.broken) - SHOWN} more instants")
    return [*lines, ""]


def main(arguments: list[str] | None = None) -> int:
    """Sweep, print, write the dated result; 1 where a claim broke."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--instants", type=int, default=INSTANTS, help="of each sweep (default %(default)s)")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--results", type=Path, default=Path(__file__).parent / "results")
    options = parser.parse_args(arguments)
    begun_s = time.monotonic()
    subject = thruster()
    known = {**versions(), "compiler": subject.compiler, **subject.hashes}
    lines = ["Sweep of the bow thruster, " + ", ".join(f"{k} {v}" for k, v in known.items()), ""]
    broken = 0
    for make in (store_sweep, run_sweep):
        sweep = make(subject, options.instants)

        def tell(done: int, name: str = sweep.name) -> None:
            print(f"\r{name}: {done}/{options.instants}", end="", file=sys.stderr, flush=True)

        counts = counted(sweep, judged(subject, sweep, options.workers, tell))
        print(file=sys.stderr)
        broken += sum(len(count.broken) for count in counts.values())
        lines += summary(sweep, counts)
    text = "\n".join(lines)
    print(text)
    options.results.mkdir(parents=True, exist_ok=True)
    path = options.results / f"{datetime.now(UTC):%Y-%m-%d}-sweep.txt"
    path.write_text(text, encoding="utf-8")
    print(f"written to {path}, {time.monotonic() - begun_s:.0f} s, {broken} broken")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
