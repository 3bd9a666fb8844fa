"""Captures from the real bench: read, mapped to the drive's signals, measured, judged, compared."""

from dryspin.capture.capture import Capture, read_capture
from dryspin.capture.judging import NOT_SEEN, CaptureVerdict, judge_capture
from dryspin.capture.mapping import CaptureMap, read_map, shown
from dryspin.capture.measured import Figure, figures_of
from dryspin.capture.reading import Reading, read

__all__ = [
    "Capture",
    "CaptureMap",
    "CaptureVerdict",
    "Figure",
    "NOT_SEEN",
    "Reading",
    "figures_of",
    "judge_capture",
    "read",
    "read_capture",
    "read_map",
    "shown",
]
