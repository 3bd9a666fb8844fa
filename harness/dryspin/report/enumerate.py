"""An enumeration as text and as JSON."""

from pathlib import Path
from typing import Any

from dryspin.drive import Drive
from dryspin.enumerate import KINDS, Enumeration, words
from dryspin.report.json import SCHEMA
from dryspin.report.text import CAUTION, finding_lines, happened_lines, verdict_line
from dryspin.search import SavedFinding


def enumeration_lines(result: Enumeration, drive: Drive, saved: SavedFinding | None) -> list[str]:
    """What was gone through, the shortest counterexample or that there is none, and what was left out."""
    lines = [
        f"{drive.name}: sequences of {len(KINDS)} kinds of throttle frames ({', '.join(KINDS)}), "
        f"{result.frame_ms:g} ms each",
        f"{result.states} states of the firmware told apart, {result.sequences} frames run",
    ]
    if drive.timekeeping:
        ignored = [
            name
            for names in (drive.timekeeping.moments, drive.timekeeping.spans, drive.timekeeping.wraps)
            for name, ms in names
            if ms == 0.0
        ]
        lines.append(
            f"left out of the comparison by [timekeeping]: {', '.join(ignored) or 'nothing'}; "
            f"{result.compared} pairs taken for one were put through the same futures, and agreed"
        )
    if result.arms:
        lines.append(f"the shortest sequence that arms: {words(result.arms)}")
    if result.dismissed:
        lines.append(f"{result.dismissed} suspicions that no monitor shares")
    if result.objection:
        kinds, outcome = result.objection.kinds, result.objection.outcome
        lines += ["", f"counterexample of {len(kinds)} frames: {words(kinds)}"]
        told = [verdict_line(outcome), *happened_lines(outcome)]
        return [*lines, *(finding_lines(saved.finding, drive, saved.path) if saved else told)]
    if result.arms is None:
        return [
            *lines,
            f"nothing arms within {result.frames} frames, so nothing was shown; is the throttle of "
            "drive.toml that of the firmware?",
        ]
    lines.append(
        f"{result.driving} times the bridge came to drive, which is not followed here (dryspin check does)"
    )
    lines.append(f"no counterexample at these classes up to {result.frames} frames")
    if result.closed_at is not None:
        lines.append(
            f"from frame {result.closed_at} on there was no state that had not been met: longer adds none"
        )
    return [*lines, CAUTION]


def enumeration_json(result: Enumeration, saved: SavedFinding | None) -> dict[str, Any]:
    """The same as plain data."""
    objection = result.objection
    return {
        "schema": SCHEMA,
        "frame_ms": result.frame_ms,
        "frames": result.frames,
        "states": result.states,
        "frames_run": result.sequences,
        "kinds": list(KINDS),
        "arms": list(result.arms) if result.arms else None,
        "closed_at": result.closed_at,
        "dismissed": result.dismissed,
        "compared": result.compared,
        "counterexample": {
            "kinds": list(objection.kinds),
            "claim": objection.outcome.claim,
            "text": objection.outcome.text,
            "source_line": objection.outcome.source_line,
            "file": Path(saved.path).as_posix() if saved else None,
        }
        if objection
        else None,
    }
