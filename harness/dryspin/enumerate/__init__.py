"""Enumeration: every sequence of throttle frames of a few kinds, as far as the firmware tells them apart."""

from dryspin.enumerate.pulses import KINDS, words
from dryspin.enumerate.walk import Enumeration, Objection, enumerate_rites

__all__ = ["KINDS", "Enumeration", "Objection", "enumerate_rites", "words"]
