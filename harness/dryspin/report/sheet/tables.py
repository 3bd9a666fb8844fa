"""Rows and bars of a page: limit and seen on one scale, one row a verdict, one row a handler."""

import math
from typing import Any

from dryspin.findings import Outcome
from dryspin.recording import Recording
from dryspin.report.numbers import margin, quantity
from dryspin.report.sheet.clock import ran_out
from dryspin.timing.handlers import calls_of, handler_name, times_of
from dryspin.timing.steps import top_window


def bars(outcome: Outcome, end_s: float, note: str) -> dict[str, Any] | None:
    """Limit and what was seen, up to `end_s`, as two lengths on one scale; None without figures.

    What the run was too short to see has no end, nor a margin that says how far it is from its limit.
    """
    limit, seen = outcome.limit, outcome.seen
    if limit is None or seen is None:
        return None
    longest = max(abs(limit), abs(seen), 1e-300)
    open_end = ran_out(outcome, end_s)
    lengths = [
        {"name": name, "share": f"{100.0 * abs(value) / longest:.2f}", "text": text, "open": is_open}
        for name, value, text, is_open in (
            ("limit", limit, quantity(limit, outcome.unit), False),
            ("seen", seen, seen_text(outcome, end_s), open_end),
        )
    ]
    worse = ", or worse" if open_end else ""
    share = f"{margin(outcome.margin)} of the limit{worse}"
    return {
        "caption": f"limit and seen; margin {share} (0: on it, below: broken)",
        "bars": lengths,
        "note": note,
    }


def seen_text(outcome: Outcome, end_s: float) -> str:
    """What was seen in a run up to `end_s`; "" where it is no figure."""
    if outcome.seen is None:
        return ""
    seen = quantity(outcome.seen, outcome.unit)
    return f"not within {seen}, when the run ended" if ran_out(outcome, end_s) else seen


def verdict_row(outcome: Outcome, end_s: float = math.inf) -> dict[str, str]:
    """One row of a table, of a run up to `end_s` where it is of one; without figures it has empty cells."""
    return {
        "status": outcome.status,
        "claim": outcome.claim,
        "margin": "" if outcome.margin is None else margin(outcome.margin),
        "limit": "" if outcome.limit is None else quantity(outcome.limit, outcome.unit),
        "seen": seen_text(outcome, end_s),
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
