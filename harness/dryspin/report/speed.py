"""Whether a check ever ran the drive at speed, as text and as plain data."""

from typing import Any

from dryspin.report.numbers import number
from dryspin.search import CheckResult
from dryspin.search.highest_speed import NEAR


def speed_lines(result: CheckResult) -> list[str]:
    """What to look at where full stick was given and the rotor never came near its speed; else nothing."""
    share = _share(result)
    if share is None or share >= NEAR or not _full_sticks(result):
        return []
    return [
        f"no scenario ran above {100.0 * share:.0f} % of the drive's highest speed: "
        f"{number(round(result.fastest_rpm or 0.0))} rpm of the {number(round(result.balanced_rpm))} rpm at "
        f"which motor and propeller balance, though the stick was full out in {number(_full_sticks(result))} "
        "scenarios. What held was shown at no more than that",
        "look at: whether it arms (the line on arming above), neutral_us and forward_full_us of [throttle], "
        "the order of high, low and phases in [pins], kv and propeller",
    ]


def speed_json(result: CheckResult) -> dict[str, Any]:
    """Highest speed of any scenario, the drive's own, and whether that was at speed; null where unseen."""
    share = _share(result)
    return {
        "fastest_rpm": result.fastest_rpm,
        "balanced_rpm": result.balanced_rpm,
        "share": share,
        "at_speed": None if share is None else share >= NEAR,
    }


def _share(result: CheckResult) -> float | None:
    if result.fastest_rpm is None or result.balanced_rpm <= 0.0:
        return None
    return result.fastest_rpm / result.balanced_rpm


def _full_sticks(result: CheckResult) -> int:
    return sum(int(str(result.reached.get(name, 0))) for name in ("full_forward", "full_reverse"))
