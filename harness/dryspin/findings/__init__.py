"""Findings: what a check keeps, the file it is kept in, and its replay on today's firmware."""

from dryspin.findings.code import CODE, Tries, trial_of, tried
from dryspin.findings.file import FORMAT, finding_text, read_finding, write_finding
from dryspin.findings.finding import EXPECTED, Finding, file_stem
from dryspin.findings.inspected import SHOWN_BY_A_RUN, Inspected, Inspects, claim_of
from dryspin.findings.places import findings_folder, kept_findings, require_writable, save_finding
from dryspin.findings.replay import Replay, judge_of, replay, replay_on, replayed
from dryspin.findings.subject import Subject, load_subject
from dryspin.findings.trial import BROKEN, CANNOT_TELL, HELD, NOT_EXERCISED, Outcome, Trial

__all__ = [
    "BROKEN",
    "CANNOT_TELL",
    "CODE",
    "EXPECTED",
    "FORMAT",
    "Finding",
    "HELD",
    "Inspected",
    "Inspects",
    "NOT_EXERCISED",
    "Outcome",
    "Replay",
    "SHOWN_BY_A_RUN",
    "Subject",
    "Trial",
    "Tries",
    "claim_of",
    "file_stem",
    "finding_text",
    "findings_folder",
    "judge_of",
    "kept_findings",
    "load_subject",
    "read_finding",
    "replay",
    "replay_on",
    "replayed",
    "require_writable",
    "save_finding",
    "trial_of",
    "tried",
    "write_finding",
]
