"""What handlers took over a check, as text and as plain data."""

from typing import Any

from dryspin.drive import Drive
from dryspin.report.numbers import number
from dryspin.search.code_cycles import charged_as
from dryspin.search.handlers import HandlerTimes


def handler_lines(times: HandlerTimes, drive: Drive) -> list[str]:
    """One line a handler, then interrupts off; nothing where no handler ran."""
    if not times.handlers:
        return []
    return [
        f"time of handlers: {charged_as(drive)}",
        *(
            f"{name:<20}{calls:>10}{longest:>24}{mean:>22}{share:>16}"
            for name, calls, longest, mean, share in handler_table(times, drive)
        ),
        *interrupts_off_lines(times, drive),
    ]


def handler_table(times: HandlerTimes, drive: Drive) -> list[tuple[str, str, str, str, str]]:
    """Rows of a table, the first its head, the last the sum: handler, calls, longest, mean, share of time."""
    f_mhz = drive.controller.f_cpu_hz * 1e-6
    return [
        ("handler", "calls", "longest", "mean", f"of {number(round(times.top_rpm))} rpm"),
        *(
            (
                times.names[vector],
                number(use.calls),
                _cycles(use.longest, f_mhz),
                _cycles(use.mean, f_mhz),
                f"{times.shares.get(vector, 0.0):.1%}",
            )
            for vector, use in sorted(times.handlers.items())
        ),
        ("all handlers", "", "", "", f"{sum(times.shares.values()):.1%}"),
    ]


def interrupts_off_lines(times: HandlerTimes, drive: Drive) -> list[str]:
    """The longest stretch with interrupts off and where it begins, in a line; none where they never were."""
    if not times.off.cycles:
        return []
    where = times.off.line or f"from the begin of {times.names[times.off.vector]}"
    stretch = _cycles(times.off.cycles, drive.controller.f_cpu_hz * 1e-6)
    return [f"interrupts off for {stretch} at most: {where}"]


def _cycles(cycles: float, f_mhz: float) -> str:
    return f"{cycles:.0f} cycles {cycles / f_mhz:.1f} us"


def handler_json(times: HandlerTimes) -> dict[str, Any]:
    """The same; cycles unless a name says otherwise, shares of the time at top speed."""
    off = times.off
    return {
        "handlers": [
            {
                "handler": times.names[vector],
                "vector": vector,
                "calls": use.calls,
                "longest_cycles": use.longest,
                "mean_cycles": use.mean,
                "share_at_top_speed": times.shares.get(vector, 0.0),
            }
            for vector, use in sorted(times.handlers.items())
        ],
        "top_speed_rpm": times.top_rpm,
        "interrupts_off": {
            "longest_cycles": off.cycles,
            "line": off.line or None,
            "handler": times.names[off.vector] if off.vector and not off.line else None,
        },
    }
