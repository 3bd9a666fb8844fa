"""The virtual bench: one firmware build, one drive, one scenario, in virtual time."""

from dryspin.rig.checkpoint import Checkpoint
from dryspin.rig.rig import PLANTS, Progress, Rig, run
from dryspin.rig.warm import WarmStarts

__all__ = ["Checkpoint", "PLANTS", "Progress", "Rig", "WarmStarts", "run"]
