"""A recording seen as a capture would see it: pins only, so that two of them can be laid on each other."""

from pathlib import Path

import numpy as np

from dryspin.capture.capture import Capture
from dryspin.capture.levels import Levels, settled
from dryspin.capture.mapping import POWER_ON, CaptureMap
from dryspin.capture.reading import NS_PER_S
from dryspin.recording import GATES, LEG_NAMES, Recording, Signal
from dryspin.recording.signals import HIGH_FET, LOW_FET
from dryspin.recording.timeline import Ints


def capture_of(recording: Recording, path: Path) -> Capture:
    """Gates, throttle and comparator of `recording` as levels; `path` names it in messages."""
    end_ns = recording.end_s * NS_PER_S
    levels: dict[str, Levels] = {}

    def put(name: str, cycles: Ints, values: Ints) -> None:
        if len(cycles):
            t_ns = np.round(cycles * (NS_PER_S / recording.f_cpu_hz)).astype(np.int64)
            levels[name] = settled(t_ns, values, 0.0, end_ns)

    for leg, signal in zip(LEG_NAMES, GATES, strict=True):
        cycles, values, _ = recording.of(signal)
        put(f"gate {leg} high", cycles, (values & HIGH_FET != 0).astype(np.int64))
        put(f"gate {leg} low", cycles, (values & LOW_FET != 0).astype(np.int64))
    for name, signal in (("throttle", Signal.THROTTLE), ("comparator", Signal.COMPARATOR)):
        cycles, values, _ = recording.of(signal)
        put(name, cycles, values)
    cycle_ns = NS_PER_S / recording.f_cpu_hz
    mapped = CaptureMap(path, 0.0, cycle_ns, 0.0, POWER_ON, 1, "s", "column")
    return Capture(
        path=path,
        mapped=mapped,
        levels=levels,
        volts={},
        step_ns=cycle_ns,
        sample_ns=cycle_ns,
        resolution_ns=cycle_ns,
        end_ns=end_ns,
        origin_s=0.0,
        rows=recording.end_cycle,
    )
