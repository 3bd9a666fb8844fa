"""Measures for the reader: a table, or JSON."""

import json
from typing import Any

from firmware_under_test.targets.measure import Measures
from firmware_under_test.targets.toolchain import PART

CAUTION = (
    "Held means: it fits, and its handlers end in time. It is no permission to power up: see the cautions in "
    "firmware_under_test/targets/README.md."
)


def text(measures: Measures) -> str:
    """The table, ending with the verdict."""
    lines = [f"{measures.firmware} on the {PART}", ""]
    for check in measures.checks:
        verdict = "held" if check.held else "broken"
        lines.append(f"{verdict:8}{check.name:44}{check.seen:6} of {check.limit:6} {check.unit}")
    lines += [
        "",
        f"static RAM {measures.static_bytes} bytes, worst stack {measures.stack_bytes}:",
        f"  main     {measures.main.bytes:4}  {' > '.join(measures.main.functions)}",
        f"  handler  {measures.handler.bytes:4}  {' > '.join(measures.handler.functions)}",
        "",
        "handler                 longest path    stack",
    ]
    for handler in measures.handlers:
        lines.append(f"{handler.name:24}{handler.cycles:6} cycles{handler.stack_bytes:6} bytes")
    step = measures.step
    lines += [
        "",
        f"one of the shortest steps: {step.crossing_cycles} cycles to find the crossing, "
        f"{step.compare_cycles} to commutate",
        f"  of these {step.to_bridge_cycles} cycles from the compare match to the bridge's first instruction",
    ]
    lines += [
        f"  besides, not counted above: {name} {cycles} cycles" for name, cycles in step.also_cycles.items()
    ]
    low, high, extended = measures.fuses
    lines += ["", f"fuses: low {low:#04x}, high {high:#04x}, extended {extended:#04x}", ""]
    if measures.objections:
        lines += ["broken  nothing divides, converts or writes to the store in a step"]
        lines += [f"  {objection}" for objection in measures.objections]
    else:
        lines += ["held    nothing divides, converts or writes to the store in a step"]
    if measures.held:
        lines += ["", CAUTION]
    return "\n".join(lines)


def as_json(measures: Measures) -> str:
    """The same as JSON; `held` tells all in one."""
    document: dict[str, Any] = {
        "schema": 1,
        "part": PART,
        "firmware": str(measures.firmware),
        "held": measures.held,
        "checks": [
            {"name": c.name, "seen": c.seen, "limit": c.limit, "unit": c.unit, "held": c.held}
            for c in measures.checks
        ],
        "static_ram_bytes": measures.static_bytes,
        "stack_bytes": {
            "worst": measures.stack_bytes,
            "main": {"bytes": measures.main.bytes, "functions": measures.main.functions},
            "handler": {"bytes": measures.handler.bytes, "functions": measures.handler.functions},
        },
        "handlers": [
            {"name": h.name, "cycles": h.cycles, "stack_bytes": h.stack_bytes} for h in measures.handlers
        ],
        "step": {
            "cycles": measures.step.cycles,
            "crossing_cycles": measures.step.crossing_cycles,
            "compare_cycles": measures.step.compare_cycles,
            "to_bridge_cycles": measures.step.to_bridge_cycles,
            "also_cycles": measures.step.also_cycles,
        },
        "not_for_a_step": measures.objections,
        "fuses": dict(zip(("low", "high", "extended"), measures.fuses, strict=True)),
    }
    return json.dumps(document, indent=2)
