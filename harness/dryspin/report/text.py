"""Results as plain text: what a finding looks like, and the sum of a check."""

from pathlib import Path

from dryspin.drive import Drive
from dryspin.findings import BROKEN, CANNOT_TELL, HELD, Finding, Outcome, Replay, Trial
from dryspin.report.arming import arming_line
from dryspin.report.code import code_lines
from dryspin.report.code_cycles import code_cycles_lines
from dryspin.report.extremes import Extremes
from dryspin.report.handlers import handler_lines
from dryspin.report.numbers import margin, number, quantity
from dryspin.report.scenario import scenario_lines
from dryspin.report.speed import speed_lines
from dryspin.report.unknowns import unknown_lines
from dryspin.report.varying import varied_lines
from dryspin.scenario import Scenario
from dryspin.search import CheckResult, ClaimResult

_CAREFUL = "propeller off, current-limited supply, eye protection, and a battery only where it may burn."

CAUTION = f"Held means: in these scenarios, on this model. It is no permission to spin: {_CAREFUL}"

NO_PERMISSION = f"A pass is no permission to spin: {_CAREFUL}"
"""Where nothing held that could be taken for one."""


def verdict_line(outcome: Outcome, suppressed: str = "") -> str:
    """`broken  reversal.opposing_drive   margin -6.8 (limit 400 rpm, seen 3 120 rpm)`."""
    line = f"{outcome.status}  {outcome.claim}"
    if outcome.margin is not None:
        line += f"   margin {margin(outcome.margin)}"
        line += _bounds(outcome)
    return line + (f"   suppressed: {suppressed}" if suppressed else "")


def finding_lines(finding: Finding, drive: Drive, path: Path) -> list[str]:
    """A finding as a page: verdict, shortest scenario, what happened, which line, how to replay."""
    outcome = finding.outcome
    lines = [verdict_line(outcome), "shortest scenario", *scenario_lines(finding.scenario, drive)]
    lines += happened_lines(outcome)
    lines.append(f"replay: dryspin replay {path}")
    return lines


def happened_lines(outcome: Outcome) -> list[str]:
    """What happened and when, and the firmware line behind it, as far as they are known."""
    lines = []
    if outcome.text:
        moment = "" if outcome.moment_s is None else f"at {outcome.moment_s:.4f} s "
        lines.append(moment + outcome.text)
    if outcome.source_line:
        lines.append(f"commanded at {outcome.source_line}")
    return lines


def check_lines(result: CheckResult, drive: Drive) -> list[str]:
    """The whole result: totals, kept findings, claims, findings, and what it comes to."""
    lines = [totals_line(result, drive.name)]
    lines += [kept_line(kept.path, kept.replay) for kept in result.kept]
    lines += ["", *claim_lines(result.claims), ""]
    lines += [
        f"{family}: {scenarios} scenarios of its own, {exercised} exercise all its declared claims"
        for family, (scenarios, exercised) in result.families.items()
    ]
    lines += [arming_line(result, drive), reached_line(result)]
    if result.code is not None:
        lines += ["", *code_lines(result.code)]
    if result.handlers is not None and (table := handler_lines(result.handlers, drive)):
        lines += ["", *table]
    if cycles := code_cycles_lines(result, drive):
        lines += ["", *cycles]
    for saved in result.findings:
        lines += ["", *finding_lines(saved.finding, drive, saved.path), *varied_lines(saved.varied)]
    lines += ["", *conclusion_lines(result)]
    return [*lines, *unknown_lines(drive, result.unknowns)]


def totals_line(result: CheckResult, drive_name: str) -> str:
    """How much was run, how long it took, with which seed."""
    return (
        f"{drive_name}: {result.scenarios} scenarios, {number(result.simulated_s)} s simulated in "
        f"{number(result.wall_s)} s ({number(result.real_time_factor)} times real time), seed {result.seed}"
    )


def reached_line(result: CheckResult) -> str:
    """What part of the drive's envelope the scenarios visited."""
    return "reached: " + ", ".join(_reached(name, value) for name, value in result.reached.items())


def claim_lines(claims: tuple[ClaimResult, ...]) -> list[str]:
    """One aligned line a claim: verdict, name, smallest margin, scenarios that exercised it."""
    width = max((len(result.claim) for result in claims), default=0)
    lines = []
    for result in claims:
        line = f"{result.verdict:<13}  {result.claim:<{width}}  exercised {result.exercised:>4}"
        if result.worst.margin is not None:
            line += f"  margin {margin(result.worst.margin):>7}{_bounds(result.worst)}"
        elif result.verdict == CANNOT_TELL and result.worst.text:
            line += f"  {result.worst.text}"
        lines.append(line + (f"  suppressed: {result.suppressed}" if result.suppressed else ""))
    return lines


def conclusion_lines(result: CheckResult) -> list[str]:
    """What the check comes to, and what to do about it."""
    lines = []
    found = {saved.finding.claim for saved in result.findings}
    for claim in result.broken:
        if claim.claim not in found:
            lines.append(
                f"{claim.claim} broke, but not again when its scenario was repeated: "
                "a defect of dryspin; please report it with drive, firmware and seed"
            )
    for claim in result.unproven:
        lines.append(
            f"{claim.claim} is declared, but nothing was shown about it ({claim.verdict}); "
            "raise --scenarios, or take it out of claims.toml"
        )
    if result.broken or result.still_broken:
        count = len({c.claim for c in result.broken} | {k.replay.finding.claim for k in result.still_broken})
        lines.append(f"{count} claim{'s' if count > 1 else ''} broken")
    if result.code is not None and (count := len(result.code.open_faults)):
        lines.append(f"{count} fault{'s' if count > 1 else ''} in the C")
    if result.passed:
        lines.append(f"all {len(result.claims)} declared claims held")
        lines.append(CAUTION)
    return [*lines, *speed_lines(result)]


def kept_line(path: Path, replay: Replay) -> str:
    """One kept finding in one line."""
    now = replay.outcome.status
    change = "as kept" if replay.as_expected else f"kept as {replay.finding.expected}"
    return f"kept finding {path}: {now} today ({change})"


def replay_lines(replay: Replay, drive: Drive, path: Path) -> list[str]:
    """A replay as a page: the scenario, the verdict of today, and what moved since."""
    finding = replay.finding
    lines = [
        f"{path}: {finding.claim}, kept as {finding.expected}",
        "scenario",
        *scenario_lines(finding.scenario, drive),
        f"then   {verdict_line(finding.outcome)}",
        f"today  {verdict_line(replay.outcome)}",
    ]
    if replay.outcome.status in (BROKEN, HELD):
        lines += happened_lines(replay.outcome)
    else:
        lines.append(
            f"this scenario says nothing about {finding.claim} on this firmware; run a new check "
            "(dryspin check), and keep what it finds"
        )
    lines += [
        f"moved since: {name} {then[:12] or 'none'} -> {now[:12] or 'none'}"
        for name, then, now in replay.moved
    ]
    if replay.same_digest:
        lines.append("the recording is the same to the last bit")
    elif replay.unrepeatable:
        lines.append(
            "the recording differs although firmware, drive and build are the same: a defect of dryspin; "
            "please report it with this file and the versions (dryspin --version)"
        )
    else:
        lines.append("the recording differs, as it may after the above moved")
    return lines


def _short(digest: str) -> str:
    """The beginning of a hash, enough to tell two apart; what follows it, such as a factor, is kept."""
    head, _, rest = digest.partition(" ")
    return f"{head[:12]} {rest}".rstrip() or "none"


def run_lines(trial: Trial, extremes: Extremes, scenario: Scenario, drive: Drive) -> list[str]:
    """One run as a page: scenario, every verdict, what happened where one broke, two extremes."""
    lines = ["scenario", *scenario_lines(scenario, drive), ""]
    for outcome in trial.outcomes:
        lines.append(verdict_line(outcome))
        if outcome.status == BROKEN:
            lines += [f"   {line}" for line in happened_lines(outcome)]
    if trial.outcomes:
        lines.append("")
    if extremes.top_speed_rpm is not None and extremes.peak_current_a is not None:
        lines.append(
            f"top speed {quantity(extremes.top_speed_rpm, 'rpm')} at {extremes.top_speed_at_s:.4f} s, "
            f"largest phase current {quantity(extremes.peak_current_a, 'A')} "
            f"at {extremes.peak_current_at_s:.4f} s"
        )
    return [*lines, f"{quantity(trial.simulated_s, 's')} simulated, digest {trial.digest}"]


def _bounds(outcome: Outcome) -> str:
    if outcome.limit is None or outcome.seen is None:
        return ""
    unit = outcome.unit
    return f" (limit {quantity(outcome.limit, unit)}, seen {quantity(outcome.seen, unit)})"


def _reached(name: str, value: object) -> str:
    words = name.replace("_", " ")
    if isinstance(value, list):
        if all(isinstance(item, float) for item in value):
            return f"{words} " + " to ".join(number(item) for item in value)
        return f"{words} " + " ".join(str(item) for item in value)
    return f"{words} {value}"
