"""Digests of a few runs, pinned in pins.toml: a change of any bit is seen, and has to be wanted.

`python -m tests.rig.pins "why they changed"` runs them all and pins anew, with that reason.
"""

import hashlib
import sys
import tempfile
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import tomli_w

from dryspin.build import Compiler, build_image
from dryspin.drive import Drive, Firmware, load_drive
from dryspin.recording import Recording
from dryspin.recording.recording import DIGEST_EDGE_FIELDS
from dryspin.recording.signals import STATE
from dryspin.rig import Rig
from dryspin.scenario import Fault, Scenario, read_scenario

from ..small_firmware import BOW_THRUSTER, Bench, scenario

PINS = Path(__file__).with_name("pins.toml")
REFERENCE = BOW_THRUSTER.parents[1] / "traces" / "by_hand" / "reference.toml"

FIELDS = {"edges": DIGEST_EDGE_FIELDS, "states": STATE.names or ()}
"""What is pinned, by array; each array's digest by itself, so that a difference says where it is. Program
counters are left out: they move with every compiler."""

EVERY_PERIPHERAL = """
    #include "say.h"
    static volatile uint8_t step;
    static const uint8_t high[6] = {0, 0, 1, 1, 2, 2}, low[6] = {1, 2, 2, 0, 0, 1};
    static const uint8_t open_leg[6] = {2, 1, 0, 2, 1, 0};
    void on_throttle_edge(void)
    {
        say(port_throttle_ticks());
        port_throttle_edge(port_throttle_level() ? PORT_FALLING : PORT_RISING);
    }
    void on_compare_a(void)
    {
        uint8_t n = (uint8_t)((step + 1U) % 6U);
        step = n;
        port_all_open();
        port_leg(low[n], PORT_LOW);
        port_leg(high[n], PORT_CHOPPED);
        port_sense_select(open_leg[n]);
        port_sense_edge(n & 1U);
        port_compare_a((uint16_t)(port_ticks() + 7000U));
        port_watchdog_feed();
    }
    void on_compare_b(void)
    {
        port_compare_b((uint16_t)(port_ticks() + 9999U));
        port_duty((uint8_t)(20U + (port_ticks() & 15U)));
        port_convert_bus();
    }
    void on_over_current(void) { say(port_over_current()); }
    void on_wrap(void)
    {
        uint16_t begun;
        port_mark(40);
        port_all_open();
        port_leg(1, PORT_LOW);
        port_leg(0, PORT_HIGH);
        begun = port_ticks();
        while ((uint16_t)(port_ticks() - begun) < 700U) { }
        port_all_open();
    }
    void on_converter_done(void)
    {
        say(port_converted());
        port_convert_off();
    }
    void on_comparator_edge(void) { port_mark(PORT_MARK_CROSSING); }
    int main(void)
    {
        uint16_t at;
        if (port_reset_cause() == PORT_RESET_WATCHDOG)
            port_watchdog_off();
        else
            port_watchdog_on(3);
        port_throttle_edge(PORT_RISING);
        port_throttle_interrupt(1);
        port_sense_interrupt(1);
        port_convert_interrupt(1);
        port_wrap_interrupt(1);
        port_over_current_interrupt(1);
        port_carriers_start(3);
        port_compare_a(2000);
        port_compare_a_interrupt(1);
        port_compare_b(3000);
        port_compare_b_interrupt(1);
        port_interrupts_restore(1);
        for (at = 0; at < 12U; at++) {
            uint8_t were_on = port_interrupts_off();
            port_store_write(at, (uint8_t)(at * 37U));
            port_interrupts_restore(were_on);
            while (port_store_busy())
                port_mark(30);
        }
        if (port_reset_cause() == PORT_RESET_POWER_ON)
            port_compare_a_interrupt(0);   /* nobody feeds the watchdog any more */
        SLEEP_FOREVER
    }
"""
"""Steps by the clock with everything on at once: each peripheral, the store, a watchdog reset."""


@dataclass(frozen=True)
class Pinned:
    """One run. `text`: the whole of its main.c; empty: the shipped bow thruster."""

    given: Callable[[], Scenario]
    text: str = ""

    def run(self, drive: Drive, folder: Path, compiler: Compiler | None = None) -> Recording:
        """Build with `compiler` (the suite's own if None) and run."""
        if not self.text:
            return Rig(build_image(drive, BOW_THRUSTER, compiler=compiler), drive).run(self.given())
        small = replace(drive, firmware=Firmware(("*.c",), (".",), {}, ""), layers=())
        return Bench(folder / "firmware", small).rig(self.text, compiler=compiler).run(self.given())


RUNS = {
    "reference": Pinned(lambda: read_scenario(REFERENCE)),
    "noise, a moving supply, unequal parts and a reset": Pinned(
        lambda: scenario(
            1.6,
            throttle_us=((0.0, 1500.0), (0.7, 1900.0)),
            supply_v=((0.0, 11.1), (1.2, 12.0)),
            comparator_noise_mv=((0.0, 3.0),),
            parts={"r_phase": 1.05, "offset_v": -0.02, "kq": 1.2},
            faults=(Fault("reset", 1.5),),
        )
    ),
    "every peripheral, a supply gap and a power cut while storing": Pinned(
        lambda: scenario(
            1.0,
            throttle_us=((0.0, 1500.0), (0.3, 1711.0)),
            comparator_noise_mv=((0.0, 5.0),),
            faults=(Fault("power cut", 0.4001, 20.0), Fault("supply gap", 0.6, 60.0)),
        ),
        EVERY_PERIPHERAL,
    ),
}


def digests(recording: Recording) -> dict[str, str]:
    """blake2b, 8 bytes in hex, of the fields of each array, and of the store."""
    found = {}
    for array, fields in FIELDS.items():
        mix = hashlib.blake2b(digest_size=8)
        for name in fields:
            mix.update(np.ascontiguousarray(getattr(recording, array)[name]).data)
        found[array] = mix.hexdigest()
    found["store"] = hashlib.blake2b(recording.store, digest_size=8).hexdigest()
    return found


def fields_named() -> dict[str, list[str]]:
    """The fields as pins.toml names them."""
    return {array: list(fields) for array, fields in FIELDS.items()}


def read_pins() -> dict[str, dict[str, str]]:
    """The pinned digests by the name of the run; ValueError where other fields were pinned, or no reason."""
    table = tomllib.loads(PINS.read_text(encoding="utf-8"))
    if table["fields"] != fields_named() or not table["last_change"].strip():
        raise ValueError(f"{PINS.name} pins other fields, or gives no reason; {HOW}")
    return table["run"]


HOW = 'if the change is wanted: python -m tests.rig.pins "why they changed"'


def pin(reason: str) -> str:
    """The text of pins.toml as things are now."""
    drive = load_drive(BOW_THRUSTER)
    with tempfile.TemporaryDirectory() as folder:
        runs = {name: digests(pinned.run(drive, Path(folder))) for name, pinned in RUNS.items()}
    head = f"# Written by: {HOW.partition(': ')[2]}\n\n"
    return head + tomli_w.dumps({"last_change": reason, "fields": fields_named(), "run": runs})


if __name__ == "__main__":
    if len(sys.argv) != 2 or not sys.argv[1].strip():
        sys.exit(HOW)
    PINS.write_text(pin(sys.argv[1].strip()), encoding="utf-8")
    print(PINS.read_text(encoding="utf-8"), end="")
