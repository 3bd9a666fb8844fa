"""What handlers take on the part: measured in runs that charge its object code."""

from dryspin.timing.measure import Measured, Sensitivity, full_stick, measure

__all__ = ["Measured", "Sensitivity", "full_stick", "measure"]
