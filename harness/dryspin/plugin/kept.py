"""Files of traces/found as tests: a finding shows the verdict it is kept for, a scenario breaks nothing."""

from collections.abc import Iterator
from typing import Any

import pytest

from dryspin.errors import DryspinError
from dryspin.findings import BROKEN, read_finding
from dryspin.findings import replay as rerun
from dryspin.plugin.choosing import chosen_firmware
from dryspin.report import happened_lines, verdict_line
from dryspin.scenario import read_scenario


class KeptError(Exception):
    """A kept file does not show what it is kept for; `page` says so in a few lines."""

    def __init__(self, page: list[str]) -> None:
        super().__init__("\n".join(page))
        self.page = page


class KeptFile(pytest.File):
    """One file of a folder of findings."""

    def collect(self) -> Iterator[pytest.Item]:
        """One test."""
        is_finding = self.path.suffix == ".toml"
        yield (KeptFinding if is_finding else KeptScenario).from_parent(self, name=self.path.stem)


class _Kept(pytest.Item):
    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """A page instead of a traceback, which would show this module and nothing of the firmware."""
        if isinstance(excinfo.value, KeptError | DryspinError):
            return str(excinfo.value)
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Any, int, str]:
        """File and name."""
        return self.path, 0, self.name

    @property
    def _shown_path(self) -> str:
        root = self.config.invocation_params.dir
        return str(self.path.relative_to(root) if self.path.is_relative_to(root) else self.path)


class KeptFinding(_Kept):
    """A finding: its claim must have the verdict that the file expects."""

    def runtest(self) -> None:
        """Replay it on the firmware it names."""
        replayed = rerun(read_finding(self.path))
        if not replayed.as_expected:
            page = [
                f"kept as {replayed.finding.expected}, today:",
                verdict_line(replayed.outcome),
                *happened_lines(replayed.outcome),
            ]
            if replayed.finding.expected == BROKEN:
                page.append(
                    'if it is mended, write expected = "held" into the file: it then guards the repair'
                )
            raise KeptError([*page, f"replay: dryspin replay {self._shown_path}"])


class KeptScenario(_Kept):
    """A scenario by itself: no declared claim may break on the firmware under test."""

    def runtest(self) -> None:
        """Run and judge it."""
        subject = chosen_firmware(self.config)
        trial = subject.try_out(read_scenario(self.path))
        suppressed = {suppression.claim for suppression in subject.claims.suppressions}
        broken = [o for o in trial.outcomes if o.status == BROKEN and o.claim not in suppressed]
        if broken:
            page = [line for o in broken for line in (verdict_line(o), *happened_lines(o))]
            raise KeptError([*page, f"replay: dryspin run {subject.directory} {self._shown_path}"])
