"""A sketch, `setup` and `loop` in one file, as a C++ source: its functions announced before they are used."""

import re

from dryspin.errors import BuildError

SUFFIX = ".ino"

_COMMENT_OR_TEXT = re.compile(r"""//[^\n]*|/\*.*?\*/|"(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*'""", re.DOTALL)
_DEFINITION = re.compile(
    r"^(?P<head>(?!(?:else|return|typedef|struct|class|enum|union|namespace|using|template|ISR|SIGNAL)\b)"
    r"(?:static\s+|inline\s+|const\s+|unsigned\s+|signed\s+|long\s+)*[A-Za-z_]\w*[\s*&]+(?P<name>[A-Za-z_]\w*)"
    r"\s*\([^;{}()]*\))\s*\{",
    re.MULTILINE,
)


def is_sketch(name: str) -> bool:
    """Whether a source is a sketch, by its name."""
    return name.endswith(SUFFIX)


def sketch_source(name: str, text: str) -> str:
    """The C++ source of sketch `name`; raises BuildError where setup or loop is missing."""
    plain = _COMMENT_OR_TEXT.sub(_blanked, text)
    heads = [found for found in _DEFINITION.finditer(plain) if _depth(plain, found.start()) == 0]
    names = [found["name"] for found in heads]
    for wanted in ("setup", "loop"):
        if wanted not in names:
            raise BuildError(f"{name}: a sketch needs a function {wanted}(); this one has {_listed(names)}.")
    first = min(found.start() for found in heads)
    line = plain.count("\n", 0, first) + 1
    announced = "".join(
        f"{text[found.start('head') : found.end('head')]};\n" for found in heads if "=" not in found["head"]
    )
    return (
        f'#include "sketch.h"\n#line 1 "{name}"\n{text[:first]}\n'
        f'#line {line} "{name}"\n{_on_one_line(announced)}\n#line {line} "{name}"\n{text[first:]}'
    )


def _on_one_line(text: str) -> str:
    return " ".join(text.split())


def _listed(names: list[str]) -> str:
    return ", ".join(dict.fromkeys(names)) or "no function at all"


def _blanked(found: re.Match[str]) -> str:
    return re.sub(r"[^\n]", " ", found[0])


def _depth(text: str, at: int) -> int:
    return text.count("{", 0, at) - text.count("}", 0, at)
