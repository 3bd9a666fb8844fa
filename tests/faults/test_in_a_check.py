"""What a check does with faults of the C: it goes on, tells them, and fails; explained ones it counts."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.drive import load_drive
from dryspin.drive.model import Shared
from dryspin.errors import DriveError, FirmwareError
from dryspin.faults import Code, Evidence, Fault, Inspector, Place
from dryspin.findings import Finding, replay_on
from dryspin.report import check_json, check_lines
from dryspin.search import check
from dryspin.search.family import Task, planned_draft
from dryspin.search.inspecting import inspect
from dryspin.search.strategies import Draft

from ..search.subject import StandIn, held, reversal_at_s
from ..small_firmware import BOW_THRUSTER, Bench, scenario
from .seeded_faults import SEEDED

CRASHED = FirmwareError(
    "the firmware crashed at reversing.c:12 in turn() after 1.2 s",
    *("crash", "reversing.c:12", "turn", 1.2, 12, (("main.c:40", "main"),)),
)


class Shown:
    """Stands in for a checked build that has shown one race."""

    def evidence(self, scenarios, *, widths=True):
        return Evidence(runs=sum(1 for _ in scenarios))

    def judge(self, evidence):
        race = Fault(
            "torn read", "width", Place("a.c:3", "get"), "of 2 bytes", against=Place("b.c:4", "on_wrap")
        )
        return Code((race,), ("age",), evidence.runs, 1.0)


def subject(tmp_path: Path) -> StandIn:
    """Crashes in every scenario that reverses, holds everything else."""

    def judge(given):
        if reversal_at_s(given) is not None:
            raise CRASHED
        return [held("reversal.opposing_drive"), held("arming.idle")]

    return StandIn(tmp_path, judge, ("reversal.opposing_drive", "arming.idle"))


def test_a_crash_is_a_finding_and_the_search_goes_on(tmp_path: Path) -> None:
    """Shortened, saved and replayed like any broken claim, with line, handler and calls."""
    given = subject(tmp_path)
    result = check(given, scenarios=12, workers=2, save=tmp_path / "found")
    page = "\n".join(check_lines(result, given.drive))

    assert result.scenarios == 12
    assert not result.passed
    assert [saved.finding.claim for saved in result.findings] == ["code.crash"]
    assert "broken" in next(line for line in page.splitlines() if "code.crash" in line)
    assert "commanded at reversing.c:12" in page
    assert "called from main() at main.c:40" in page
    finding = result.findings[0].finding
    assert isinstance(finding, Finding)
    assert replay_on(given, finding).as_expected


def test_a_scenario_whose_run_the_firmware_ended_is_run_with_the_checked_build_too(tmp_path: Path) -> None:
    """It may show what led there, be it none of those looked at anyway; those are not run twice."""
    given = subject(tmp_path)
    task = Task("reversal", 12, 0, 0)
    looked_at, other = (planned_draft(given.drive, task, k) for k in (0, 1))

    def runs(**besides: list[Draft]) -> int:
        return inspect(Shown(), given.drive, [task], 1, lambda *_: None, besides)[0].runs

    assert runs(reversal=[other]) == runs() + 1
    assert runs(reversal=[looked_at], arming=[other]) == runs()


def test_faults_of_the_checked_build_are_told_and_fail_the_check(tmp_path: Path) -> None:
    """As text and as JSON; a reason that none needs is told as well."""
    given = StandIn(tmp_path, lambda _: [held("arming.idle")], ("arming.idle",))
    result = check(given, scenarios=4, workers=1, save=tmp_path, inspector=Shown())
    lines = check_lines(result, given.drive)
    code = json.loads(json.dumps(check_json(result)))["code"]

    assert not result.passed
    assert "fault  torn read: a.c:3 in get(): width, of 2 bytes" in lines
    assert "   against b.c:4 in on_wrap()" in lines
    assert any(line.startswith("[[shared]] age explains nothing") for line in lines)
    assert lines[-1] == "1 fault in the C"
    assert code["faults"][0]["against_line"] == "b.c:4"
    assert code["unused_reasons"] == ["age"]


def test_a_variable_that_the_drive_explains_is_no_fault(bench: Bench) -> None:
    """By its name as findings tell it; what explains nothing is listed."""
    bench.image((SEEDED / "races.c").read_text())
    shared = (Shared("width_ticks", "read until stable"), Shared("nobody", "was taken out"))
    inspector = Inspector(replace(bench.drive, shared=shared), bench.folder)
    code = inspector.judge(inspector.evidence([scenario(0.3)]))

    explained = [fault.variable for fault in code.faults if fault.accepted]
    assert set(explained) == {"width_ticks"}
    assert "width_ticks" not in {fault.variable for fault in code.open_faults}
    assert code.unused_reasons == ("nobody",)


@pytest.mark.parametrize(
    ("entry", "message"),
    [
        ('[[shared]]\nvariable = "last"\n', "why is missing"),
        ('[[shared]]\nvariable = "last"\nwhy = ""\n', "is empty"),
        (
            '[[shared]]\nvariable = "a"\nwhy = "x"\n[[shared]]\nvariable = "a"\nwhy = "y"\n',
            "explained already",
        ),
        ('[shared]\nvariable = "last"\nwhy = "x"\n', "is not a list of tables"),
    ],
)
def test_a_variable_is_explained_by_a_reason_and_once(tmp_path: Path, entry: str, message: str) -> None:
    """No suppression without a reason."""
    (tmp_path / "drive.toml").write_text(f'[firmware]\nbase = "{BOW_THRUSTER}"\n{entry}')

    with pytest.raises(DriveError, match=message):
        load_drive(tmp_path)


def test_every_variable_of_the_shipped_firmware_that_is_explained_has_its_reason() -> None:
    """In so many words."""
    drive = load_drive(BOW_THRUSTER)

    assert all(len(each.why.split()) >= 8 for each in drive.shared)
