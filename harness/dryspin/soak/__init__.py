"""Soak: a search that may take days, is killed at any moment, and goes on where it was."""

from dryspin.soak.batch import Batch, BatchResult
from dryspin.soak.journal import Journal, opened
from dryspin.soak.running import Soaked, soak

__all__ = ["Batch", "BatchResult", "Journal", "Soaked", "opened", "soak"]
