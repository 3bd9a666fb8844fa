"""The two firmwares written as people write them, with faults of the C sown into copies of their text."""

from dataclasses import dataclass, replace
from pathlib import Path

from dryspin.build import Compiler, firmware_text
from dryspin.drive import Change, Drive, load_drive
from dryspin.faults import Code, Inspector
from dryspin.scenario import Scenario

EXAMPLES = Path(__file__).parents[2] / "firmware_under_test"
SKETCH, THRUSTER = "polling_sketch.ino", "thruster.cpp"


@dataclass(frozen=True)
class Seeded:
    """An example with `changes`, (before, after); a comment `FAULT kind: about; ...` ends a line at fault.

    `standing`: what the example itself is found with, (kind, about), at no line that a comment names.
    """

    example: str
    file: str
    changes: tuple[tuple[str, str], ...]
    standing: tuple[tuple[str, str], ...] = ()
    end_s: float = 1.6

    @property
    def drive(self) -> Drive:
        """The example's drive, its text changed."""
        drive = load_drive(EXAMPLES / self.example)
        changes = tuple(Change(self.file, before, after) for before, after in self.changes)
        return replace(drive, firmware=replace(drive.firmware, change=changes))

    @property
    def sown(self) -> set[tuple[str, str, str]]:
        """(kind, "file:line", about) as the comments announce."""
        lines = firmware_text(self.drive, EXAMPLES / self.example).files[self.file].decode().splitlines()
        return {
            (kind.strip(), f"{self.file}:{number}", about.strip())
            for number, line in enumerate(lines, 1)
            if "// FAULT " in line
            for kind, _, about in (part.partition(":") for part in line.split("// FAULT ")[1].split("; "))
        }

    def code(self, compiler: Compiler | None = None) -> Code:
        """What the checked build shows: the rite, then half a stick."""
        inspector = Inspector(self.drive, EXAMPLES / self.example, compiler)
        return inspector.judge(inspector.evidence([self.scenario]))

    @property
    def scenario(self) -> Scenario:
        """From 210 degrees: neutral for a second, then forward."""
        neutral_us = 1100.0 if self.file == SKETCH else 1500.0
        return Scenario(
            seed=7,
            end_s=self.end_s,
            rest_deg=210.0,
            frame_ms=20.0,
            throttle_us=((0.0, neutral_us), (1.0, neutral_us + 400.0)),
        )


def unlike(code: Code, seeded: Seeded) -> tuple[list[str], set[tuple[str, str, str]]]:
    """Faults that no comment announces, and comments that no fault answers."""
    waiting, unexpected = set(seeded.sown), []
    for fault in code.open_faults:
        about = fault.variable or fault.text
        met = {each for each in seeded.sown if each[:2] == (fault.kind, fault.place.line)}
        met = {each for each in met if about.startswith(each[2])}
        if not met and not any(
            fault.kind == kind and about.startswith(name) for kind, name in seeded.standing
        ):
            unexpected.append(f"{fault.kind}: {fault.place}: {fault.variable} {fault.text}")
        waiting -= met
    return unexpected, waiting


RACES = Seeded(
    "two_way_interrupts",
    THRUSTER,
    (
        (
            "	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)\n	{\n		w = width;\n	}\n",
            "	w = width; // FAULT torn read: width\n",
        ),
        (
            "		if (is_doing(Doing::coast)) {\n",
            "		width = NEUTRAL; // FAULT torn write: width\n		if (is_doing(Doing::coast)) {\n",
        ),
        (
            "		wdt_reset();\n		const int16_t away = demand();\n",
            "		wdt_reset();\n		neutral_pulses &= 0x3F; // FAULT lost update: neutral_pulses\n"
            "		const int16_t away = demand();\n",
        ),
    ),
    standing=(("not volatile", "duty_now"),),
)

MASKS_ONE_ONLY = Seeded(
    "two_way_interrupts",
    THRUSTER,
    (
        (
            "	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)\n	{\n		w = width;\n	}\n",
            "	TIMSK1 &= static_cast<uint8_t>(~_BV(TOIE1)); // FAULT lost update: TIMSK1\n"
            "	w = width; // FAULT torn read: width\n"
            "	TIMSK1 |= _BV(TOIE1); // FAULT lost update: TIMSK1\n",
        ),
    ),
    standing=(("not volatile", "duty_now"),),
)

TORN_SKETCH = Seeded(
    "polling_sketch",
    SKETCH,
    (
        (
            "  noInterrupts();\n  unsigned us = width_us;\n  unsigned long at = pulse_ms;\n  interrupts();\n",
            "  unsigned us = width_us; // FAULT torn read: width_us\n"
            "  unsigned long at = pulse_ms; // FAULT torn read: pulse_ms\n",
        ),
        ("volatile byte pulses;", "byte pulses;"),
        ("  if (pulses < 25) return;", "  if (pulses < 25) return; // FAULT not volatile: pulses\n"),
    ),
)

UNDEFINED = Seeded(
    "two_way_interrupts",
    THRUSTER,
    (
        ("		step = step == 5 ? 0 : step + 1;", "		step = step == 6 ? 0 : step + 1;"),
        (
            "	const uint8_t high = pgm_read_byte(&steps[s][0]), low = pgm_read_byte(&steps[s][1]);",
            "	const uint8_t high = pgm_read_byte(&steps[s][0]); // FAULT undefined: index 6\n"
            "	const uint8_t low = steps[s % 6][1];",
        ),
        ("	ADMUX = pgm_read_byte(&steps[s][2]);", "	ADMUX = steps[s % 6][2];"),
        (
            "	uint16_t size = away < 0 ? -away : away;\n",
            "	uint16_t size = away < 0 ? -away : away;\n"
            "	static volatile int32_t heat;\n"
            "	heat = 70000 * (size + 31000); // FAULT undefined: integer overflow:\n",
        ),
    ),
    standing=(("not volatile", "duty_now"),),
)

BEYOND = Seeded(
    "polling_sketch",
    SKETCH,
    (
        (
            "volatile byte pulses;",
            "volatile byte pulses;\nvolatile unsigned kept[4];\nvolatile unsigned *volatile last = kept;\n",
        ),
        (
            "  duty(ALIGN_DUTY);",
            "  last = kept + 4;\n  *last = 3; // FAULT out of bounds: kept\n  duty(ALIGN_DUTY);",
        ),
    ),
)

HANGING_HANDLER = Seeded(
    "polling_sketch",
    SKETCH,
    (
        (
            "  width_us = us;\n",
            "  width_us = us;\n  if (us > 1400)\n"
            "    while (pulses < 200) { } // FAULT hang: the firmware hangs\n",
        ),
    ),
)

HANGING_MAIN_LINE = Seeded(
    "two_way_interrupts",
    THRUSTER,
    (
        ("	wdt_enable(WDTO_120MS);", "	wdt_disable();"),
        (
            "		interval = 23000;\n",
            "		while (frames_without_pulse < 9) { } // FAULT hang: the firmware hangs\n"
            "		interval = 23000;\n",
        ),
    ),
    end_s=2.2,
    standing=(("not volatile", "duty_now"),),
)

CRASH = Seeded(
    "polling_sketch",
    SKETCH,
    (
        (
            "volatile byte pulses;",
            "volatile byte pulses;\nvoid (*volatile nobody)();\n",
        ),
        ("  duty(ALIGN_DUTY);", "  nobody(); // FAULT crash: the firmware crashed\n  duty(ALIGN_DUTY);"),
    ),
)

OVERFLOWING_STACK = Seeded(
    "two_way_interrupts",
    THRUSTER,
    (
        (
            "uint8_t duty_for(int16_t away)\n{\n",
            # in one line: the way in touches the stack first, or the call
            "uint8_t duty_for(int16_t away) { volatile uint8_t a = 0; "
            "if (away) return a + duty_for(away); // FAULT stack overflow: the firmware's\n",
        ),
    ),
    standing=(("not volatile", "duty_now"),),
)

ALL = {name: each for name, each in list(globals().items()) if isinstance(each, Seeded)}
