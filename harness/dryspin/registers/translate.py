"""C and C++ sources as the host's compiler is to see them: instructions named in assembly become calls.

Line numbers stay. What is left alone: comments, texts, and everything that is no inline assembly and no
attribute of the part's own compiler.
"""

import re
from dataclasses import dataclass

from dryspin.errors import BuildError

_WORDS = re.compile(
    r"""//[^\n]*|/\*.*?\*/|"(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*'|\b(?:asm|__asm|__asm__|__attribute__)\b""",
    re.DOTALL,
)
_ATTRIBUTES = re.compile(r"\b(?:__)?(?:signal|interrupt|OS_main|OS_task|naked|progmem|no_gccisr)(?:__)?\b")
_VOLATILE = re.compile(r"\s*(?:volatile|__volatile__|__volatile)\b")
_TEXT = re.compile(r'"((?:\\.|[^"\\\n])*)"')
_BIT = re.compile(r"^(sbi|cbi)\s+%0\s*,\s*%(\d)$")
_ADDRESS = re.compile(r"^_SFR_IO_ADDR\s*\((.*)\)$", re.DOTALL)

CALLS = {name: f"dryspin_{name}();" for name in ("nop", "cli", "sei", "sleep", "wdr")}
"""Instructions that inline assembly may name, besides sbi and cbi."""


@dataclass(frozen=True)
class _Piece:
    """A balanced (...) in a text: where it begins and ends, its inside."""

    start: int
    end: int
    inside: str


def translated(name: str, text: str) -> str:
    """The text of source or header `name` for the host.

    Raises BuildError, with file and line, for assembly that has no meaning here.
    """
    out: list[str] = []
    at = 0
    for found in _WORDS.finditer(text):
        if found.start() < at or not (found[0][0].isalpha() or found[0][0] == "_"):
            continue
        if found[0] == "__attribute__":
            piece = _balanced(text, found.end())
            if piece is not None:
                out += [text[at : piece.start], f"({_ATTRIBUTES.sub('', piece.inside)})"]
                at = piece.end
            continue
        volatile = _VOLATILE.match(text, found.end())
        piece = _balanced(text, volatile.end() if volatile else found.end())
        if piece is None:
            continue
        statement = _statement(piece.inside, f"{name}:{text.count(chr(10), 0, found.start()) + 1}")
        if statement is None:
            continue
        old = text[found.start() : piece.end]
        line_end = "\\\n" if "\\\n" in old else "\n"
        out += [text[at : found.start()], statement + line_end * old.count("\n")]
        at = piece.end
    out.append(text[at:])
    return "".join(out)


def _balanced(text: str, at: int) -> _Piece | None:
    start = at
    while start < len(text) and text[start].isspace():
        start += 1
    if start >= len(text) or text[start] != "(":
        return None
    depth = 0
    for found in re.finditer(r'"(?:\\.|[^"\\\n])*"|[()]', text[start:]):
        depth += {"(": 1, ")": -1}.get(found[0], 0)
        if depth == 0:
            end = start + found.end()
            return _Piece(start, end, text[start + 1 : end - 1])
    return None


def _split(text: str, sign: str) -> list[str]:
    """Split at a sign outside parentheses and texts."""
    parts, depth = [""], 0
    for found in re.finditer(r'"(?:\\.|[^"\\\n])*"|.', text, re.DOTALL):
        depth += {"(": 1, ")": -1}.get(found[0], 0)
        if found[0] == sign and depth == 0:
            parts.append("")
        else:
            parts[-1] += found[0]
    return parts


def _statement(inside: str, place: str) -> str | None:
    """What an asm(...) becomes; None where it stays (a label, or a barrier without instructions)."""
    fields = _split(inside, ":")
    if not _TEXT.match(fields[0].strip()):
        return None  # a label built by a macro
    template = "".join(_TEXT.findall(fields[0])).replace("\\n", "\n").replace("\\t", " ")
    lines = [line.strip() for line in re.split(r"[\n;]", template) if line.strip()]
    if not lines or (len(fields) == 1 and re.fullmatch(r"[A-Za-z_]\w*", lines[0]) and lines[0] not in CALLS):
        return None
    operands = [part for field in fields[1:3] for part in _split(field, ",") if part.strip()]
    calls = []
    for line in lines:
        if (call := CALLS.get(line) or _bit_access(line, operands)) is None:
            raise BuildError(
                f'{place}: inline assembly "{line}" is not run on this machine. The rig knows '
                f"{', '.join(CALLS)}, sbi and cbi; write the rest in C, or leave it out by #ifdef."
            )
        calls.append(call)
    return f"do {{ {' '.join(calls)} }} while (0)"


def _bit_access(line: str, operands: list[str]) -> str | None:
    """`sbi %0, %1` on operands `"I"(_SFR_IO_ADDR(REG))`, `"I"(BIT)` as a change in place."""
    if (found := _BIT.match(line)) is None or int(found[2]) >= len(operands):
        return None
    values = [piece.inside.strip() for text in operands if (piece := _balanced(text, text.find("(")))]
    if len(values) != len(operands) or (address := _ADDRESS.match(values[0])) is None:
        return None
    register, bit = address[1].strip(), values[int(found[2])]
    if found[1] == "sbi":
        return f"{register} = (uint8_t)({register} | (1U << ({bit})));"
    return f"{register} = (uint8_t)({register} & ~(1U << ({bit})));"
