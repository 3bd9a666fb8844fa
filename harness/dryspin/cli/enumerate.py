"""`dryspin enumerate`: every sequence of a few kinds of throttle frames, shortest first."""

from pathlib import Path

import click

from dryspin.cli.options import DIRECTORY, drive_option, json_option, save_option


@click.command("enumerate", context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("firmware_dir", type=DIRECTORY)
@click.option(
    "--frames",
    type=click.IntRange(1, 1000),
    metavar="N",
    help="Frames that follow every phase of the rite; by default the rite's own length and 12.",
)
@click.option(
    "--frame-ms",
    type=click.FloatRange(5.0, 100.0),
    default=20.0,
    show_default=True,
    metavar="MS",
    help="Period of the throttle pulses.",
)
@drive_option
@json_option
@save_option
def enumerate_(
    firmware_dir: Path,
    frames: int | None,
    frame_ms: float,
    drive_file: Path | None,
    json_file: Path | None,
    save: Path | None,
) -> int:
    """Find the shortest sequence of throttle frames that breaks a claim of arming, or show there is none.

    Goes through all sequences of seven kinds of frames, shortest first: none, below range, low, neutral,
    high, above range, glitch (a spike of 60 us). Sequences after which the firmware stands alike are one;
    [timekeeping] in drive.toml names its variables that hold moments, which are compared as ages. Every
    objection is confirmed by a run of its own, before the monitors, and kept as a finding.

    The rotor stands still and everything is nominal: what happens once the bridge drives is for dryspin
    check. "No counterexample" speaks of these kinds, this period, this length, and of states as they are told
    apart. It is no permission to spin.

    Exits with 0 if nothing is objected to and some sequence arms, with 1 for a counterexample or if nothing
    arms, with 2 if it could not run.
    """
    from dryspin.cli.output import Bar, print_lines, require_writable_file, write_whole
    from dryspin.enumerate import enumerate_rites
    from dryspin.errors import RigError
    from dryspin.findings import (
        BROKEN,
        Finding,
        findings_folder,
        load_subject,
        require_writable,
        save_finding,
    )
    from dryspin.report import json_text
    from dryspin.report.enumerate import enumeration_json, enumeration_lines
    from dryspin.search import SavedFinding, ScenarioFailedError

    require_writable_file(json_file, "--json")
    subject = load_subject(firmware_dir, drive_file)
    folder = findings_folder(firmware_dir, save)
    require_writable(folder)
    try:
        with Bar() as bar:
            result = enumerate_rites(subject, frames=frames, frame_ms=frame_ms, notice=bar.notice)
    except ScenarioFailedError as error:
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / "could-not-run.scenario"
        write_whole(path, error.scenario.to_toml())
        raise RigError(f"{error}\nthe scenario is kept: dryspin run {firmware_dir} {path}") from None
    saved = None
    if result.objection:
        objection = result.objection
        finding = Finding(
            expected=BROKEN,
            outcome=objection.outcome,
            scenario=objection.scenario,
            firmware=subject.directory,
            drive=subject.drive.path,
            hashes=dict(subject.hashes),
            digest=objection.digest,
        )
        saved = SavedFinding(save_finding(folder, finding), finding)
    if json_file is not None:
        write_whole(json_file, json_text(enumeration_json(result, saved)))
    print_lines(enumeration_lines(result, subject.drive, saved))
    return 0 if result.passed else 1
