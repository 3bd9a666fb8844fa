"""The board's current limit: a shunt in the bridge's return, a filter, and a pin with an interrupt.

Outside check: the current of a resistance and an inductance on a constant voltage rises as
V / R (1 - exp(-t R / L)), any textbook of circuits; here R is two windings, two FETs, source.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from dryspin.drive import load_drive
from dryspin.errors import DriveError
from dryspin.recording import Recording, Signal
from dryspin.rig import Rig

from ..small_firmware import BOW_THRUSTER, Bench, scenario

LIMIT_A = 20.0
FILTER_S = 2e-6
OVER_CURRENT_VECTOR = 2

PUSH = """
    #include "say.h"
    void on_over_current(void) { port_all_open(); port_mark(40U); }
    int main(void)
    {
        port_over_current_interrupt(1);
        port_interrupts_restore(1);
        port_leg(PORT_V, PORT_LOW);
        port_leg(PORT_U, PORT_HIGH);
        port_mark(41U);
        SLEEP_FOREVER
    }
"""


def rig(bench: Bench, text: str = PUSH, limit_a: float | None = LIMIT_A) -> Rig:
    """A rig whose board has such a limit, on a stiff bus."""
    bridge = replace(bench.drive.bridge, over_current_a=limit_a, over_current_filter_s=FILTER_S)
    bench.drive = replace(bench.drive, bridge=bridge)
    return bench.rig(text)


def pushed(bench: Bench) -> Recording:
    """Two windings of a rotor at rest on the bus until the limit acts."""
    return rig(bench).run(scenario(0.07))


def test_the_handler_runs_when_the_current_has_lain_above_the_limit_for_the_filters_time(
    bench: Bench,
) -> None:
    """Rise by the textbook's law, then the filter, two looks of 2 us and the entry of a handler at most."""
    run = pushed(bench)
    drive = run.drive
    marks, codes, _ = run.of(Signal.MARK)
    on_s, acted_s = (float(run.seconds(marks[codes == code][0])) for code in (41, 40))
    r_ohm = 2.0 * (drive.motor.r_phase_ohm.nominal + drive.bridge.r_on_ohm.nominal)
    least, most = r_ohm, r_ohm + drive.supply.r_ohm.nominal + drive.supply.esr_ohm.nominal
    l_h, v_v = 2.0 * drive.motor.l_phase_h.nominal, drive.supply.v_v.nominal
    first_s, last_s = (-l_h / r * math.log(1.0 - LIMIT_A * r / v_v) for r in (least, most))

    assert first_s + FILTER_S < acted_s - on_s + 1e-6
    assert acted_s - on_s < last_s + FILTER_S + 5e-6
    assert OVER_CURRENT_VECTOR in run.of(Signal.HANDLER)[1]


def test_the_pin_lets_go_when_the_current_no_longer_returns_through_the_shunt(bench: Bench) -> None:
    """With open legs the windings drive their current back into the bus, the other way."""
    run = pushed(bench)
    cycles, levels, _ = run.of(Signal.OVER_CURRENT)
    peak_a = float(np.max(np.abs(run.states["i_u_a"])))

    assert levels.tolist() == [0, 1, 0]
    assert 0 <= cycles[2] - cycles[1] < 16 * 8
    assert LIMIT_A < peak_a < LIMIT_A + 11.1 / 56e-6 * 8e-6


def test_current_that_goes_round_in_the_low_fets_does_not_pass_the_shunt(bench: Bench) -> None:
    """A rotor turned at 9000 rpm into shorted windings: above the limit in the phases, nothing at the pin."""
    text = PUSH.replace(
        "port_leg(PORT_U, PORT_HIGH);", "port_leg(PORT_U, PORT_LOW); port_leg(PORT_W, PORT_LOW);"
    )
    run = rig(bench, text).run(scenario(0.08, speed_rpm=((0.0, 9000.0),)))

    assert float(np.max(np.abs(run.states["i_u_a"]))) > LIMIT_A
    assert run.of(Signal.OVER_CURRENT)[1].tolist() == [0]


def test_a_flag_from_before_calls_the_handler_when_its_interrupt_comes_on(bench: Bench) -> None:
    """Data sheet, section "External Interrupts" (from memory): the edge sets the flag, enabled or not."""
    text = PUSH.replace("port_over_current_interrupt(1);", "").replace(
        "port_mark(41U);",
        "while (port_ticks() < 1000U) { }\n port_all_open(); port_mark(41U); port_over_current_interrupt(1);",
    )
    marks = rig(bench, text).run(scenario(0.07)).of(Signal.MARK)[1].tolist()

    assert marks[-2:] == [41, 40]


def test_without_a_limit_the_pin_never_moves(bench: Bench) -> None:
    """Nor is it in the recording."""
    run = rig(bench, limit_a=None).run(scenario(0.07))

    assert len(run.of(Signal.OVER_CURRENT)[0]) == 0
    assert 40 not in run.of(Signal.MARK)[1]


def test_a_limit_beyond_the_rating_is_refused(bench: Bench) -> None:
    """It would act when it is too late."""
    bench.folder.mkdir(parents=True, exist_ok=True)
    text = f'[firmware]\nbase = "{BOW_THRUSTER}"\n[bridge]\nover_current_a = 41\n'
    whole = (
        (BOW_THRUSTER / "drive.toml").read_text(encoding="utf-8").split("[bridge]")[1].split("[supply]")[0]
    )
    kept = "\n".join(line for line in whole.splitlines() if not line.startswith("over_current"))
    (bench.folder / "drive.toml").write_text(text + kept, encoding="utf-8")

    with pytest.raises(DriveError, match=r"over_current_a = 41 A is not below i_peak_max_a = 40 A"):
        load_drive(bench.folder)
