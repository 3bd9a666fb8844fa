"""Two files laid on each other, as text and as plain data."""

from pathlib import Path
from typing import Any

from dryspin.capture.comparison import Comparison, Difference, Spread
from dryspin.report.json import SCHEMA, finite
from dryspin.report.numbers import number, quantity


def overlay_lines(comparison: Comparison, a: Path, b: Path) -> list[str]:
    """Where the two were laid on each other, the order of steps, and each difference with its statistics."""
    lines = [
        f"A  {a}, {comparison.event} at {comparison.a_s:.6f} s",
        f"B  {b}, {comparison.event} at {comparison.b_s:.6f} s",
        comparison.order,
        f"differences below {quantity(comparison.resolution_ns, 'ns')} are not resolved",
        "",
    ]
    for difference in comparison.differences:
        unit = difference.unit
        lines.append(f"{difference.name}, {unit}")
        lines.append(f"   A  {_spread(difference.a)}")
        lines.append(f"   B  {_spread(difference.b)}")
        lines.append(f"   {_off(difference)}")
    return lines


def overlay_json(comparison: Comparison, a: Path, b: Path) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "schema": SCHEMA,
        "a": {"file": a.as_posix(), "event_s": comparison.a_s},
        "b": {"file": b.as_posix(), "event_s": comparison.b_s},
        "event": comparison.event,
        "order": comparison.order,
        "resolution_ns": comparison.resolution_ns,
        "differences": [
            {
                "name": difference.name,
                "unit": difference.unit,
                "a": _spread_json(difference.a),
                "b": _spread_json(difference.b),
                "mean": finite(difference.mean),
                "deviation": finite(difference.deviation),
                "worst": finite(difference.worst),
                "worst_s": finite(difference.worst_s),
            }
            for difference in comparison.differences
        ],
    }


def _spread(spread: Spread) -> str:
    return (
        f"median {number(spread.median)}, {number(spread.least)} to {number(spread.most)}, "
        f"{spread.count} times"
    )


def _off(difference: Difference) -> str:
    if difference.deviation is None or difference.worst is None:
        return f"B - A  median {difference.mean:+.4g}"
    return (
        f"B - A  mean {difference.mean:+.4g}, standard deviation {difference.deviation:.4g}, "
        f"largest {difference.worst:+.4g} at {difference.worst_s:.6f} s after the event"
    )


def _spread_json(spread: Spread) -> dict[str, Any]:
    return {
        "median": spread.median,
        "least": spread.least,
        "most": spread.most,
        "count": spread.count,
    }
