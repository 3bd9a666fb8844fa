"""The energy balance of every run here must close; at the end, whether ngspice itself was there."""

import pytest

from ..energy_books import energy_balance
from ..spice.reference import available

__all__ = ["energy_balance"]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """One line, as a comparison with stored results is not the same as one with a run."""
    if any("[circuit_" in report.nodeid for report in terminalreporter.stats.get("passed", [])):
        how = "ngspice run live" if available() else "ngspice is not installed: compared with stored results"
        terminalreporter.write_line(f"tests/outside: {how}")
