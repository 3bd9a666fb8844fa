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
    f_mhz = drive.controller.f_cpu_hz * 1e-6
    share = f"of {number(round(times.top_rpm))} rpm"
    lines = [f"time of handlers: {charged_as(drive)}"]
    lines.append(f"{'handler':<20}{'calls':>10}{'longest':>24}{'mean':>22}{share:>16}")
    for vector, use in sorted(times.handlers.items()):
        longest, mean = _cycles(use.longest, f_mhz), _cycles(use.mean, f_mhz)
        part = f"{times.shares.get(vector, 0.0):.1%}"
        lines.append(f"{times.names[vector]:<20}{number(use.calls):>10}{longest:>24}{mean:>22}{part:>16}")
    lines.append(f"{'all handlers':<20}{'':>10}{'':>24}{'':>22}{sum(times.shares.values()):>16.1%}")
    if times.off.cycles:
        where = times.off.line or f"from the begin of {times.names[times.off.vector]}"
        lines.append(f"interrupts off for {_cycles(times.off.cycles, f_mhz)} at most: {where}")
    return lines


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
