"""Says at the end of a run whether ngspice itself was there or results of earlier runs stood in."""

import pytest

from ..spice.reference import available


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """One line, as a comparison with stored results is not the same as one with a run."""
    if any("[circuit_" in report.nodeid for report in terminalreporter.stats.get("passed", [])):
        how = "ngspice run live" if available() else "ngspice is not installed: compared with stored results"
        terminalreporter.write_line(f"tests/outside: {how}")
