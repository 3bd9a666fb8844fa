"""What handlers take on the part: measured in runs that charge its object code."""

from dryspin.timing.measure import Measured, Sensitivity, measure, top_speed

__all__ = ["Measured", "Sensitivity", "measure", "top_speed"]
