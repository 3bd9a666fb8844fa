"""Faults in the C itself: races, what C leaves undefined, accesses beyond variables; from the checked build."""

from dryspin.faults.fault import Fault
from dryspin.faults.findings import Evidence, faults_of
from dryspin.faults.races import accesses_of

__all__ = ["Evidence", "Fault", "accesses_of", "faults_of"]
