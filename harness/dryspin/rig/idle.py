"""A drive that has been left alone for so long that its clock has gone round, without simulating it.

While nothing happens, a firmware differs from an hour ago by its clock and by the moments it keeps
fresh (the last pulse, the last tone); what it has not touched meanwhile has grown old. So the clock
is set forward by whole turns of the 16-bit timer, fresh moments with it, and old ones are left.
"""

from dataclasses import replace
from typing import Any

from dryspin.build.variables import Variables
from dryspin.errors import DriveError, RigError
from dryspin.rig.checkpoint import Checkpoint
from dryspin.rig.frames import variable_part
from dryspin.rig.rig import Rig

TICKS_PER_WRAP = 65536


def set_forward(rig: Rig, before: Checkpoint, now: Checkpoint, wraps: int) -> Checkpoint:
    """`now`, had the drive idled for so many more turns of the timer (32.768 ms each at 16 MHz).

    before: a checkpoint of the same idling run, at least one whole round of what it does in idling
    earlier: [timekeeping] moments that changed since are fresh. Rotor, supply and throttle stay where they
    are. Raises DriveError where [timekeeping] names no count of wraps, RigError for another build.
    """
    keeping = rig.drive.timekeeping
    if keeping is None or not keeping.wraps:
        raise DriveError(
            f"{rig.drive.path}: [timekeeping] names no variable that counts the timer's wraps; add it as "
            'wraps = [["file.c:name", 0]] to set the clock forward'
        )
    if {before.image_digest, now.image_digest} != {rig.image.digest}:
        raise RigError("the checkpoint is of another build; take it from this rig")
    variables = Variables(rig.image.path)
    fresh = []
    for name, _ in keeping.moments:
        at, size = variable_part(name, variables)
        # the count of a 16-bit moment is the same after whole turns
        if size == 4 and _held(rig, before, at, size) != _held(rig, now, at, size):
            fresh.append((at, size, wraps * TICKS_PER_WRAP))
    for name, _ in keeping.wraps:
        fresh.append((*variable_part(name, variables), wraps))
    memory = _standing_at(rig, now)
    for at, size, by in fresh:
        cell = _cell(rig, at, size)
        cell[0] = (int.from_bytes(bytes(rig.ffi.buffer(cell, size)), "little") + by) % (1 << (8 * size))
    rig.core.core_checkpoint(memory)
    return replace(now, memory=bytes(rig.ffi.buffer(memory)))


def _standing_at(rig: Rig, checkpoint: Checkpoint) -> Any:
    rig.core.core_continue(rig.ffi.from_buffer(checkpoint.memory), checkpoint.settings.struct)
    return rig.ffi.new("char[]", rig.core.core_checkpoint_bytes())


def _cell(rig: Rig, at: int, size: int) -> Any:
    return rig.ffi.cast(f"uint{8 * size}_t *", int(rig.core.core_text_base()) + at)


def _held(rig: Rig, checkpoint: Checkpoint, at: int, size: int) -> bytes:
    _standing_at(rig, checkpoint)
    return bytes(rig.ffi.buffer(_cell(rig, at, size), size))
