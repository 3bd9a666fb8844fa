"""What matters in a finding's scenario, in words: the runs that were tried, and no more than they say."""

from collections.abc import Iterable, Sequence
from typing import Any

from dryspin.findings import BROKEN, HELD
from dryspin.report.numbers import number, quantity
from dryspin.report.scenario import TRACES
from dryspin.search.varying import EARLIER, LATER, PLAIN, Variation

_VALUES = {"frame_ms": "a pulse every {} ms", "rest_deg": "the rotor at {} deg", "seed": "other noise"}


def varied_lines(varied: Sequence[Variation]) -> list[str]:
    """What the claim needs of the scenario, what it does not, and what no longer says anything."""
    if not varied:
        return []
    groups = (
        (HELD, "the claim holds"),
        (BROKEN, "it breaks as well"),
    )
    lines = [f"one piece at a time changed, {len(varied)} runs"]
    for status, words in groups:
        lines += _group(words, (v for v in varied if v.status == status))
    others = (v for v in varied if v.status not in (HELD, BROKEN))
    return lines + _group("it is not put to the test", others)


def varied_json(varied: Sequence[Variation]) -> list[dict[str, Any]]:
    """The same as plain data."""
    return [
        {
            "piece": each.piece,
            "name": each.name or None,
            "at_s": each.at_s,
            "change": each.change,
            "value": each.value,
            "status": each.status,
            "margin": each.margin,
        }
        for each in varied
    ]


def _group(words: str, varied: Iterable[Variation]) -> list[str]:
    told = [f"    {_told(each)}" for each in varied]
    return [f"  {words}", *told] if told else []


def _told(each: Variation) -> str:
    margin = "" if each.margin is None else f"; margin {each.margin:+.2f}"
    return f"{_changed(each)}{margin}"


def _changed(each: Variation) -> str:
    if each.piece in _VALUES:
        return f"with {_VALUES[each.piece].format(number(each.value or 0.0))}"
    what = _piece(each)
    if each.change in (EARLIER, LATER):
        return f"{what} {quantity((each.value or 0.0) * 1000.0, 'ms')} {each.change}"
    return f"with {what} as nominal" if each.change == PLAIN else f"without {what}"


def _piece(each: Variation) -> str:
    at = "" if each.at_s is None else f" at {each.at_s:.3f} s"
    if each.piece == "throttle_us":
        return f"the throttle's step{at}"
    if each.piece == "faults":
        return f"{each.name}{at}"
    if each.piece == "parts":
        return each.name
    if each.piece == "store":
        return "what is stored at power-on"
    return TRACES[each.piece][0]
