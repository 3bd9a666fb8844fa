"""Which pins a source writes: by stores to port and direction registers, and by the functions of sketches."""

import re
from dataclasses import dataclass, field

from dryspin.registers.constants import Constants

_STORE = re.compile(r"\b(\w+)\s*(\|=|&=|\^=|=)(?!=)\s*([^;]+?)\s*(?:;|\n[ \t]*\n|$)")
_BIT_CALL = re.compile(r"\b\w+\s*\(\s*(\w+)\s*,\s*([^;]*?)\)\s*[;}]")
_PIN_CALLS = ("pinMode", "digitalWrite", "analogWrite", "digitalRead", "pulseIn", "digitalPinToInterrupt")
_NAME = re.compile(r"\b[A-Za-z_]\w*\b")
_SHIFT = r"\b(?:{shifting})\s*\(\s*{name}\b|<<\s*\(?\s*{name}\b|\bbitSet\s*\([^,()]*,\s*{name}\b"

INPUTS = frozenset(("PINB", "PINC", "PIND"))


def board_pin(name: str) -> str:
    """Pin of a board's number, "9" or "A0"; "" where it has none."""
    if name.startswith("A"):
        name = str(14 + int(name[1:]))
    number = int(name)
    if number > 19:
        return ""
    return f"PD{number}" if number < 8 else f"PB{number - 8}" if number < 14 else f"PC{number - 14}"


@dataclass
class Written:
    """What is written to the ports.

    outputs  pins made outputs or set, in the order of the text
    switches  names of macros whose text sets pins, such as AH_ON, with what is stored
    """

    constants: Constants
    text: str
    sketch: bool
    outputs: tuple[str, ...] = ()
    switches: dict[str, tuple[str, str]] = field(default_factory=dict)
    _ports_of: dict[str, set[str]] = field(default_factory=dict)

    @classmethod
    def of(cls, text: str, constants: Constants, sketch: bool) -> "Written":
        """Of a source without its comments; `sketch`: pins are also counted as boards do."""
        found = cls(constants, text, sketch)
        pins: list[str] = []
        for register, operator, value in _stores(text):
            port = constants.port(register)
            if not port or port in INPUTS:
                continue
            for name in constants.names_in(value):
                found._ports_of.setdefault(name, set()).add(port[-1])
            if port.startswith("DDR") or operator == "|=":
                pins += found._bits(port[-1], value)
        for name, body in constants.texts.items():
            store = re.fullmatch(r"\(?\s*(\w+)\s*\|=\s*(.+?)\s*\)?\s*;?", body)
            if store and (port := constants.port(store[1])).startswith("PORT"):
                found.switches[name] = (port[-1], store[2].replace(";", ""))
                pins += found._bits(port[-1], store[2])
        if sketch:
            for name in re.findall(r"\bpinMode\s*\(\s*(\w+)(?:\s*\[[^\]]*\])?\s*,\s*OUTPUT\s*\)", text):
                for entry in constants.lists.get(name, (name,)):
                    pins += sorted(found.pins_of_entry(name, entry))
        found.outputs = tuple(dict.fromkeys(pins))
        return found

    def board(self, name: str) -> str:
        """Pin of a number or a name of one, as boards count; "" for none or where no sketch functions are."""
        value = self.constants.value(name) if not re.fullmatch(r"A\d", name) else 14 + int(name[1])
        return board_pin(str(value)) if self.sketch and value is not None and value >= 0 else ""

    def pins_of(self, name: str) -> frozenset[str]:
        """The pins a name stands for; none where the source does not tell the port."""
        if name in self.switches:
            port, value = self.switches[name]
            return frozenset(self._bits(port, value))
        return self.pins_of_entry(name, name)

    def pins_of_entry(self, name: str, entry: str) -> frozenset[str]:
        """The same for an entry of a list, used as the list is."""
        if named := self.constants.pins_in(entry):
            return named
        value = self.constants.value(entry)
        if value is None:
            return frozenset()
        if self.sketch and self._is_counted_by_board(name):
            pin = self.board(entry)
            return frozenset((pin,)) if pin else frozenset()
        ports = self._ports_of.get(name, set()) | self._ports_beside(name)
        if len(ports) != 1:
            return frozenset()
        port = next(iter(ports))
        if self._is_shifted(name):
            return frozenset((f"P{port}{value}",)) if 0 <= value <= 7 else frozenset()
        return (
            frozenset(f"P{port}{k}" for k in range(8) if value >> k & 1) if 0 < value <= 255 else frozenset()
        )

    def _bits(self, port: str, value: str) -> list[str]:
        """Pins of one port that an expression names or comes to."""
        number = self.constants.value(value)
        if number is not None:
            return [f"P{port}{k}" for k in range(8) if number >> k & 1] if 0 <= number <= 255 else []
        pins = [pin for pin in sorted(self.constants.pins_in(value)) if pin[1] == port]
        for name in _NAME.findall(value):
            for entry in self.constants.lists.get(name, ()):
                pins += [pin for pin in sorted(self.pins_of_entry(name, entry)) if pin[1] == port]
        return pins

    def _ports_beside(self, name: str) -> set[str]:
        """Ports given beside the name in a call, as in set(PORTD, AH)."""
        found = set()
        for register, value in _BIT_CALL.findall(self.text):
            port = self.constants.port(register)
            if port and re.search(rf"\b{re.escape(name)}\b", value):
                found.add(port[-1])
        return found

    def _is_shifted(self, name: str) -> bool:
        """Whether the name is a number of a bit and no mask."""
        own = [
            macro
            for macro, (given, body) in self.constants.functions.items()
            if len(given) == 1
            and re.search(rf"<<\s*\(?\s*{given[0]}\b|\b(?:_BV|bit)\s*\(\s*{given[0]}\b", body)
        ]
        pattern = _SHIFT.format(name=re.escape(name), shifting="|".join(("_BV", "bit", "BIT", *own)))
        return bool(re.search(pattern, self.text) or self._ports_beside(name))

    def _is_counted_by_board(self, name: str) -> bool:
        calls = "|".join(_PIN_CALLS)
        return bool(re.search(rf"\b(?:{calls})\s*\(\s*{re.escape(name)}\b", self.text))


def _stores(text: str) -> list[tuple[str, str, str]]:
    """(register, operator, value) of every assignment outside macros."""
    plain = re.sub(r"^[ \t]*#[^\n]*", "", text.replace("\\\n", " "), flags=re.MULTILINE)
    return [(found[1], found[2], found[3]) for found in _STORE.finditer(plain)]
