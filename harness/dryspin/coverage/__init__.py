"""Which lines and branches of the control code the scenarios of a check have reached."""

from dryspin.coverage.beside import with_marks
from dryspin.coverage.covered import Coverage, Mark
from dryspin.coverage.marking import Covering
from dryspin.coverage.tracefile import cobertura_text, lcov_text

__all__ = ["Coverage", "Covering", "Mark", "cobertura_text", "lcov_text", "with_marks"]
