"""The pytest plugin: scenarios as tests, fixtures, kept findings as tests, what broke at the end.

Every pytest run on a machine with dryspin loads this module, so it imports nothing but pytest;
numpy, Hypothesis and the compiler wait until a test asks for them.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import pytest

if TYPE_CHECKING:
    from dryspin.drive import Drive
    from dryspin.findings import Subject
    from dryspin.plugin.stand import Stand

__all__ = ["scenarios"]

Test = TypeVar("Test", bound=Callable[..., Any])

STORY = "_dryspin_families"
"""Attribute of a test made by `scenarios`: the families it asked for."""

BROKEN = "dryspin_broken"
"""Attribute of a report: pages of text on what broke. Plain lists, which travel between processes."""

FOUND = "found"
"""Name of a folder whose files are tests: traces/found, or one beside a drive.toml."""


def scenarios(*families: str) -> Callable[[Test], Test]:
    """Run the test on many scenarios of these families, by default of all that are declared.

    The test takes `scenario` besides its fixtures. It is a Hypothesis test: `@settings`, `@example`,
    `@reproduce_failure`, profiles and the database do what they always do. A deadline of
    Hypothesis's default is lifted, since a run takes longer. Raises UsageError for an unknown family.
    """
    from dryspin.plugin.stories import told

    return told(families)


def pytest_addoption(parser: pytest.Parser) -> None:
    """The three options, and the keys of pytest's own configuration file that stand for two of them."""
    group = parser.getgroup("dryspin")
    group.addoption(
        "--firmware",
        metavar="DIR",
        help="directory of the firmware under test; else dryspin_firmware of the configuration file, "
        "else where pytest's own root has a drive.toml",
    )
    group.addoption("--drive", metavar="FILE", help="a drive file instead of drive.toml in that directory")
    group.addoption(
        "--scenarios",
        type=_count,
        metavar="N",
        help="scenarios for each test that does not say otherwise (max_examples of Hypothesis's profile)",
    )
    parser.addini("dryspin_firmware", "directory of the firmware under test, relative to this file")
    parser.addini("dryspin_drive", "a drive file instead of drive.toml in that directory")


def _count(text: str) -> int:
    from argparse import ArgumentTypeError

    if not text.isdigit() or int(text) < 1:
        raise ArgumentTypeError(f"{text!r} is no number of scenarios; give a whole number from 1 up")
    return int(text)


@pytest.hookimpl(trylast=True)  # Hypothesis's plugin has loaded the profile that was asked for
def pytest_configure(config: pytest.Config) -> None:
    """`--scenarios` changes the profile in force before any test module is imported."""
    if config.getoption("scenarios"):
        from dryspin.plugin.stories import set_count

        set_count(config.getoption("scenarios"))


@pytest.fixture(scope="session")
def firmware(request: pytest.FixtureRequest) -> Subject:
    """The firmware under test: built, with its drive and its claims."""
    from dryspin.errors import DryspinError
    from dryspin.plugin.choosing import chosen_firmware

    try:
        return chosen_firmware(request.config)
    except DryspinError as error:
        pytest.fail(str(error), pytrace=False)


@pytest.fixture(scope="session")
def drive(firmware: Subject) -> Drive:
    """The drive of the firmware under test."""
    return firmware.drive


@pytest.fixture(scope="session")
def rig(firmware: Subject) -> Stand:
    """Runs scenarios on the firmware under test and judges them."""
    from dryspin.plugin.stand import Stand

    return Stand(firmware)


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    """Kept findings and scenarios are tests."""
    if file_path.suffix not in (".toml", ".scenario") or file_path.parent.name != FOUND:
        return None
    above = file_path.parent.parent
    if above.name != "traces" and not (above / "drive.toml").is_file():
        return None
    from dryspin.plugin.kept import KeptFile

    return KeptFile.from_parent(parent, path=file_path)


def pytest_itemcollected(item: pytest.Item) -> None:
    """Hypothesis's default deadline is none for a test that runs a rig."""
    function = getattr(item, "obj", None)
    if hasattr(function, STORY):
        from dryspin.plugin.stories import lift_deadline

        lift_deadline(function)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None, object, object]:
    """While a test runs, its scenarios are drawn for the drive that its fixtures name."""
    families = getattr(getattr(item, "obj", None), STORY, None)
    stand: Any = getattr(item, "funcargs", {}).get("rig")
    if hasattr(stand, "begin"):
        stand.begin(families or ())
    if families is None:
        return (yield)
    from dryspin.errors import DryspinError
    from dryspin.plugin.stories import staged

    try:
        stage = staged(item.funcargs["firmware"], families)  # type: ignore[attr-defined]
    except DryspinError as error:
        pytest.fail(str(error), pytrace=False)
    with stage:
        return (yield)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Keep what broke as files, and what to say about it with the report."""
    report = yield
    stand: Any = getattr(item, "funcargs", {}).get("rig")
    if report.failed and call.excinfo is not None:
        pages: list[list[str]] = []
        if hasattr(stand, "begin"):
            from dryspin.plugin.keeping import keep

            pages = keep(call.excinfo.value, stand, item)
        elif hasattr(call.excinfo.value, "page"):
            pages = [call.excinfo.value.page]
        if pages:
            setattr(report, BROKEN, pages)
    return report


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Name what broke, and how to see it again."""
    reports = [r for r in terminalreporter.stats.get("failed", []) if getattr(r, BROKEN, None)]
    if not reports:
        return
    terminalreporter.section("dryspin: what broke")
    for report in reports:
        terminalreporter.write_line(report.nodeid)
        for page in getattr(report, BROKEN):
            for line in page:
                terminalreporter.write_line(f"  {line}")
