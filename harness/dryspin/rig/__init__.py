"""The virtual bench: one firmware build, one drive, one scenario, in virtual time."""

from dryspin.rig.rig import PLANTS, Progress, Rig, run

__all__ = ["PLANTS", "Progress", "Rig", "run"]
