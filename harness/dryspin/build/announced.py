"""Hooks in clang's intermediate representation: before the source's branches and its writes to registers.

Branches that a check of the sanitizer has made are marked `!nosanitize`, and are none of the source's.
"""

import re

from dryspin.registers.places import HEADER_FOLDERS

_STORE = re.compile(
    r"^  store volatile (?P<kind>i8|i16) (?P<value>.+?), (?P=kind)\* (?P<at>.+), align \d+(?P<rest>.*)$"
)
_BRANCH = re.compile(r"^  (?:br i1 (?P<condition>[^,]+),|switch )")
_DEFINED = re.compile(r"(\) (?:(?:local_)?unnamed_addr )?)(#\d+)(?=.* !dbg (!\d+) \{$)")
_SUBPROGRAM = re.compile(r"^(!\d+) = distinct !DISubprogram\(.*?\bfile: (!\d+)", re.MULTILINE)
_FILE = re.compile(r"^(!\d+) = !DIFile\(filename: \"([^\"]*)\", directory: \"([^\"]*)\"", re.MULTILINE)
_KEPT_APART = re.compile(r"^attributes (#\d+) = \{ (?=.*\bnoinline\b)", re.MULTILINE)
_LINE = re.compile(r", !dbg !\d+")
_HOOKS = {"i8": "dryspin_wrote_byte", "i16": "dryspin_wrote_pair"}
_DECLARED = (
    "declare void @dryspin_branch(i8 zeroext)\n"
    "declare void @dryspin_wrote_byte(i8*, i8 zeroext)\n"
    "declare void @dryspin_wrote_pair(i16*, i16 zeroext)\n"
)


def announced(text: str) -> str:
    """The text of one source with its hooks; registers are what is written as volatile."""
    text = _opened(text)
    out: list[str] = []
    body: list[str] | None = None
    for line in text.splitlines():
        if body is None:
            out.append(line)
            if line.startswith("define "):
                body = []
        elif line == "}":
            out += [*_hooked(body), line]
            body = None
        else:
            body.append(line)
    return "\n".join([*out, _DECLARED])


def _opened(text: str) -> str:
    """Functions of the rig's own headers become part of their callers, whose line is the one to be told."""
    files = {
        key: f"{folder}/{name}" if name[:1] != "/" else name for key, name, folder in _FILE.findall(text)
    }
    own = {
        program
        for program, file in _SUBPROGRAM.findall(text)
        if files.get(file, "").startswith(HEADER_FOLDERS)
    }
    apart = set(_KEPT_APART.findall(text))

    def opened(line: str) -> str:
        found = _DEFINED.search(line)
        if not found or found[3] not in own or found[2] in apart:
            return line
        return _DEFINED.sub(r"\1alwaysinline \2", line, count=1)

    return "\n".join(opened(line) if line.startswith("define ") else line for line in text.split("\n"))


def _hooked(body: list[str]) -> list[str]:
    out: list[str] = []
    for line in body:
        if (found := _BRANCH.match(line)) and "!nosanitize" not in line:
            held = "0"
            if found["condition"]:
                held = f"%held.{len(out)}"
                out.append(f"  {held} = zext i1 {found['condition']} to i8")
            out.append(f"  call void @dryspin_branch(i8 zeroext {held}){_place(line)}")
        elif found := _STORE.match(line):
            kind = found["kind"]
            out.append(
                f"  call void @{_HOOKS[kind]}({kind}* {found['at']}, {kind} zeroext {found['value']})"
                f"{_place(found['rest'])}"
            )
        out.append(line)
    return out


def _place(line: str) -> str:
    found = _LINE.search(line)
    return found[0] if found else ""
