"""Runs small enough to draw in a blink, with what a sheet has to show in known places."""

from dataclasses import replace

import numpy as np

from dryspin.drive import Tone
from dryspin.findings import Outcome, Trial
from dryspin.recording import Leg, Mark, Recording, Signal
from dryspin.report.sheet import Case

from ..recording.samples import F_CPU_HZ, edges, scenario, thruster, turning

END_S = 4.0
SPIKE_S, SPIKE_A = 3.1, 55.0
PULSE_S, PULSE_US = 2.3, 1.0
"""A current spike and a gate pulse of a microsecond, both far from the moment."""

MOMENT_S = 1.0
HOSTILE = "<script>alert('run')</script>\"><img src=x onerror=alert(1)>&amp;</title></script>"
"""What a name or a sentence would have to be to become part of the page's own markup."""


def spiked(end_s: float = END_S, name: str = "bow thruster") -> Recording:
    """A rotor at 1000 rpm for `end_s`, no current but the spike, gates off but for the pulse."""
    drive = replace(thruster(), name=name, tones=(Tone(f"ready {name}", 32, (("C6", 100.0),), 20.0),))
    states = turning(1000.0, end_s, rows=round(end_s / 50e-6) + 1)
    k = int(np.searchsorted(states["t_s"], SPIKE_S))
    if k + 3 < len(states):
        states["t_s"][k : k + 3] = SPIKE_S, SPIKE_S + 0.5e-6, SPIKE_S + 1e-6
        states["i_u_a"][k + 1], states["i_v_a"][k + 1] = SPIKE_A, -SPIKE_A
    at, end = round(PULSE_S * F_CPU_HZ), round(end_s * F_CPU_HZ)
    rows = [
        *((0, signal, 0) for signal in (Signal.GATE_U, Signal.GATE_V, Signal.GATE_W)),
        *((0, signal, int(Leg.OPEN)) for signal in (Signal.LEG_U, Signal.LEG_V, Signal.LEG_W)),
        *((0, signal, 0) for signal in (Signal.SENSE_LEG, Signal.SENSE_EDGE, Signal.SENSE_IRQ)),
        (0, Signal.COMPARATOR, 0),
        (0, Signal.HANDLER, 0),
        (0, Signal.THROTTLE, 0),
        (0, Signal.MARK, int(Mark.OFF)),
        (160_000, Signal.THROTTLE, 1),
        (184_000, Signal.THROTTLE, 0),
        (200_000, Signal.HANDLER, 24),
        (200_400, Signal.HANDLER, 0),
        (210_000, Signal.MARK, 32),
        *(
            (212_000 + 8 * leg, signal, int(value))
            for leg, (signal, value) in enumerate(
                (
                    (Signal.LEG_W, Leg.CHOPPED),
                    (Signal.LEG_U, Leg.LOW),
                    (Signal.SENSE_LEG, 1),
                    (Signal.SENSE_EDGE, 1),
                )
            )
        ),
        (220_000, Signal.MARK, int(Mark.CROSSING)),
        (220_010, Signal.SENSE_LEG, 0),
        (225_000, Signal.LEG_V, int(Leg.LOW)),
        (230_000, Signal.SENSE_IRQ, 1),
        (240_000, Signal.COMPARATOR, 1),
        *(
            [(at, Signal.GATE_V, 1), (at + round(PULSE_US * 1e-6 * F_CPU_HZ), Signal.GATE_V, 0)]
            if at < end
            else []
        ),
    ]
    return Recording(
        edges=edges(*rows),
        states=states,
        f_cpu_hz=F_CPU_HZ,
        end_cycle=end,
        drive=drive,
        scenario=scenario(end_s=end_s, throttle_us=((0.0, 1500.0), (0.5 * end_s, 1900.0)), faults=()),
        image_digest="none",
        lines=lambda pc: f"{HOSTILE if name == HOSTILE else 'main.c'}:{pc - 0x100}",
    )


def case(recording: Recording | None = None, text: str = "it broke", **changes: object) -> Case:
    """A case around `spiked`: the phase current broken at the moment, the line 2 of main.c acted."""
    recording = recording or spiked()
    outcome = Outcome(
        *("reversal.phase_current", "broken", -0.375, min(MOMENT_S, recording.end_s / 2)),
        limit=40.0,
        seen=55.0,
        unit="A",
        text=text,
        source_line="main.c:2",
    )
    held = Outcome("gates.both_fets", "held", 1.0, text="no leg ever had both FETs on")
    values: dict[str, object] = {
        "name": "a_folder_with_quite_a_long_name/and_another_one/found/reversal-phase-current-1.toml",
        "outcome": outcome,
        "trial": Trial((held, outcome), recording.end_s, "0123"),
        "recording": recording,
        "replay": "dryspin replay found/reversal-phase-current-1.toml",
        "sources": {"main.c": b"int main(void)\n{\n\treturn 0;\n}\n"},
        "kept_as": "broken",
    }
    return Case(**(values | changes))  # type: ignore[arg-type]
