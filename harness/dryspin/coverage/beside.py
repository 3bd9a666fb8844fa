"""A subject whose every run is run once more with marks, beside it.

Where blocks of plain code cost time, marks would change what is judged: the two ways of a condition are
blocks of their own. So the firmware itself is judged, and the marked one only tells where it got to, in a
run of the same scenario that differs by some microseconds.
"""

from contextlib import suppress
from dataclasses import dataclass, fields
from functools import cached_property

from dryspin.build import Image
from dryspin.errors import RigError
from dryspin.findings import Subject
from dryspin.recording import Recording
from dryspin.rig import Progress, Rig
from dryspin.scenario import Scenario


@dataclass(frozen=True)
class Accompanied(Subject):
    """`marked`: the same firmware with marks."""

    marked: Image

    @cached_property
    def marked_rig(self) -> Rig:
        """The marked firmware on the rig."""
        return Rig(self.marked, self.drive)

    def record(self, scenario: Scenario, plant: str = "twin", progress: Progress | None = None) -> Recording:
        """Run one scenario, and once more with marks; what ends the marked run has ended the other, too."""
        with suppress(RigError):
            self.marked_rig.run_unrecorded(scenario)
        return super().record(scenario, plant, progress)

    def record_shared(self, scenario: Scenario, shared_s: float) -> Recording:
        """As `record`: the beginning reaches marks, too."""
        return self.record(scenario)


def with_marks(subject: Subject, marked: Image) -> Subject:
    """The subject whose runs reach marks: the marked firmware itself where blocks cost no time."""
    own = {each.name: getattr(subject, each.name) for each in fields(Subject)}
    if subject.drive.controller.block_cycles == 0:
        return Subject(**{**own, "image": marked})
    return Accompanied(**own, marked=marked)
