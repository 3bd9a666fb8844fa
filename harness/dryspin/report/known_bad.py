"""How known-bad firmwares fared, as text and as plain data."""

from typing import Any

from dryspin.known_bad import Attempt, Attempts
from dryspin.report.numbers import number

FOUND, MISSED, UNSEEN = "found", "missed", "unseen"
"""Verdicts of a row; unseen: not found, which the index foresees."""

CAUTION = (
    "Found says something about the tester, nothing about a firmware of yours. "
    "Never flash one of these: they are wrong on purpose."
)


def attempts_json(attempts: Attempts) -> list[dict[str, Any]]:
    """One row a firmware, in the index's order; the same for the same index, budget and seed."""
    return [
        {
            "name": row.variant.name,
            "found": row.found,
            "claim": row.variant.claim,
            "scenarios": row.scenarios,
            "events": row.events,
            "rare": bool(row.variant.rare),
            "simulated_s": row.simulated_s,
            "objected": list(row.objected),
            "wrong": row.variant.wrong,
            "why_rare": row.variant.rare or None,
            "why_unseen": row.variant.unseen or None,
            "shortening_trials": row.trials,
            "seed": attempts.seed,
        }
        for row in attempts.rows
    ]


def attempts_lines(attempts: Attempts) -> list[str]:
    """A table: verdict, firmware, claim, scenarios, simulated seconds, events; then the sum."""
    heads = "firmware", "claim that must object"
    name_width = max(len(heads[0]), *(len(row.variant.name) for row in attempts.rows))
    claim_width = max(len(heads[1]), *(len(row.variant.claim) for row in attempts.rows))
    lines = [f"{'':8}{heads[0]:<{name_width}}  {heads[1]:<{claim_width}}  scenarios  simulated  events"]
    for row in attempts.rows:
        events = "" if row.events is None else row.events
        lines.append(
            f"{_verdict(row):<8}{row.variant.name:<{name_width}}  {row.variant.claim:<{claim_width}}  "
            f"{row.scenarios:>9}  {number(row.simulated_s):>7} s  {events:>6}"
        )
    for row in attempts.rows:
        if not row.found:
            lines += ["", *_missed_lines(row)]
    found = sum(row.found for row in attempts.rows)
    unseen = len(attempts.rows) - found - len(attempts.missed)
    lines += [
        "",
        f"{found} of {len(attempts.rows)} found, seed {attempts.seed}, in {number(attempts.wall_s)} s",
    ]
    if unseen:
        lines.append(f"{unseen} not found, as their index foresees")
    if attempts.missed:
        lines.append(
            f"{len(attempts.missed)} missed: raise --scenarios, or find out whether the firmware, the search "
            "or the claim is to blame"
        )
    lines += [
        f"{row.variant.name} was found, which the index calls unseen: take that out of it"
        for row in attempts.seen_after_all
    ]
    return [*lines, CAUTION]


def _verdict(row: Attempt) -> str:
    if row.found:
        return FOUND
    return UNSEEN if row.variant.unseen else MISSED


def _missed_lines(row: Attempt) -> list[str]:
    lines = [f"{row.variant.name}: {row.variant.wrong}"]
    if row.variant.rare:
        lines.append(f"  rare: {row.variant.rare}")
    if row.variant.unseen:
        lines.append(f"  unseen: {row.variant.unseen}")
    if row.objected:
        lines.append(f"  others objected: {', '.join(row.objected)}")
    return lines
