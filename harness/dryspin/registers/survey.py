"""What a firmware's source shows of its pins, timers and clock, read from its text alone.

A help to begin with, and no proof: what is computed is not seen. What is not plain to see is left open.
"""

import re
from dataclasses import dataclass, field, replace

from dryspin.registers.constants import Constants
from dryspin.registers.gates_seen import Gates, Side, gates_seen
from dryspin.registers.phases_seen import phases_seen
from dryspin.registers.stick_seen import StickSeen, stick_seen
from dryspin.registers.timers_seen import TIMER_OF, carrier_hz, chopped_outputs
from dryspin.registers.written import Written

_COMMENT = re.compile(r"//[^\n]*|/\*.*?\*/", re.DOTALL)
_CLOCK = re.compile(r"#\s*define\s+F_CPU\s+\(?(\d+)")

F_CPU_HZ = (1e6, 20e6)
"""What the part can be clocked with; else F_CPU is a slip, or of something else."""

BY_OUTPUTS = "the compare outputs that the source connects: which is which leg it does not show"


@dataclass(frozen=True)
class Survey:
    """What was seen; empty or 0 where nothing was.

    `outputs`: pins made outputs or set, in the order of the text. `phases`: their pins; `phases_sure` where
    names tell the legs. `f_pwm_hz`: of the carrier. `notes`: what a reader should look at.
    """

    f_cpu_hz: float = 0.0
    gates: Gates = field(default_factory=Gates)
    outputs: tuple[str, ...] = ()
    phases: tuple[str, ...] = ()
    phases_sure: bool = False
    f_pwm_hz: float = 0.0
    stick: StickSeen = field(default_factory=StickSeen)
    notes: tuple[str, ...] = ()


def surveyed(text: str, sketch: bool) -> Survey:
    """Look through the text of all sources; `sketch`: pins are also counted as boards do."""
    plain = _COMMENT.sub(" ", text)
    constants = Constants.of(plain)
    written = Written.of(plain, constants, sketch)
    clock = _CLOCK.search(plain)
    f_cpu_hz = float(clock[1]) if clock and F_CPU_HZ[0] <= float(clock[1]) <= F_CPU_HZ[1] else 0.0
    chopped = chopped_outputs(plain)
    if sketch:
        calls = re.findall(r"\banalogWrite\s*\(\s*(\w+)", plain)
        chopped += [pin for name in calls if (pin := written.board(name)) in TIMER_OF and pin not in chopped]
    gates = _with_outputs(gates_seen(text, constants, written), chopped)
    phases, phases_sure = phases_seen(plain, constants)
    return Survey(
        f_cpu_hz=f_cpu_hz,
        gates=gates,
        outputs=tuple(dict.fromkeys((*written.outputs, *chopped))),
        phases=phases,
        phases_sure=phases_sure,
        f_pwm_hz=carrier_hz(plain, constants, chopped, f_cpu_hz or 16e6, sketch),
        stick=stick_seen(plain, constants, written, f_cpu_hz or 16e6),
        notes=(*_notes(plain, sketch), *gates.notes),
    )


def _with_outputs(gates: Gates, chopped: list[str]) -> Gates:
    """Three compare outputs chop the high side where nothing else tells its pins."""
    if gates.high.pins or len(chopped) != 3 or set(chopped) & set(gates.low.pins):
        return gates
    return replace(gates, high=Side(tuple(chopped), BY_OUTPUTS))


def _notes(text: str, sketch: bool) -> list[str]:
    notes = []
    if sketch and re.search(r"\bACSR\b", text) and not re.search(r"\bADCSRA\b", text):
        notes.append("the sketch functions leave the ADC on, and the comparator's minus input at AIN1 = PD7")
    if re.search(r"\bACBG\b", text):
        notes.append("ACBG of the comparator is not modelled")
    return notes
