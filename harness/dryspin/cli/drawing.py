"""What a sheet draws: a finding or a scenario run once more, and how a bench would play it."""

import tomllib
from dataclasses import replace
from pathlib import Path

from dryspin.build import firmware_text
from dryspin.errors import DryspinError, FindingError, FirmwareError, UsageError
from dryspin.findings import (
    CODE,
    NOT_EXERCISED,
    Finding,
    Outcome,
    Subject,
    Trial,
    load_subject,
    read_finding,
    replayed,
    trial_of,
)
from dryspin.recording import Recording
from dryspin.report.sheet import BenchRun, Case, bench_stories, most_pressing
from dryspin.rig import Rig
from dryspin.scenario import Scenario, read_scenario

_BEFORE_THE_END_CYCLES = 2
"""So long before its own end a run that the firmware ends is drawn to."""


def case_of_file(file: Path, firmware: Path | None, drive_file: Path | None, claim: str | None) -> Case:
    """The case of a finding, or of a scenario with its firmware.

    Raises UsageError or FindingError where one of them is missing, or the claim is none.
    """
    if _is_finding(file):
        finding = read_finding(file)
        if firmware is None and not finding.firmware.is_dir():
            raise FindingError(
                f"{file}: the firmware it was found in is not at {finding.firmware}: no such directory; "
                "put it there or name another with --firmware"
            )
        drive = drive_file or (None if firmware else finding.drive)
        return case_of_finding(load_subject(firmware or finding.firmware, drive), file, finding, claim)
    scenario = read_scenario(file)
    if firmware is None:
        raise UsageError(f"{file} is a scenario, which names no firmware; give it with --firmware DIR")
    subject = load_subject(firmware, drive_file)
    return _case(subject, str(file), scenario, claim, f"dryspin run {firmware} {file}", "", ())


def case_of_finding(subject: Subject, path: Path, finding: Finding, claim: str | None) -> Case:
    """The case of a finding on a subject that is loaded. Raises UsageError where the claim is none."""
    command = f"dryspin replay {path}"
    if subject.directory.resolve() != finding.firmware.resolve():
        command += f" --firmware {subject.directory}"
    claim = claim or finding.claim
    # Of the C itself no monitor speaks, but a checked build, or the end of the run.
    about_code = claim == finding.claim and claim.startswith(f"{CODE}.")
    of_code = (replayed(subject, finding).of(claim),) if about_code else ()
    return _case(subject, str(path), finding.scenario, claim, command, finding.expected, of_code)


def _is_finding(file: Path) -> bool:
    """Whether `file` says of itself that it is a finding; what cannot be read is left to its reader."""
    try:
        return "dryspin_finding" in tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False


def _case(
    subject: Subject,
    name: str,
    scenario: Scenario,
    claim: str | None,
    replay: str,
    kept_as: str,
    of_code: tuple[Outcome, ...],
) -> Case:
    recording, ended = _recorded(subject, name, scenario)
    trial = subject.judge(recording)
    # Without what the monitors derived and kept in it: twice what was recorded.
    recording = replace(recording)
    trial = replace(trial, outcomes=(*(of_code or ended), *trial.outcomes))
    if claim is not None and claim not in {outcome.claim for outcome in trial.outcomes}:
        known = ", ".join(outcome.claim for outcome in trial.outcomes)
        raise UsageError(f"no declared claim is called {claim}; declared are {known}")
    outcome = trial.of(claim) if claim is not None else most_pressing(trial)
    outcome = outcome or Outcome("no claim", NOT_EXERCISED, text="this scenario exercises no declared claim")
    return Case(
        name=name,
        outcome=outcome,
        trial=trial,
        recording=recording,
        replay=replay,
        sources=firmware_text(subject.drive, subject.directory).files,
        bench=_bench_run(subject, scenario, outcome),
        kept_as=kept_as,
    )


def _recorded(subject: Subject, name: str, scenario: Scenario) -> tuple[Recording, tuple[Outcome, ...]]:
    """The recording; of a run that the firmware ends, up to there, and what ended it."""
    try:
        return subject.record(scenario), ()
    except FirmwareError as error:
        broken, moment_s = error, error.moment_s

    def again() -> Trial:
        raise broken

    end_s = moment_s - _BEFORE_THE_END_CYCLES / subject.drive.controller.f_cpu_hz
    try:
        shown = subject.record(replace(scenario, end_s=end_s))
    except DryspinError as error:
        raise UsageError(f"{name} cannot be drawn, since its run does not end: {broken}") from error
    return replace(shown, scenario=scenario), trial_of(again).outcomes


def _bench_run(subject: Subject, scenario: Scenario, outcome: Outcome) -> BenchRun | None:
    """The story without propeller, from a supply that takes no current back; None where it cannot be run."""
    bench_drive = replace(subject.drive, supply=replace(subject.drive.supply, sinks=False))
    # The other claims are not asked about it: judging takes as long as the run.
    declared = tuple(claim for claim in subject.claims.declared if claim == outcome.claim)
    asked = replace(subject, claims=replace(subject.claims, declared=declared))
    run = None
    try:
        for story in bench_stories(scenario, outcome):
            recording = Rig(subject.image, bench_drive).run(story)
            run = BenchRun(recording, asked.judge(recording).of(outcome.claim))
            if run.outcome.status == outcome.status:
                break
    except DryspinError:
        return None
    return run
