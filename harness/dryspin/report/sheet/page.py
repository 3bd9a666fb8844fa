"""The page: one HTML file that needs nothing else, every foreign text escaped."""

from collections.abc import Iterable, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

from dryspin import __version__
from dryspin.coverage import Coverage
from dryspin.drive import Drive
from dryspin.errors import UsageError
from dryspin.findings import BROKEN, HELD
from dryspin.report.code import code_lines
from dryspin.report.coverage import coverage_lines
from dryspin.report.handlers import handler_table, interrupts_off_lines
from dryspin.report.numbers import quantity
from dryspin.report.sheet.case import Case
from dryspin.report.sheet.described import described_case, markup, sentences, stem_of
from dryspin.report.sheet.strip import margins_drawing, reach_drawing
from dryspin.report.sheet.tables import verdict_row
from dryspin.report.text import CAUTION, NO_PERMISSION, conclusion_lines, reached_line, totals_line
from dryspin.search import CheckResult
from dryspin.search.code_cycles import charged_as

BUDGET_BYTES = 9_000_000
"""A page grows no further by lanes and drawings; findings without room get a page of their own."""

_NOT_MEASURED = "Lines of code reached: not measured; dryspin check --coverage FILE measures them."

_SCRIPTS = ("uPlot.iife.min.js", "data.js", "draw.js", "spans.js", "ruler.js", "view.js", "page.js")


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
    return _case_page(case, described_case(case))


def _case_page(case: Case, described: dict[str, Any]) -> str:
    title = f"{case.outcome.claim}: {case.outcome.status}; {case.drive.name}"
    caution = CAUTION if case.outcome.status == HELD else NO_PERMISSION
    return _page(title, _lead(case), caution, [described], None)


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
        one = described_case(case)
        needs = len(one["block"]) + sum(len(drawing) for _, drawing in one["stills"])
        if needs > room:
            name = f"{stem_of(case)}.html"
            outside[name] = _case_page(case, one)
            one |= {"block": "", "stills": [], "elsewhere": name}
        else:
            room -= needs
        described.append(one)
    what = "held" if result.passed else "did not hold"
    text = _page(
        f"{drive.name}: the check {what}",
        totals_line(result, drive.name),
        CAUTION if result.passed else NO_PERMISSION,
        described,
        _check(result, drive, coverage),
    )
    return text, outside


def _page(
    title: str, lead: str, caution: str, cases: Sequence[dict[str, Any]], check: dict[str, Any] | None
) -> str:
    return str(
        _environment().get_template("sheet.html").render(
            title=title,
            lead=lead,
            caution=caution,
            version=__version__,
            style=markup(_asset("uPlot.min.css") + _asset("sheet.css")),
            script=markup("\n".join(_asset(name) for name in _SCRIPTS)),
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


def _lead(case: Case) -> str:
    kept = f"kept as {case.kept_as}; " if case.kept_as else ""
    return f"{case.name}: {kept}{quantity(case.trial.simulated_s, 's')} simulated, digest {case.trial.digest}"


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
                "sentence": sentences().get(claim.claim, ""),
                "exercised": str(claim.exercised),
                "by": f"{by}{told}{suppressed}",
            }
        )
    # What needs a look comes first; the families' order is kept among the others.
    rows.sort(key=lambda row: (row["status"] != BROKEN, row["status"] == HELD))
    return {
        "conclusion": [line for line in conclusion_lines(result) if line != CAUTION],
        "claims": rows,
        "margins": markup(margins_drawing(result.claims)),
        "reach": markup(reach_drawing(result.visits)),
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
