"""Rows and bars of a page: limit and seen on one scale, one row a verdict, one row a handler."""

from typing import Any

from dryspin.findings import Outcome
from dryspin.recording import Recording
from dryspin.report.numbers import margin, quantity
from dryspin.timing.handlers import calls_of, handler_name, times_of
from dryspin.timing.steps import top_window


def bars(outcome: Outcome, note: str) -> dict[str, Any] | None:
    """Limit and what was seen as two lengths on one scale; None where the claim has no figures."""
    limit, seen = outcome.limit, outcome.seen
    if limit is None or seen is None:
        return None
    longest = max(abs(limit), abs(seen), 1e-300)
    lengths = [
        {"name": name, "share": f"{100.0 * abs(value) / longest:.2f}", "text": quantity(value, outcome.unit)}
        for name, value in (("limit", limit), ("seen", seen))
    ]
    return {
        "caption": f"limit and seen; margin {margin(outcome.margin)} of the limit (0: on it, below: broken)",
        "bars": lengths,
        "note": note,
    }


def verdict_row(outcome: Outcome) -> dict[str, str]:
    """One row of a table; a claim without figures has empty cells."""
    return {
        "status": outcome.status,
        "claim": outcome.claim,
        "margin": "" if outcome.margin is None else margin(outcome.margin),
        "limit": "" if outcome.limit is None else quantity(outcome.limit, outcome.unit),
        "seen": "" if outcome.seen is None else quantity(outcome.seen, outcome.unit),
        "moment": "" if outcome.moment_s is None else f"{outcome.moment_s:.4f}",
        "text": outcome.text,
    }


def handler_rows(recording: Recording) -> list[tuple[str, ...]]:
    """Rows of a table: what each handler took in this run; none for a capture, which sees no handlers."""
    rows = times_of(calls_of(recording), top_window(recording), recording.f_cpu_hz)
    return [
        (
            handler_name(each.vector, recording.drive),
            str(each.calls),
            f"{each.longest / recording.f_cpu_hz * 1e6:.1f}",
            f"{each.longest_at_s:.4f}",
            f"{each.mean / recording.f_cpu_hz * 1e6:.1f}",
            f"{each.at_top:.1%}",
        )
        for each in rows
    ]
