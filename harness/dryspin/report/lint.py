"""What was found without running the firmware, as text and as plain data."""

from typing import Any

from dryspin.lint import Looked


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
            more = "" if name == "main" or not stack.vector else f" and {stack.vector} of its vector"
            lines.append(f"   {name}: {size} bytes{more}: {' -> '.join(chain)}")
        if stack.unknown:
            lines.append(f"   at least, for {stack.unknown}")
    lines += [
        f"look  not volatile: {each.line}: {each.variable}, which {each.handler}() uses as well; "
        "dryspin check tells whether that handler can come between"
        for each in looked.unmarked
    ]
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
        "not_volatile": [
            {"line": each.line, "variable": each.variable, "handler": each.handler}
            for each in looked.unmarked
        ],
        "left_out": looked.left_out or None,
    }
