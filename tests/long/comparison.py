"""What came of directed and uniform searches: medians, gains, a table and a plot."""

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from dryspin.search.plan import versions

DIRECTED, UNIFORM = "directed", "uniform"

GOAL = 3.0
"""Times as many scenarios as of a directed search that uniform ones should take for a rare firmware."""


@dataclass(frozen=True)
class Run:
    """One search: `found` is the number of the scenario that was objected to, None if none of `limit` was."""

    variant: str
    claim: str
    way: str
    seed: int
    limit: int
    found: int | None


def middle(found: Sequence[int | None]) -> float:
    """The median, infinite where half of the searches or more did not find it."""
    return statistics.median(math.inf if n is None else float(n) for n in found) if found else math.nan


def gain(directed_at: float, uniform_at: float, limit: int, uniform_limit: int) -> tuple[float, bool]:
    """How many times as many scenarios uniform search takes, and whether it is that or more (True).

    A search that ran out counts as one that would have found it with the next scenario, so against the one
    that did find: below 1 where it is the directed one. nan where neither found it.
    """
    if math.isinf(directed_at) and math.isinf(uniform_at):
        return math.nan, False
    ratio = min(uniform_at, uniform_limit + 1.0) / min(directed_at, limit + 1.0)
    return ratio, math.isinf(uniform_at)


@dataclass(frozen=True)
class Row:
    """One firmware over all seeds: medians, how many of them found it, gain, whether it is at least that."""

    variant: str
    claim: str
    directed: float
    uniform: float
    directed_found: int
    uniform_found: int
    seeds: int
    uniform_limit: int
    gain: float
    at_least: bool


def rows_of(runs: Sequence[Run], limit: int) -> list[Row]:
    """A row for each firmware, in the order they come in."""
    rows = []
    for variant, claim in dict.fromkeys((run.variant, run.claim) for run in runs):
        found = {
            way: [r.found for r in runs if (r.variant, r.claim, r.way) == (variant, claim, way)]
            for way in (DIRECTED, UNIFORM)
        }
        at = {way: middle(found[way]) for way in (DIRECTED, UNIFORM)}
        hits = {way: sum(n is not None for n in found[way]) for way in (DIRECTED, UNIFORM)}
        uniform_limit = max(r.limit for r in runs if (r.variant, r.way) == (variant, UNIFORM))
        ratio = gain(at[DIRECTED], at[UNIFORM], limit, uniform_limit)
        rows.append(
            Row(variant, claim, at[DIRECTED], at[UNIFORM], hits[DIRECTED], hits[UNIFORM],
                len(found[DIRECTED]), uniform_limit, *ratio)
        )  # fmt: skip
    return rows


def table(rows: Sequence[Row], limit: int) -> str:
    """The rows as text, and what they say together."""
    known = ", ".join(f"{name} {version}" for name, version in versions().items())
    cells = [("firmware", "claim", "directed", "found", "uniform", "found", "gain")]
    cells += [
        (
            *(row.variant, row.claim, _at(row.directed, limit), f"{row.directed_found}/{row.seeds}"),
            *(_at(row.uniform, row.uniform_limit), f"{row.uniform_found}/{row.seeds}", _times(row)),
        )
        for row in rows
    ]
    widths = [max(len(line[k]) for line in cells) for k in range(len(cells[0]))]
    told = [row for row in rows if not math.isnan(row.gain)]
    lines = [
        f"Scenarios until the claim objects, median over the seeds, at most {limit}, {known}",
        "Uniform searches that end earlier are told by their >",
        "",
        *("  ".join(f"{cell:<{w}}" for cell, w in zip(line, widths, strict=True)).rstrip() for line in cells),
        "",
        f"directed takes fewer in {sum(row.gain > 1.0 for row in told)} of {len(rows)}, as many in "
        f"{sum(row.gain == 1.0 for row in told)}, more in {sum(row.gain < 1.0 for row in told)}, "
        f"neither finds {len(rows) - len(told)}",
    ]
    lines.append(f"directed takes a third or less in {sum(row.gain >= GOAL for row in told)} of {len(rows)}")
    if told:
        least = ">= " if any(row.at_least for row in told) else ""
        lines.append(f"median gain {least}{statistics.median(row.gain for row in told):.2g} times")
    return "\n".join([*lines, ""])


def _at(scenarios: float, limit: int) -> str:
    return f"> {limit}" if math.isinf(scenarios) else f"{scenarios:g}"


def _times(row: Row) -> str:
    return "" if math.isnan(row.gain) else f"{'>= ' if row.at_least else ''}{row.gain:.2g}"


def plot(rows: Sequence[Row], limit: int, path: Path) -> None:
    """Both medians of each firmware on one line; an open mark, where the search ended: not found by half."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(figsize=(8.0, 1.5 + 0.22 * len(rows)), layout="constrained")
    ordered = sorted(rows, key=lambda row: (min(row.directed, limit), min(row.uniform, limit)))
    for way, colour, marker in ((DIRECTED, "tab:blue", "o"), (UNIFORM, "tab:orange", "s")):
        for k, row in enumerate(ordered):
            at = getattr(row, way)
            end = limit if way == DIRECTED else row.uniform_limit
            face = "none" if math.isinf(at) else colour
            label = way if k == 0 else None
            axes.plot(min(at, end), k, marker, markerfacecolor=face, markeredgecolor=colour, color=colour,
                      linestyle="none", label=label)  # fmt: skip
    for k, row in enumerate(ordered):
        axes.plot(
            [min(row.directed, limit), min(row.uniform, row.uniform_limit)], [k, k], color="0.7", zorder=0
        )
    axes.set(xscale="log", xlim=(0.8, limit * 1.25), xlabel="scenarios until the claim objects (median)")
    axes.set_yticks(range(len(ordered)), [row.variant for row in ordered], fontsize=7)
    axes.legend(loc="upper left", title="open: not up to there")
    figure.savefig(path)
    pyplot.close(figure)
