"""A bench for small firmwares that are written for registers; what they tell is written to GPIOR2."""

from dataclasses import dataclass, field, replace
from pathlib import Path
from textwrap import dedent
from typing import Any

import pytest

from dryspin.build import Image, build_image
from dryspin.drive import Drive, Firmware, Pins
from dryspin.recording import Recording
from dryspin.rig import Rig

from ..small_firmware import Told, scenario

# Tests marked needs_avr are skipped without that compiler, or failed where it is required, as the target's.
from ..target.conftest import pytest_runtest_setup as pytest_runtest_setup

HEAD = """\
#include <avr/interrupt.h>
#include <avr/io.h>
#define say(n) do { uint16_t n_ = (n); GPIOR2 = (uint8_t)(n_ >> 8); GPIOR2 = (uint8_t)n_; } while (0)
#define stop() do { cli(); for (;;) { } } while (0)
"""

PINS = Pins(
    high=("PD5", "PB3", "PD3"),
    low=("PD4", "PB1", "PB2"),
    high_active="high",
    low_active="high",
    shifter_on_ns=0.0,
    shifter_off_ns=0.0,
    phases=("PC0", "PC1", "PC2"),
    neutral="PD6",
    bus="PC3",
    throttle="PB0",
    steady={"PD7": 0},
    marks={},
    mark_register="GPIOR2",
)


@dataclass
class RegisterBench:
    """The bow thruster's motor and board; firmware from a text, plain code free of cost unless asked."""

    folder: Path
    drive: Drive
    sources: dict[str, str] = field(default_factory=dict)

    def image(self, text: str, name: str = "main.c", head: str = HEAD, **more: str) -> Image:
        """Build source `name`; `more` are further files, a dot in a name written as two underscores."""
        self.folder.mkdir(parents=True, exist_ok=True)
        files = {name: head + dedent(text), **{k.replace("__", "."): dedent(v) for k, v in more.items()}}
        for file, body in files.items():
            (self.folder / file).write_text(body)
        self.sources = files
        drive = replace(self.drive, firmware=replace(self.drive.firmware, sources=tuple(files)))
        return build_image(drive, self.folder)

    def run(
        self, text: str, end_s: float = 0.1, block_cycles: int = 0, name: str = "main.c", **changes: Any
    ) -> Recording:
        """Build and run a firmware from power-on to `end_s`; `changes` are keys of the scenario."""
        rig = Rig(self.image(text, name), self.drive)
        return rig.run(scenario(end_s, **changes), block_cycles=block_cycles)

    def told(self, body: str, end_s: float = 0.1, before: str = "", **changes: Any) -> list[int]:
        """Numbers that a main() of that body says; `before` stands in front of it."""
        text = dedent(before) + "int main(void)\n{\n" + dedent(body) + "\nstop();\n}\n"
        return Told(self.run(text, end_s, **changes)).numbers

    def wired(self, **pins: Any) -> "RegisterBench":
        """The same bench with other pins."""
        return RegisterBench(self.folder, replace(self.drive, pins=replace(self.drive.pins, **pins)))


@pytest.fixture
def bench(tmp_path: Path, thruster: Drive) -> RegisterBench:
    """A bench with an empty firmware folder."""
    firmware = Firmware(("main.c",), (".",), {}, "")
    return RegisterBench(tmp_path / "firmware", replace(thruster, firmware=firmware, layers=(), pins=PINS))
