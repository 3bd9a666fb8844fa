"""A bench for firmwares of a few lines, and what they tell the test."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from textwrap import dedent
from typing import Any

from dryspin.build import Compiler, Image, build_image
from dryspin.drive import Drive
from dryspin.recording import Recording, Signal
from dryspin.rig import Rig
from dryspin.scenario import Scenario

BOW_THRUSTER = Path(__file__).parent.parent / "firmware_under_test" / "bow_thruster"

START_UP_CYCLES = 1_040_000
"""65 ms of 16 MHz from power-on or reset to main()."""

PARTS = {
    "handlers.c": "".join(
        f"void {name}(void);\n__attribute__((weak)) void {name}(void) {{}}\n"
        for name in (
            "on_throttle_edge",
            "on_compare_a",
            "on_compare_b",
            "on_wrap",
            "on_converter_done",
            "on_comparator_edge",
        )
    ),
    "say.h": dedent("""\
        #include "drive_port.h"
        /* Tell the test a number, as two marks. */
        static inline void say(uint16_t number)
        {
            port_mark((uint8_t)(number >> 8));
            port_mark((uint8_t)number);
        }
        #define SLEEP_FOREVER for (;;) { port_interrupts_off(); port_idle(); }
    """),
}
"""Beside every firmware of a test: handlers that do nothing unless it has its own, and `say`."""


@dataclass
class Bench:
    """The bow thruster's drive, to try small firmwares on. `text` is the whole of main.c."""

    folder: Path
    drive: Drive
    sources: dict[str, str] = field(default_factory=dict)

    def image(self, text: str, *, compiler: Compiler | None = None, **more: str) -> Image:
        """Build main.c; `more` are further files, a dot in a name written as two underscores."""
        names = {name.replace("__", "."): dedent(body) for name, body in more.items()}
        self.sources = {**PARTS, "main.c": dedent(text).lstrip("\n"), **names}
        self.folder.mkdir(parents=True, exist_ok=True)
        for name, body in self.sources.items():
            (self.folder / name).write_text(body)
        return build_image(self.drive, self.folder, compiler=compiler)

    def rig(self, text: str, *, compiler: Compiler | None = None) -> Rig:
        """Build main.c and put it on the rig."""
        return Rig(self.image(text, compiler=compiler), self.drive)

    def run(self, text: str, end_s: float = 0.1, block_cycles: int = 0, **changes: Any) -> Recording:
        """Build and run main.c from power-on to `end_s`; `changes` are keys of the scenario."""
        return self.rig(text).run(scenario(end_s, **changes), block_cycles=block_cycles)

    def place(self, marker: str) -> str:
        """ "main.c:7" of the line that holds `marker`."""
        lines = self.sources["main.c"].splitlines()
        return f"main.c:{1 + next(k for k, line in enumerate(lines) if marker in line)}"


def scenario(end_s: float = 0.1, **changes: Any) -> Scenario:
    """Nothing happens: rotor at rest at 210 degrees, no throttle pulse."""
    values: Mapping[str, Any] = {"seed": 7, "rest_deg": 210.0, "frame_ms": 20.0, "throttle_us": ((0.0, 0.0),)}
    return Scenario(**{**values, "end_s": end_s, **changes})


class Told:
    """What a firmware has said in a recording: marks, as (cycle, value)."""

    def __init__(self, recording: Recording) -> None:
        cycles, values, _ = recording.of(Signal.MARK)
        self.marks = [(int(c), int(v)) for c, v in zip(cycles, values, strict=True)][1:]

    @property
    def numbers(self) -> list[int]:
        """All marks in pairs, as `say` sends them."""
        values = [value for _, value in self.marks]
        return [high << 8 | low for high, low in zip(values[::2], values[1::2], strict=True)]

    def cycle_of(self, mark: int) -> int:
        """Cycle of the first mark of that value."""
        return next(cycle for cycle, value in self.marks if value == mark)

    def numbers_after(self, mark: int) -> list[int]:
        """What `say` has sent after the first mark of that value."""
        values = [value for _, value in self.marks]
        values = values[values.index(mark) + 1 :]
        return [high << 8 | low for high, low in zip(values[::2], values[1::2], strict=True)]
