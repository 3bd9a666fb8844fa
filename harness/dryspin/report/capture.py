"""A judged capture as text and as plain data."""

from collections.abc import Sequence
from typing import Any

from dryspin.capture import NOT_SEEN, Capture, CaptureVerdict, Figure, Reading, shown
from dryspin.monitors import Status
from dryspin.report.json import SCHEMA, finite
from dryspin.report.numbers import margin, number, quantity

CAUTION = (
    "Held means: in this capture, as far as it resolves. It is no permission for more: propeller off, "
    "current-limited supply, eye protection, and a battery only where it may burn."
)


def capture_lines(
    reading: Reading, figures: Sequence[Figure], verdicts: Sequence[CaptureVerdict]
) -> list[str]:
    """The capture as a page: what it is, its figures, a line a claim, and what it comes to."""
    capture = reading.capture
    lines = [_head(capture)]
    lines += [
        f"   {shown(channel.channel)} is {channel.signal}"
        + ("" if channel.active == "high" else f", {channel.active}")
        for channel in capture.mapped.channels
    ]
    lines += [
        f"   {count} levels of {signal} shorter than {number(capture.mapped.glitch_ns)} ns are left out"
        for signal, count in capture.glitches.items()
    ]
    if reading.left_out:
        lines.append(
            f"   at {reading.left_out} places the terminals show no sequence of steps (a brake, a rotor that "
            "coasts or is lost, or a fault); nothing is told about them"
        )
    lines += ["", *figure_lines(figures), ""]
    for verdict in verdicts:
        if verdict.status != NOT_SEEN:
            lines.append(verdict_line(verdict))
            if verdict.status in (Status.BROKEN, Status.CANNOT_TELL):
                moment = "" if verdict.moment_s is None else f"at {verdict.moment_s:.6f} s "
                lines.append(f"   {moment}{verdict.text}")
    unseen = [verdict for verdict in verdicts if verdict.status == NOT_SEEN]
    for text in dict.fromkeys(verdict.text for verdict in unseen):
        names = _shortened([verdict.claim for verdict in unseen if verdict.text == text], verdicts)
        lines.append(f"{NOT_SEEN}  {', '.join(names)}: {text}")
    return [*lines, "", *_conclusion(verdicts)]


def verdict_line(verdict: CaptureVerdict) -> str:
    """`held  gates.dead_time   margin +1.8 (limit 500 ns, seen 1 375 ns)`, and `estimate` where it is one."""
    line = f"{verdict.status}  {verdict.claim}"
    if verdict.margin is not None and verdict.told:
        line += f"   margin {margin(verdict.margin)}"
    if verdict.limit is not None and verdict.seen is not None:
        line += (
            f" (limit {quantity(verdict.limit, verdict.unit)}, seen {quantity(verdict.seen, verdict.unit)})"
        )
    return line + ("   estimate" if verdict.estimate else "")


def figure_lines(figures: Sequence[Figure]) -> list[str]:
    """One aligned line a figure: median, range, number."""
    if not figures:
        return ["nothing can be measured on these channels"]
    width = max(len(figure.name) for figure in figures)
    lines = []
    for figure in figures:
        line = f"{figure.name:<{width}}  {quantity(figure.median, figure.unit):>12}"
        if figure.count > 1:
            line += f"  ({number(figure.least)} to {number(figure.most)}, {figure.count} times)"
        lines.append(line + ("   estimate" if figure.estimate else ""))
    return lines


def capture_json(
    reading: Reading, figures: Sequence[Figure], verdicts: Sequence[CaptureVerdict]
) -> dict[str, Any]:
    """The same as plain data."""
    capture = reading.capture
    return {
        "schema": SCHEMA,
        "capture": {
            "file": capture.path.as_posix(),
            "map": capture.mapped.path.as_posix(),
            "length_s": capture.end_s,
            "begins": capture.mapped.begins,
            "sample_ns": capture.sample_ns,
            "resolution_ns": capture.resolution_ns,
            "channels": [
                {"channel": channel.channel, "signal": channel.signal} for channel in capture.mapped.channels
            ],
            "glitches": capture.glitches,
            "places_without_sequence": reading.left_out,
        },
        "figures": [
            {
                "name": figure.name,
                "median": figure.median,
                "least": figure.least,
                "most": figure.most,
                "count": figure.count,
                "unit": figure.unit,
                "estimate": figure.estimate,
            }
            for figure in figures
        ],
        "claims": [
            {
                "family": verdict.claim.partition(".")[0],
                "claim": verdict.claim.partition(".")[2],
                "verdict": verdict.status,
                "margin": finite(verdict.margin),
                "moment_s": finite(verdict.moment_s),
                "limit": finite(verdict.limit),
                "seen": finite(verdict.seen),
                "unit": verdict.unit,
                "doubt": finite(verdict.doubt),
                "estimate": verdict.estimate,
                "text": verdict.text,
            }
            for verdict in verdicts
        ],
    }


def _shortened(claims: Sequence[str], verdicts: Sequence[CaptureVerdict]) -> list[str]:
    """The claims, a family of which all declared ones are among them by its name alone."""
    declared: dict[str, list[str]] = {}
    for verdict in verdicts:
        declared.setdefault(verdict.claim.partition(".")[0], []).append(verdict.claim)
    names = []
    for family, members in declared.items():
        among = [claim for claim in members if claim in claims]
        names += [family] if len(among) == len(members) else among
    return names


def _head(capture: Capture) -> str:
    begins = "begins in the middle of a run" if capture.mid_run else "begins with power-on"
    return (
        f"{capture.path}: {quantity(capture.end_s, 's')}, a sample every "
        f"{quantity(capture.sample_ns, 'ns')}, "
        f"edges of two channels to {quantity(capture.resolution_ns, 'ns')}, {begins}"
    )


def _conclusion(verdicts: Sequence[CaptureVerdict]) -> list[str]:
    broken = sum(verdict.status == Status.BROKEN for verdict in verdicts)
    told = sum(verdict.told for verdict in verdicts)
    unseen = sum(verdict.status == NOT_SEEN for verdict in verdicts)
    lines = [f"{told} of {len(verdicts)} declared claims judged, {broken} broken, {unseen} not seen"]
    if not told:
        lines.append(
            "nothing was judged: probe all six gates, or two terminals of a running motor; "
            "see the page on captures"
        )
    return [*lines, CAUTION] if told and not broken else lines
