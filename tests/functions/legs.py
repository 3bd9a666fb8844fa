"""What tests of functions see of legs and marks, and how they lead the comparator."""

from dataclasses import replace

from dryspin.call import CallableFirmware
from dryspin.call.firmware import QUIET
from dryspin.recording import LEGS, Signal

ABOVE, BELOW = 1, 0
OFFSET_ABOVE = replace(QUIET, parts={"offset_v": 0.04})
"""At rest the comparator shows its offset, above, on every leg; below while the converter has its input."""


def show(firmware: CallableFirmware, level: int) -> None:
    """Let the comparator show that level, on whichever leg; in the scenario OFFSET_ABOVE."""
    (firmware.call.port_convert_off if level else firmware.call.port_convert_bus)()
    firmware.wait(ms=0.01)


def legs_now(firmware: CallableFirmware) -> list[int]:
    """The states that the three legs were last put into; open before that."""
    recording = firmware.recording()
    return [int(recording.of(leg)[1][-1]) if recording.seen(leg) else 0 for leg in LEGS]


def marks(firmware: CallableFirmware) -> list[int]:
    """What was marked since power-on, in order."""
    return [int(mark) for mark in firmware.recording().of(Signal.MARK)[1]]
