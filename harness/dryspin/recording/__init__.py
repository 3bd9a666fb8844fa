"""Recordings: what was seen, as arrays, and what follows from them without judging."""

from dryspin.recording.files import FORMAT, load_recording, save_recording
from dryspin.recording.pulses import Pulses
from dryspin.recording.recording import Recording
from dryspin.recording.signals import EDGE, GATES, LEG_NAMES, LEGS, STATE, Leg, Mark, Reset, Signal, Vector
from dryspin.recording.spans import Span, Steps
from dryspin.recording.timeline import Timeline
from dryspin.recording.windings import WindingPulses, find_winding_pulses

__all__ = [
    "EDGE",
    "FORMAT",
    "GATES",
    "LEGS",
    "LEG_NAMES",
    "Leg",
    "Mark",
    "Pulses",
    "Recording",
    "Reset",
    "STATE",
    "Signal",
    "Span",
    "Steps",
    "Timeline",
    "Vector",
    "WindingPulses",
    "find_winding_pulses",
    "load_recording",
    "save_recording",
]
