"""Names of a source that stand for numbers, bits and pins, and what constant expressions of them come to.

By its text alone: macros, enumerations, constants, lists of them. What is computed at run time has no value.
"""

import ast
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

_MACRO = re.compile(r"^[ \t]*#[ \t]*define[ \t]+(\w+)(\(([^)]*)\))?[ \t]+([^\n]+)", re.MULTILINE)
_CONSTANT = re.compile(
    r"\b(?:const|constexpr)\b[^;{}()\[\]=]*?\b(\w+)[ \t]*=[ \t]*([^;{}]+);|"
    r"\b(?:const|constexpr)\b[^;{}()\[\]=]*?\b(\w+)[ \t]*\{[ \t]*([\w ]+)[ \t]*\};"
)
_VARIABLE = re.compile(r"\b(?:int|byte|char|u?int8_t|u?int16_t)[ \t]+(\w+)[ \t]*=[ \t]*([\w \t()<|+*-]+);")
_CHANGE = re.compile(r"\b(\w+)\s*(?:(?:[-+*/%|&^]|<<|>>)?=(?!=)|\+\+|--)|(?:\+\+|--)\s*(\w+)\b")
_ENUMERATION = re.compile(r"\benum\b[^;{}()]*\{([^{}]*)\}")
_LIST = re.compile(
    r"\b(\w+)\s*(?:\[[^\]]*\]\s*)+(?:PROGMEM\s*)?=\s*\{((?:[^{};]|\{(?:[^{};]|\{[^{};]*\})*\})*)\}"
)
_NAME = re.compile(r"\b[A-Za-z_]\w*\b")
_PIN = re.compile(r"^(?:P|DD|PIN|PORT|DDR)([BCD])([0-7])$")
_ANALOG = re.compile(r"^A([0-7])$")
_CAST = re.compile(
    r"static_cast\s*<[^<>]*>|\(\s*(?:unsigned|signed|uint8_t|uint16_t|uint32_t|int|long|char|byte|\s)+\s*\)"
)
_NUMBER_END = re.compile(r"\b(0[xX][0-9a-fA-F]+|0[bB][01]+|\d+(?:\.\d+)?(?:[eE]\d+)?)[uUlL]+\b")
_ARITHMETIC = re.compile(
    r"(?:(?:0[xX][0-9a-fA-F]+|0[bB][01]+|\d+(?:\.\d+)?(?:[eE]\d+)?)(?!\w)|<<|>>|[-+*/|&^~()\s])+"
)
_OCTAL = re.compile(r"\b0+(\d)")
_BITS = ("_BV", "bit", "BIT")

DEPTH = 12
LONGEST = 4000
"""Names within names that are followed, and letters of an expression: beyond lies no constant of a drive."""

FIRST_ANALOG = 14
"""Number of A0, as boards count their pins."""


@dataclass
class Constants:
    """Names to the text they stand for, functions of the preprocessor with their parameter, lists.

    `lists` holds all entries of nested lists, one after the other.
    """

    texts: dict[str, str] = field(default_factory=dict)
    functions: dict[str, tuple[tuple[str, ...], str]] = field(default_factory=dict)
    lists: dict[str, tuple[str, ...]] = field(default_factory=dict)
    _known: dict[str, str] = field(default_factory=dict, repr=False)

    @classmethod
    def of(cls, text: str) -> "Constants":
        """All of a source without its comments."""
        found = cls()
        text = text.replace("\\\n", " ")
        for name, call, parameters, body in _MACRO.findall(text):
            if call:
                found.functions[name] = (tuple(p.strip() for p in parameters.split(",")), body.strip())
            else:
                found.texts[name] = body.strip()
        for body in _ENUMERATION.findall(text):
            before = "-1"
            for entry in body.split(","):
                name, given, value = (part.strip() for part in entry.partition("="))
                if re.fullmatch(r"\w+", name):
                    before = value if given else f"({before}) + 1"
                    found.texts[name] = before
        for a, value, b, braced in _CONSTANT.findall(text):
            first, *others = _split(value or braced)
            found.texts[a or b] = first.strip()
            for other in others:
                name, given, value = (part.strip() for part in other.partition("="))
                if given and re.fullmatch(r"\w+", name):
                    found.texts[name] = value
        changed = Counter(before or after for after, before in _CHANGE.findall(text))
        for name, value in _VARIABLE.findall(text):
            # A variable that is given a value once, where it is defined, is as good as a constant.
            if name not in found.texts and changed[name] == 1:
                found.texts[name] = value.strip()
        for name, body in _LIST.findall(text):
            found.lists[name] = tuple(part for part in _split(body.replace("{", "").replace("}", "")) if part)
        return found

    def value(self, expression: str) -> int | None:
        """What a constant expression comes to; pins count as their bit."""
        whole = self._written_out(expression, 0)
        if not _ARITHMETIC.fullmatch(whole):
            return None
        try:
            number = _number(ast.parse(whole.strip(), mode="eval").body)
        except (SyntaxError, ValueError, ZeroDivisionError, RecursionError, OverflowError, MemoryError):
            return None
        return int(number)

    def names_in(self, expression: str) -> frozenset[str]:
        """Every name in it, and in what these stand for."""
        seen: set[str] = set()
        waiting = [expression]
        while waiting:
            for name in _NAME.findall(waiting.pop()):
                if name not in seen:
                    seen.add(name)
                    waiting += [self.texts[name]] if name in self.texts else self.lists.get(name, ())
                    waiting += [self.functions[name][1]] if name in self.functions else []
        return frozenset(seen)

    def pins_in(self, expression: str) -> frozenset[str]:
        """Pins that are named as the data sheet does, in it or in what its names stand for: "PD3"."""
        found = (_PIN.match(name) for name in self.names_in(expression))
        return frozenset(f"P{pin[1]}{pin[2]}" for pin in found if pin)

    def port(self, name: str) -> str:
        """The register a name stands for, such as "PORTD"; "" for none."""
        for _ in range(DEPTH):
            if re.fullmatch(r"(?:PORT|DDR|PIN)[BCD]", name):
                return name
            name = self.texts.get(name, "").strip("() ")
        return ""

    def _written_out(self, expression: str, depth: int) -> str:
        if depth > DEPTH or len(expression) > LONGEST:
            return "_"
        text = _CAST.sub(" ", expression)
        for name, (parameters, body) in self.functions.items():
            call = re.compile(rf"\b{re.escape(name)}\s*\(([^()]*)\)")
            while found := call.search(text):
                filled = body
                for parameter, given in zip(parameters, _split(found[1]), strict=False):
                    if parameter:
                        filled = re.sub(
                            rf"\b{re.escape(parameter)}\b", f"({given})".replace("\\", ""), filled
                        )
                if name in filled or len(filled) > LONGEST:
                    return "_"
                text = f"{text[: found.start()]}({filled}){text[found.end() :]}"
        for name in _BITS:
            text = re.sub(rf"\b{name}\s*\(", "(1 << ", text)
        text = _OCTAL.sub(r"\1", _NUMBER_END.sub(r"\1", text))
        whole = _NAME.sub(lambda found: self._one(found[0], depth), text)
        return whole if len(whole) <= LONGEST else "_"

    def _one(self, name: str, depth: int) -> str:
        if name in self.texts:
            if name not in self._known:
                self._known[name] = "_"  # for a name that leads back to itself
                self._known[name] = f"({self._written_out(self.texts[name], depth + 1)})"
            return self._known[name]
        if pin := _PIN.match(name):
            return pin[2]
        if analog := _ANALOG.match(name):
            return str(FIRST_ANALOG + int(analog[1]))
        if re.fullmatch(r"0[xXbB]\w+|\d\w*", name):
            return name
        return BITS_OF_REGISTERS.get(name, "_")


def _split(text: str) -> list[str]:
    """At commas outside parentheses."""
    parts, level, begin = [], 0, 0
    for k, letter in enumerate(text):
        level += (letter == "(") - (letter == ")")
        if letter == "," and level == 0:
            parts.append(text[begin:k].strip())
            begin = k + 1
    return [*parts, text[begin:].strip()]


def _number(node: ast.expr) -> int | float:
    """Integers as C has them, but of any width; ValueError for all else."""
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        return node.value
    if isinstance(node, ast.UnaryOp):
        inner = _number(node.operand)
        if isinstance(node.op, ast.Invert):
            return ~int(inner)
        if isinstance(node.op, ast.USub):
            return -inner
    if isinstance(node, ast.BinOp):
        a, b = _number(node.left), _number(node.right)
        if isinstance(node.op, ast.Add | ast.Sub | ast.Mult):
            return {ast.Add: a + b, ast.Sub: a - b, ast.Mult: a * b}[type(node.op)]
        if isinstance(node.op, ast.Div):
            return a / b if isinstance(a, float) or isinstance(b, float) else int(a / b)
        a, b = int(a), int(b)
        if isinstance(node.op, ast.LShift | ast.RShift) and 0 <= b <= 64:
            return a << b if isinstance(node.op, ast.LShift) else a >> b
        if isinstance(node.op, ast.BitOr | ast.BitAnd | ast.BitXor):
            return {ast.BitOr: a | b, ast.BitAnd: a & b, ast.BitXor: a ^ b}[type(node.op)]
    raise ValueError(ast.dump(node))


def _bits() -> Iterator[tuple[str, int]]:
    """Bits of the timers' control registers (data sheet, "Register Description" of each timer)."""
    for timer in range(3):
        yield from ((f"WGM{timer}0", 0), (f"WGM{timer}1", 1), (f"WGM{timer}2", 3))
        yield from ((f"COM{timer}B0", 4), (f"COM{timer}B1", 5), (f"COM{timer}A0", 6), (f"COM{timer}A1", 7))
        yield from ((f"CS{timer}{bit}", bit) for bit in range(3))
    yield from (("WGM13", 4), ("ICES1", 6), ("ICNC1", 7))


BITS_OF_REGISTERS = {name: str(bit) for name, bit in _bits()}
