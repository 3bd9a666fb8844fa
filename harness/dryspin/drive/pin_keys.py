"""Keys of `[pins]`: pins by name, and tables of them."""

from collections.abc import Mapping
from dataclasses import dataclass

from dryspin.drive.document import suggestion
from dryspin.drive.keys import Key, MismatchError, Number, Text, toml_text
from dryspin.drive.pins import CONVERTER_PINS, MARK_PINS_MAX, MARKS, NEUTRAL_PIN, PINS, REGISTERS, SENSE_PINS


@dataclass(frozen=True, kw_only=True)
class Pin(Key):
    """One pin; with `may_be_empty`, or none."""

    may_be_empty: bool = False
    choices: tuple[str, ...] = PINS

    def take(self, raw: object) -> str:
        """The pin's name."""
        if raw == "" and self.may_be_empty:
            return ""
        return _pin(raw, self.choices)


@dataclass(frozen=True, kw_only=True)
class ThreePins(Key):
    """A pin for each of U, V, W."""

    choices: tuple[str, ...] = PINS

    def take(self, raw: object) -> tuple[str, ...]:
        """Three names."""
        if not isinstance(raw, list | tuple) or len(raw) != 3:
            raise MismatchError("is no list of three pins, for U, V and W")
        return tuple(_pin(item, self.choices) for item in raw)


@dataclass(frozen=True, kw_only=True)
class Levels(Key):
    """A table of pins with 0 or 1."""

    def take(self, raw: object) -> dict[str, int]:
        """Pin to level."""
        if not isinstance(raw, Mapping):
            raise MismatchError("is no table of pins with 0 or 1")
        taken = {}
        for pin, level in raw.items():
            if isinstance(level, bool) or level not in (0, 1):
                raise MismatchError(f"gives {pin} the level {toml_text(level)}, which is neither 0 nor 1")
            taken[_pin(pin, PINS)] = int(level)
        return taken


@dataclass(frozen=True, kw_only=True)
class PinMarks(Key):
    """A table of pins with what they say while low and while high."""

    def take(self, raw: object) -> dict[str, tuple[int, int]]:
        """Pin to the numbers of its marks, low then high."""
        if not isinstance(raw, Mapping):
            raise MismatchError("is no table of pins with [state while low, state while high]")
        if len(raw) > MARK_PINS_MAX:
            raise MismatchError(f"names {len(raw)} pins; at most {MARK_PINS_MAX} can be marks")
        taken = {}
        for pin, states in raw.items():
            if not isinstance(states, list | tuple) or len(states) != 2:
                raise MismatchError(
                    f"gives {pin} {toml_text(states)}, not [state while low, state while high]"
                )
            for state in states:
                if state not in MARKS:
                    hint = suggestion(str(state), MARKS, "state").removesuffix(".")
                    raise MismatchError(
                        f"gives {pin} the state {toml_text(state)}, which is not known. {hint}"
                    )
            taken[_pin(pin, PINS)] = (MARKS.index(states[0]), MARKS.index(states[1]))
        return taken


def _pin(raw: object, choices: tuple[str, ...]) -> str:
    if not isinstance(raw, str) or raw not in choices:
        what = "a pin of the part" if choices == PINS else "a pin that can do this"
        listed = "PB0 to PB7, PC0 to PC6, PD0 to PD7" if choices == PINS else ", ".join(choices)
        raise MismatchError(f"holds {toml_text(raw)}, which is not {what}: {listed}")
    return raw


_ACTIVE = ("high", "low")

KEYS: tuple[Key, ...] = (
    ThreePins(name="high", meaning="the pins of the high FETs of U, V, W"),
    ThreePins(name="low", meaning="the pins of the low FETs of U, V, W"),
    Text(name="high_active", choices=_ACTIVE, default="high",
         meaning="the level that turns a high FET on, \"high\" or \"low\"",
         reason="gate drivers of six inputs turn on with a high level; common practice, no source"),
    Text(name="low_active", choices=_ACTIVE, default="high",
         meaning="the level that turns a low FET on, \"high\" or \"low\"", reason="the same"),
    Number(name="shifter_on_ns", unit="ns", at_least=0.0, at_most=1e5, default=0.0,
           meaning="the time from pin to FET when it is turned on",
           reason="a driver's tens of ns are less than a cycle"),
    Number(name="shifter_off_ns", unit="ns", at_least=0.0, at_most=1e5, default=0.0,
           meaning="the time from pin to FET when it is turned off", reason="the same"),
    ThreePins(name="phases", choices=SENSE_PINS,
              meaning="the pins of the phases U, V, W behind their dividers (ADC0 to ADC5, or AIN1 = PD7)"),
    Pin(name="neutral", choices=(NEUTRAL_PIN,), default=NEUTRAL_PIN,
        meaning="the pin of the resistor-made neutral",
        reason="the comparator's plus input is AIN0 = PD6 for good; data sheet, section on the comparator"),
    Pin(name="bus", choices=CONVERTER_PINS, may_be_empty=True, default="",
        meaning="the pin of the bus voltage behind a divider like the phases'", reason="none is measured"),
    Pin(name="throttle", may_be_empty=True, default="",
        meaning="the pin of the throttle pulses", reason="the firmware listens to none"),
    Levels(name="steady", default={}, meaning="inputs that never change, as {PD7 = 0}",
           reason="an input wired to nothing reads as its pull-up says"),
    PinMarks(name="marks", default={},
             meaning="pins whose level says what the firmware is doing, as {PB5 = [\"off\", \"run\"]}",
             reason="the firmware shows nothing"),
    Text(name="mark_register", choices=REGISTERS, may_be_empty=True, default="",
         meaning="a register in which the firmware writes the numbers of PORT_MARK_ of drive_port.h",
         reason="the firmware writes none"),
)  # fmt: skip
