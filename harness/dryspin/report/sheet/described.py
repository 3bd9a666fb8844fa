"""One case as the page's template wants it: words, tables, drawings, and the lanes packed."""

import base64
import json
from collections.abc import Sequence
from functools import cache
from typing import Any

from dryspin.findings import CODE, Outcome
from dryspin.monitors.registry import FAMILIES, claims_of
from dryspin.report.numbers import quantity
from dryspin.report.scenario import scenario_lines
from dryspin.report.sheet.acted import MERE, Act, acting, last_acts, places
from dryspin.report.sheet.bench import bench_of
from dryspin.report.sheet.case import Case, by_urgency
from dryspin.report.sheet.clock import ANGLES, BEGINS, DEADLINES, Clock, clock_of, led_from_s
from dryspin.report.sheet.kept import kept
from dryspin.report.sheet.lanes import COMPLETE_S, Lanes, lanes_of
from dryspin.report.sheet.limits import limit_lines
from dryspin.report.sheet.opening import opening
from dryspin.report.sheet.pack import packed
from dryspin.report.sheet.screen import screen_drawing
from dryspin.report.sheet.still import still
from dryspin.report.sheet.tables import bars, handler_rows, verdict_row

MOST_EDGES = 5_000_000
"""A minute of a running drive, some 20 MB; of longer runs a page keeps the edges nearest to the moment."""

_NEAR_S = 6e-3
"""A close look, where nothing says how close: a few electrical turns of a fast rotor."""


def described_case(case: Case) -> dict[str, Any]:
    """What the template asks for, but for the case's number on its page."""
    outcome, moment_s, recording = case.outcome, case.moment_s, case.recording
    clock = clock_of(outcome, recording)
    since_s = led_from_s(outcome, clock) or 0.0
    acts = last_acts(recording, moment_s, since_s)
    lanes = lanes_of(recording, moment_s, limit_lines(outcome), _look_also_s(acts, since_s, moment_s))
    shown = kept(lanes, MOST_EDGES)
    description, block = packed(shown)
    opens = opening(outcome, clock, recording)
    description |= {
        "limit": None if clock is None else {"from": clock.from_s, "to": clock.to_s, "text": clock.text},
        "moment_word": "the moment" if outcome.moment_s is not None else "the end",
        "opens": list(opens),
    }
    bench = bench_of(case)
    stem = stem_of(case)
    missed = outcome.claim in DEADLINES and clock is not None
    return {
        "title": outcome.claim,
        "status": outcome.status,
        "sentence": sentences().get(outcome.claim, ""),
        "story": scenario_lines(case.scenario, case.drive),
        "happened": _happened(outcome),
        "acted_word": _acted_word(outcome),
        # Of a deadline a monitor names the first answer, which need not be what kept it from being met.
        "acted": [] if missed else acting(recording, case.sources, outcome.source_line, moment_s),
        "places": places(acts, case.sources, since_s) if missed else [],
        "acts": [_act_row(act) for act in acts],
        "acts_since": f"{since_s:.4f}" if since_s else "",
        "replay": case.replay,
        "bars": bars(outcome, recording.end_s, _limit_note(outcome, clock)),
        "missing": list(shown.missing),
        "elsewhere": "",
        "complete": " and from ".join(f"{a:.4f} to {b:.4f} s" for a, b in lanes.complete),
        "edges_s": [f"{t:.4f}" for t in shown.edges_s] if shown is not lanes else [],
        "slice": quantity(lanes.slice_s * 1e6, "us"),
        "stills": _stills(lanes, opens, clock, stem),
        "bench": bench,
        "bench_probes": list(zip(bench.probes, bench.sees, strict=True)),
        "screen": markup(screen_drawing(bench.screen, f"{stem}-screen")),
        "closer": markup(screen_drawing(bench.closer.screen, f"{stem}-closer")) if bench.closer else "",
        "pulse_file": f"{stem}-throttle.csv",
        "pulse_data": base64.b64encode(bench.pulses.encode()).decode("ascii"),
        "verdicts": [verdict_row(one, recording.end_s) for one in by_urgency(case.trial.outcomes)],
        "handlers": handler_rows(recording),
        "described": _json(description),
        "block": block,
    }


def _look_also_s(acts: Sequence[Act], since_s: float, moment_s: float) -> float | None:
    """Where else than at the moment to look closely: at what was done last, or where the clock started.

    None where no clock ran. What was done shortly before the moment is seen with it.
    """
    if not since_s:
        return None
    done = [act.at_s for act in acts if act.at_s is not None and act.kind not in MERE]
    far = [at_s for at_s in done[:1] if since_s <= at_s < moment_s - COMPLETE_S]
    return far[0] if far else since_s


def _act_row(act: Act) -> dict[str, Any]:
    """When in s and when first, None where it says nothing; what, how often, by which line."""
    return {
        "at_s": act.at_s,
        "what": act.text,
        "times": "" if act.at_s is None else str(act.times) if act.times else "not once",
        "first_s": act.first_s if act.times > 1 else None,
        "by": " ← ".join(act.by),
    }


def _limit_note(outcome: Outcome, clock: Clock | None) -> str:
    """Where in the lanes the limit is drawn."""
    if clock is None:
        return ""
    drawn = "In the lanes the thick piece of the time line is the limit"
    if outcome.claim in BEGINS:
        return f"{drawn}, from the moment on."
    if outcome.claim not in ANGLES:
        return f"{drawn}. Its clock starts at {clock.start_s:.6f} s."
    late = clock.start_s == clock.from_s
    return (
        f"{drawn}, {clock.limit_s * 1e6:.3g} us at the moment's speed. The right angle is where it "
        f"{'begins' if late else 'ends'}, at {clock.start_s:.6f} s."
    )


def _stills(
    lanes: Lanes, opens: tuple[float, float], clock: Clock | None, stem: str
) -> list[tuple[str, Any]]:
    whole = 0.0, lanes.end_s
    drawn = [(whole, "the whole run; each column shows the least and the largest value in it")]
    if opens == whole:
        near = lanes.moment_s - 0.4 * _NEAR_S, lanes.moment_s + 0.6 * _NEAR_S
        drawn.append((near, f"close to the moment, {lanes.moment_s:.4f} s"))
    else:
        drawn.append((opens, f"from what led to the moment up to the moment, {lanes.moment_s:.4f} s"))
    return [
        (caption, markup(still(lanes, *ends, caption, f"{stem}-{k}", clock)))
        for k, (ends, caption) in enumerate(drawn)
    ]


def stem_of(case: Case) -> str:
    """How files that belong to a case begin."""
    return case.name.rpartition("/")[2].removesuffix(".toml") or "story"


def _happened(outcome: Outcome) -> str:
    if not outcome.text:
        return f"{outcome.status}, without more to say"
    moment = "" if outcome.moment_s is None else f"At {outcome.moment_s:.4f} s: "
    return moment + outcome.text


@cache
def sentences() -> dict[str, str]:
    """What each claim claims, by its full name."""
    return {f"{family}.{claim.name}": claim.sentence for family in FAMILIES for claim in claims_of(family)}


def _acted_word(outcome: Outcome) -> str:
    """What stands before the line of firmware: of a fault in the C it is the line of the fault."""
    return "Fault at" if outcome.claim.startswith(f"{CODE}.") else "Commanded at"


def _json(data: Any) -> Any:
    """JSON inside a script element: no text in it can end the element."""
    return markup(json.dumps(data, allow_nan=False).replace("<", "\\u003c").replace("&", "\\u0026"))


def markup(text: str) -> Any:
    """Text of ours that is markup already."""
    from markupsafe import Markup

    return Markup(text)
