"""The subject of a check: one firmware directory, built, with its drive and its claims."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from dryspin.build import Image, build_image, firmware_text
from dryspin.drive import Claims, Drive, claims_file, load_claims, load_drive
from dryspin.errors import DriveError, UsageError
from dryspin.findings.trial import Trial, outcomes_of
from dryspin.monitors import judge, known_claims, known_limits
from dryspin.recording import Recording
from dryspin.rig import Progress, Rig, WarmStarts
from dryspin.scenario import Scenario
from dryspin.target import code_costs
from dryspin.units import rpm_from_rad_s


@dataclass(frozen=True)
class Subject:
    """Firmware under test. `hashes` names what a result depends on besides the scenario."""

    directory: Path
    drive: Drive
    claims: Claims
    image: Image
    hashes: dict[str, str]

    @property
    def compiler(self) -> str:
        """The compiler the firmware was built with, and its version."""
        return self.image.compiler

    @cached_property
    def rig(self) -> Rig:
        """The firmware on the rig with its drive."""
        return Rig(self.image, self.drive)

    @cached_property
    def _starts(self) -> WarmStarts:
        return WarmStarts(self.rig)

    def record(self, scenario: Scenario, plant: str = "twin", progress: Progress | None = None) -> Recording:
        """Run one scenario. Raises RigError where the firmware cannot be run to the end.

        `plant` is "twin" or "equations"; `progress` is told the virtual time reached, in s.
        """
        return self.rig.run(scenario, plant, progress=progress)

    def record_shared(self, scenario: Scenario, shared_s: float) -> Recording:
        """The same recording, where others share the beginning up to `shared_s` (s): see `WarmStarts`."""
        return self._starts.run(scenario, shared_s)

    def judge(self, recording: Recording, *, digest: bool = True) -> Trial:
        """Put a recording of this subject before all monitors. The digest is a tenth of a trial's time."""
        outcomes = outcomes_of(judge(recording, self.claims), recording)
        speeds = recording.state_w_rad_s
        ends = (float(speeds.min()), float(speeds.max())) if len(speeds) else None
        speeds_rpm = (rpm_from_rad_s(ends[0]), rpm_from_rad_s(ends[1])) if ends else None
        return Trial(outcomes, recording.end_s, recording.digest() if digest else "", speeds_rpm)

    def try_out(self, scenario: Scenario) -> Trial:
        """Run and judge one scenario; the recording is gone afterwards."""
        return self.judge(self.record(scenario))

    def search_trial(self, scenario: Scenario, shared_s: float | None = None) -> Trial:
        """As `try_out`, for one of many, which nobody repeats to the bit: without a digest.

        shared_s: as for `record_shared`.
        """
        return self.judge(self.searched(scenario, shared_s), digest=False)

    def searched(self, scenario: Scenario, shared_s: float | None) -> Recording:
        """The recording of `search_trial`."""
        return self.record(scenario) if shared_s is None else self.record_shared(scenario, shared_s)


def load_subject(directory: Path, drive_file: Path | None = None) -> Subject:
    """Read drive and claims and build the firmware.

    `drive_file` replaces `drive.toml` of the directory. Raises UsageError, DriveError,
    ClaimsError or BuildError, each with the file and the next step.
    """
    if not directory.exists():
        raise UsageError(f"{directory}: no such directory; give the directory that holds drive.toml")
    if not directory.is_dir():
        raise UsageError(f"{directory} is not a directory; give the directory that holds drive.toml")
    path = drive_file or directory / "drive.toml"
    if not path.is_file():
        advice = "write one beside the firmware" if drive_file is None else "check the path given to --drive"
        raise DriveError(f"{path}: no such file; {advice} (firmware_under_test/ has examples)")
    drive = load_drive(path)
    claims = load_claims(claims_file(drive), known_claims(), known_limits())
    image = build_image(drive, directory)
    hashes = {
        "firmware": _digest_of_files(firmware_text(drive, directory).files),
        "drive": hashlib.blake2b(repr(_physics(drive)).encode(), digest_size=16).hexdigest(),
        "claims": _digest_of_files({"claims.toml": claims.path.read_bytes()}),
        "build": image.digest,
    }
    if drive.controller.by_object_code:
        # here, so that a missing compiler for the part is told before anything runs
        hashes["costs"] = f"{code_costs(drive, image).digest} x {drive.controller.code_cycles_factor:g}"
    return Subject(directory, drive, claims, image, hashes)


def _physics(drive: Drive) -> tuple[object, ...]:
    """The drive's numbers wherever they were read from: a base file counts, a comment does not."""
    return (
        drive.motor,
        drive.load,
        drive.bridge,
        drive.supply,
        drive.sense,
        drive.controller,
        drive.throttle,
        drive.calibration,
        drive.tones,
        *(("one way",) if drive.throttle.one_way else ()),
    )


def _digest_of_files(files: Mapping[str, bytes]) -> str:
    """Hash over name, length and bytes of each file, independent of where the tree stands."""
    mix = hashlib.blake2b(digest_size=16)
    for name in sorted(files):
        mix.update(f"{name}\0{len(files[name])}\0".encode())
        mix.update(files[name])
    return mix.hexdigest()
