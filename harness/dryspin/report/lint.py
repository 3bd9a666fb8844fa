"""What was found without running the firmware, as text and as plain data."""

from typing import Any

from dryspin.lint import Looked
from dryspin.lint.stack import VECTOR_BYTES


def lint_lines(looked: Looked) -> list[str]:
    """Warnings, then the part's memory, then what was left out."""
    lines = [f"fault  warning: {warned.line}: {warned.text}" for warned in looked.warnings]
    if looked.compiler:
        count = len(looked.warnings)
        lines.append(f"{count or 'no'} warning{'' if count == 1 else 's'} of {looked.compiler}")
    if (stack := looked.stack) is not None:
        verdict = "held" if stack.fits else "fault"
        lines.append(
            f"{verdict}  memory: {stack.variables} bytes of variables and {stack.stack} of stack at most, "
            f"of {stack.ram} bytes"
        )
        for name, (size, chain) in stack.deepest.items():
            more = "" if name == "main" else f" and {VECTOR_BYTES} of its vector"
            lines.append(f"   {name}: {size} bytes{more}: {' -> '.join(chain)}")
        if stack.unknown:
            lines.append(f"   at least, for {stack.unknown}")
    if looked.left_out:
        lines.append(f"not looked at: {looked.left_out}")
    return lines


def lint_json(looked: Looked) -> dict[str, Any]:
    """The same as plain data."""
    stack = looked.stack
    return {
        "schema": 1,
        "compiler": looked.compiler or None,
        "warnings": [{"line": warned.line, "text": warned.text} for warned in looked.warnings],
        "memory": None
        if stack is None
        else {
            "variable_bytes": stack.variables,
            "stack_bytes": stack.stack,
            "ram_bytes": stack.ram,
            "fits": stack.fits,
            "deepest": {
                name: {"bytes": size, "chain": list(chain)} for name, (size, chain) in stack.deepest.items()
            },
            "unknown": stack.unknown or None,
        },
        "left_out": looked.left_out or None,
    }
