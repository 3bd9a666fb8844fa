"""The compiler's first error, told so that it can be acted on."""

import re
from collections.abc import Mapping
from pathlib import Path, PurePosixPath

_ERROR = re.compile(r"^(?P<file>[^\s:][^:\n]*):(?P<line>\d+):(?:\d+:)? (?:fatal )?error: (?P<text>.*)$")

_QUOTED = re.compile(r"^\s*\d+ \|")
"""What gcc, and later versions of clang, put in front of the source line."""


def first_complaint(
    output: str, firmware_dir: Path, what: str, places: Mapping[str, Path] | None = None
) -> str:
    """One message: file, line, the compiler's words, the source line below; else the first line said.

    places: where a file named by the compiler was read, if not in `firmware_dir`.
    """
    lines = output.splitlines()
    for number, line in enumerate(lines):
        found = _ERROR.match(line)
        if not found:
            continue
        below = lines[number + 1] if number + 1 < len(lines) else ""
        source = _QUOTED.sub("", below).strip() if not _ERROR.match(below) else ""
        shown = f"\n    {source}" if source else ""
        file = str(PurePosixPath(found["file"]))
        place = f"{(places or {}).get(file, firmware_dir / file)}:{found['line']}"
        more = sum(1 for text in lines if _ERROR.match(text)) - 1
        rest = f"\n({more} more)" if more else ""
        return f"{place}: the firmware does not compile: {found['text']}{shown}{rest}"
    return f"{firmware_dir}: {what} failed: {(lines or ['no message'])[0]}"
