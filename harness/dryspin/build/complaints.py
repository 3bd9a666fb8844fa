"""The compiler's first error, told so that it can be acted on."""

import re
from pathlib import Path

_ERROR = re.compile(r"^(?P<file>[^\s:][^:\n]*):(?P<line>\d+):(?:\d+:)? (?:fatal )?error: (?P<text>.*)$")


def first_complaint(output: str, firmware_dir: Path, what: str) -> str:
    """One message: file, line, the compiler's words, the source line below; else the first line said."""
    lines = output.splitlines()
    for number, line in enumerate(lines):
        found = _ERROR.match(line)
        if not found:
            continue
        source = next((text for text in lines[number + 1 : number + 3] if re.match(r"^\s*\d+ \|", text)), "")
        shown = f"\n    {source.split('|', 1)[1].strip()}" if source else ""
        place = f"{firmware_dir / found['file']}:{found['line']}"
        more = sum(1 for text in lines if _ERROR.match(text)) - 1
        rest = f"\n({more} more)" if more else ""
        return f"{place}: the firmware does not compile: {found['text']}{shown}{rest}"
    return f"{firmware_dir}: {what} failed: {(lines or ['no message'])[0]}"
