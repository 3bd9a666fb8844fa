"""Faults in the C itself, from the checked build: races, undefined operations, accesses out of bounds."""

from dryspin.faults.fault import Fault, Place
from dryspin.faults.findings import Evidence, faults_of
from dryspin.faults.inspector import Code, Inspector

__all__ = ["Code", "Evidence", "Fault", "Inspector", "Place", "faults_of"]
