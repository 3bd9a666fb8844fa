"""A soak as text and as JSON."""

from typing import Any

from dryspin.drive import Drive
from dryspin.report.json import SCHEMA, finite
from dryspin.report.numbers import margin, number
from dryspin.report.text import CAUTION
from dryspin.soak import Soaked


def soak_lines(result: Soaked, drive: Drive, wall_s: float) -> list[str]:
    """All that was done so far, by this command and those before it: claims, findings, what was set aside."""
    lines = [
        f"{drive.name}: {result.scenarios} scenarios, {number(result.simulated_s)} s simulated; "
        f"{result.resumed} of them by earlier commands; {number(wall_s)} s by this one"
    ]
    lines += [f"set aside: {sentence}" for sentence in result.set_aside]
    width = max((len(claim) for claim in result.claims), default=0)
    lines.append("")
    for claim, (held, broken, _, least) in result.claims.items():
        verdict = "broken" if broken else "held" if held else "not exercised"
        line = f"{verdict:<13}  {claim:<{width}}  exercised {held + broken:>6}  broken {broken:>6}"
        lines.append(line + ("" if least is None else f"  margin {margin(least):>7}"))
    lines.append("")
    for claim, source_line, file in result.findings:
        lines.append(f"broken  {claim}" + (f", commanded at {source_line}" if source_line else ""))
        lines.append(f"replay: dryspin replay {file}")
    for text, file in result.failed:
        lines.append(f"could not run  {text}")
        if file:
            lines.append(f"the scenario is kept: {file}")
    lines += [f"{claim} is declared, but nothing was shown about it" for claim in result.unproven]
    if result.passed:
        lines += [f"all {len(result.declared)} declared claims held", CAUTION]
    else:
        lines.append(
            f"{len(result.findings)} findings, {len(result.failed)} scenarios that could not be run, "
            f"{len(result.unproven)} claims not exercised"
        )
    return lines


def soak_json(result: Soaked, wall_s: float) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "schema": SCHEMA,
        "scenarios": result.scenarios,
        "simulated_s": result.simulated_s,
        "resumed": result.resumed,
        "wall_s": wall_s,
        "claims": [
            {"claim": claim, "held": held, "broken": broken, "neither": neither, "margin": finite(least)}
            for claim, (held, broken, neither, least) in result.claims.items()
        ],
        "findings": [
            {"claim": claim, "source_line": line, "file": file} for claim, line, file in result.findings
        ],
        "failed": [{"text": text, "file": file or None} for text, file in result.failed],
        "unproven": list(result.unproven),
        "set_aside": list(result.set_aside),
    }
