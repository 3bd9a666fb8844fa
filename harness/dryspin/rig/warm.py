"""Runs that share their beginnings: what happens until they part is run once, the rest as often as asked.

A recording is that of a straight run, bit for bit, so nobody downstream can tell, or need know.
"""

from dryspin.recording import Recording
from dryspin.rig.checkpoint import Checkpoint
from dryspin.rig.rig import Rig
from dryspin.rig.settings import Settings
from dryspin.scenario import Scenario

KEPT = 12
"""Checkpoints kept, those used last. One of 1.5 s, one of them under drive, holds some 6 MB of recording."""


class WarmStarts:
    """Checkpoints of one rig, and the runs that leave them or go on from them.

    For one process: the memory of a checkpoint means nothing to another. `straight` and `continued` count
    the runs.
    """

    def __init__(self, rig: Rig, kept: int = KEPT) -> None:
        self._rig, self._kept = rig, kept
        self._left: list[Checkpoint] = []
        self.straight = self.continued = 0

    def run(self, scenario: Scenario, shared_s: float) -> Recording:
        """Run `scenario`, on the compiled plant, from a checkpoint that it shares its beginning with, if any.

        shared_s: up to this moment (s) other scenarios will begin in the same way; a run from power-on leaves
        a checkpoint there. Raises RigError as `Rig.run`.
        """
        settings = self._rig.settings(scenario)
        if found := self._shared(settings, scenario):
            self._keep(found)
            self.continued += 1
            return self._rig.resume(found, scenario, settings)
        self.straight += 1
        recording, left = self._rig.run_leaving(scenario, shared_s)
        if left:
            self._keep(left)
        return recording

    def _shared(self, settings: Settings, scenario: Scenario) -> Checkpoint | None:
        """Of those it may go on from, the latest."""
        fitting = [left for left in self._left if left.begins(settings, scenario)]
        return max(fitting, key=lambda left: left.settled_cycle, default=None)

    def _keep(self, used: Checkpoint) -> None:
        self._left = [used, *(left for left in self._left if left is not used)][: self._kept]
