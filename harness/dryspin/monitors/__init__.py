"""Monitors: each judges one claim over one recording. One family a file."""

from dryspin.monitors.claim import Claim, Needs
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.limits import LIMITS, Limit, Limits, known_limits
from dryspin.monitors.registry import FAMILIES, claims_of, judge, known_claims
from dryspin.monitors.verdict import Status, Verdict

__all__ = [
    "FAMILIES",
    "LIMITS",
    "Claim",
    "Evidence",
    "Limit",
    "Limits",
    "Needs",
    "Status",
    "Verdict",
    "claims_of",
    "judge",
    "known_claims",
    "known_limits",
]
