"""The page: one HTML file that needs nothing else, every foreign text escaped."""

import base64
import json
from collections.abc import Iterable, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

from dryspin import __version__
from dryspin.coverage import Coverage
from dryspin.drive import Drive
from dryspin.errors import UsageError
from dryspin.findings import BROKEN, CODE, HELD, Outcome
from dryspin.monitors.registry import FAMILIES, claims_of
from dryspin.report.code import code_lines
from dryspin.report.coverage import coverage_lines
from dryspin.report.handlers import handler_table, interrupts_off_lines
from dryspin.report.numbers import quantity
from dryspin.report.scenario import scenario_lines
from dryspin.report.sheet.acted import acting, standing
from dryspin.report.sheet.bench import bench_of
from dryspin.report.sheet.case import Case, by_urgency
from dryspin.report.sheet.kept import kept
from dryspin.report.sheet.lanes import Lanes, lanes_of
from dryspin.report.sheet.limits import limit_length_s, limit_lines
from dryspin.report.sheet.pack import packed
from dryspin.report.sheet.screen import screen_drawing
from dryspin.report.sheet.still import still
from dryspin.report.sheet.strip import margins_drawing, reach_drawing
from dryspin.report.sheet.tables import bars, handler_rows, verdict_row
from dryspin.report.text import CAUTION, conclusion_lines, reached_line, totals_line
from dryspin.search import CheckResult
from dryspin.search.code_cycles import charged_as

BUDGET_BYTES = 9_000_000
"""A page grows no further by lanes and drawings; findings without room get a page of their own."""

MOST_EDGES = 5_000_000
"""A minute of a running drive, some 20 MB; of longer runs a page keeps the edges nearest to the moment."""

_NOT_MEASURED = "Lines of code reached: not measured; dryspin check --coverage FILE measures them."

_SCRIPTS = ("uPlot.iife.min.js", "data.js", "draw.js", "view.js", "page.js")

_OPENS_S = 6e-3
"""The drawings' close look: so much around the moment, a few electrical turns of a fast rotor."""


def require_libraries() -> None:
    """Raise UsageError unless what draws the page is installed."""
    try:
        import jinja2  # noqa: F401
        import matplotlib  # noqa: F401
    except ImportError as error:
        raise UsageError(
            f"a sheet needs {error.name}, which is not installed: pip install 'dryspin[report]'"
        ) from None


def case_page(case: Case) -> str:
    """The page of one finding or run."""
    return _case_page(case, _case(case))


def _case_page(case: Case, described: dict[str, Any]) -> str:
    title = f"{case.outcome.claim}: {case.outcome.status}; {case.drive.name}"
    return _page(title, _lead(case), [described], None)


def check_page(
    result: CheckResult, cases: Iterable[Case], drive: Drive, coverage: Coverage | None = None
) -> tuple[str, dict[str, str]]:
    """The page of a whole check with its findings; by file name, pages of those that have no room in it.

    `cases` is gone through once, so that no two recordings need be in memory. `coverage` is what the
    scenarios reached of the code, where it was measured.
    """
    described: list[dict[str, Any]] = []
    outside: dict[str, str] = {}
    room = BUDGET_BYTES
    for case in cases:
        one = _case(case)
        needs = len(one["block"]) + sum(len(drawing) for _, drawing in one["stills"])
        if needs > room:
            name = f"{_stem(case)}.html"
            outside[name] = _case_page(case, one)
            one |= {"block": "", "stills": [], "elsewhere": name}
        else:
            room -= needs
        described.append(one)
    what = "held" if result.passed else "did not hold"
    text = _page(
        f"{drive.name}: the check {what}",
        totals_line(result, drive.name),
        described,
        _check(result, drive, coverage),
    )
    return text, outside


def _page(title: str, lead: str, cases: Sequence[dict[str, Any]], check: dict[str, Any] | None) -> str:
    return str(
        _environment().get_template("sheet.html").render(
            title=title,
            lead=lead,
            caution=CAUTION,
            version=__version__,
            style=_markup(_asset("uPlot.min.css") + _asset("sheet.css")),
            script=_markup("\n".join(_asset(name) for name in _SCRIPTS)),
            cases=[{**case, "number": k} for k, case in enumerate(cases, start=1)],
            check=check,
        )
    )  # fmt: skip


@cache
def _environment() -> Any:
    import jinja2

    return jinja2.Environment(
        loader=jinja2.PackageLoader("dryspin.report.sheet"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
    )


@cache
def _asset(name: str) -> str:
    folder = files("dryspin.report.sheet") / "assets"
    place = folder / "vendor" / name if name.startswith("uPlot") else folder / name
    return place.read_text(encoding="utf-8")


def _markup(text: str) -> Any:
    """Text of ours that is markup already."""
    from markupsafe import Markup

    return Markup(text)


def _json(data: Any) -> Any:
    """JSON inside a script element: no text in it can end the element."""
    return _markup(json.dumps(data, allow_nan=False).replace("<", "\\u003c").replace("&", "\\u0026"))


# ---- one case --------------------------------------------------------------------------------------


def _lead(case: Case) -> str:
    kept = f"kept as {case.kept_as}; " if case.kept_as else ""
    return f"{case.name}: {kept}{quantity(case.trial.simulated_s, 's')} simulated, digest {case.trial.digest}"


def _case(case: Case) -> dict[str, Any]:
    outcome, moment_s = case.outcome, case.moment_s
    lanes = lanes_of(case.recording, moment_s, limit_lines(outcome))
    shown = kept(lanes, MOST_EDGES)
    description, block = packed(shown)
    rate_deg_s = _electrical_deg_s(lanes)
    length_s = limit_length_s(outcome, rate_deg_s)
    word = "the moment" if outcome.moment_s is not None else "the end"
    description |= {"limit_length_s": length_s, "moment_word": word, "opens": [0.0, lanes.end_s]}
    bench = bench_of(case)
    stem = _stem(case)
    return {
        "title": outcome.claim,
        "status": outcome.status,
        "sentence": _sentences().get(outcome.claim, ""),
        "story": scenario_lines(case.scenario, case.drive),
        "happened": _happened(outcome),
        "acted_word": _acted_word(outcome),
        "acted": acting(case.recording, case.sources, outcome.source_line, moment_s),
        "standing": standing(lanes),
        "replay": case.replay,
        "bars": bars(outcome, length_s, rate_deg_s),
        "missing": list(shown.missing),
        "elsewhere": "",
        "complete": [f"{t:.4f}" for t in lanes.complete],
        "edges_s": [f"{t:.4f}" for t in shown.edges_s] if shown is not lanes else [],
        "slice": quantity(lanes.slice_s * 1e6, "us"),
        "stills": _stills(lanes, stem),
        "bench": bench,
        "bench_probes": list(zip(bench.probes, bench.sees, strict=True)),
        "screen": _markup(screen_drawing(bench.screen, f"{stem}-screen")),
        "pulse_file": f"{stem}-throttle.csv",
        "pulse_data": base64.b64encode(bench.pulses.encode()).decode("ascii"),
        "verdicts": [verdict_row(one) for one in by_urgency(case.trial.outcomes)],
        "handlers": handler_rows(case.recording),
        "described": _json(description),
        "block": block,
    }


def _stills(lanes: Lanes, stem: str) -> list[tuple[str, Any]]:
    near = lanes.moment_s - 0.4 * _OPENS_S, lanes.moment_s + 0.6 * _OPENS_S
    drawn = [
        (0.0, lanes.end_s, "the whole run; each column shows the least and the largest value in it"),
        (*near, f"close to the moment, {lanes.moment_s:.4f} s"),
    ]
    return [
        (caption, _markup(still(lanes, from_s, to_s, caption, f"{stem}-{k}")))
        for k, (from_s, to_s, caption) in enumerate(drawn)
    ]


def _electrical_deg_s(lanes: Lanes) -> float:
    if len(lanes.angle_deg) < 2:
        return 0.0
    k = min(max(round(lanes.moment_s / lanes.angle_step_s), 1), len(lanes.angle_deg) - 1)
    return float(lanes.angle_deg[k] - lanes.angle_deg[k - 1]) / lanes.angle_step_s


def _stem(case: Case) -> str:
    """How files that belong to a case begin."""
    return case.name.rpartition("/")[2].removesuffix(".toml") or "story"


def _happened(outcome: Outcome) -> str:
    if not outcome.text:
        return f"{outcome.status}, without more to say"
    moment = "" if outcome.moment_s is None else f"At {outcome.moment_s:.4f} s: "
    return moment + outcome.text


@cache
def _sentences() -> dict[str, str]:
    return {f"{family}.{claim.name}": claim.sentence for family in FAMILIES for claim in claims_of(family)}


def _acted_word(outcome: Outcome) -> str:
    """What stands before the line of firmware: of a fault in the C it is the line of the fault."""
    return "Fault at" if outcome.claim.startswith(f"{CODE}.") else "Commanded at"


# ---- a whole check ---------------------------------------------------------------------------------


def _check(result: CheckResult, drive: Drive, coverage: Coverage | None) -> dict[str, Any]:
    rows = []
    for claim in result.claims:
        by = ", ".join(f"{family} {count}" for family, count in claim.by_family.items()) or "none"
        told = f"; {claim.worst.text}" if claim.worst.text else ""
        suppressed = f"; suppressed: {claim.suppressed}" if claim.suppressed else ""
        rows.append(
            verdict_row(claim.worst)
            | {
                "status": claim.verdict,
                "claim": claim.claim,
                "sentence": _sentences().get(claim.claim, ""),
                "exercised": str(claim.exercised),
                "by": f"{by}{told}{suppressed}",
            }
        )
    # What needs a look comes first; the families' order is kept among the others.
    rows.sort(key=lambda row: (row["status"] != BROKEN, row["status"] == HELD))
    return {
        "conclusion": [line for line in conclusion_lines(result) if line != CAUTION],
        "claims": rows,
        "margins": _markup(margins_drawing(result.claims)),
        "reach": _markup(reach_drawing(result.visits)),
        "reached": reached_line(result),
        "code": coverage_lines(coverage) if coverage else [_NOT_MEASURED],
        "faults": code_lines(result.code) if result.code else [],
        "times": _times(result, drive),
    }


def _times(result: CheckResult, drive: Drive) -> dict[str, Any] | None:
    """What handlers took; None where none ran, or nobody watched."""
    times = result.handlers
    if times is None or not times.handlers:
        return None
    head, *rows = handler_table(times, drive)
    return {"how": charged_as(drive), "head": head, "rows": rows, "off": interrupts_off_lines(times, drive)}
