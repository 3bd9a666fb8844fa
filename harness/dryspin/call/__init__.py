"""Single C functions of a firmware, called from Python: see README.md beside this file."""

from dryspin.call.firmware import CallableFirmware, load_firmware
from dryspin.call.memory import Object, Pointer

__all__ = ["CallableFirmware", "Object", "Pointer", "load_firmware"]
