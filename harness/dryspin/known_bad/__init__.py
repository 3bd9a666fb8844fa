"""Known-bad firmwares: whether a check finds each of them out, and by what."""

from dryspin.known_bad.index import INDEX, Variant, read_index
from dryspin.known_bad.trying import Attempt, Attempts, try_all

__all__ = ["INDEX", "Attempt", "Attempts", "Variant", "read_index", "try_all"]
