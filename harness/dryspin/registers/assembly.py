"""The compiler's assembly, changed so that the part sees every block and no loop is without one."""

import re

_BLOCK = re.compile(r"\b__sanitizer_cov_trace_pc\b")

_EMPTY_LOOP = re.compile(
    r"^(?P<label>\.L\w+):[^\n]*\n"
    r"(?P<between>(?:\s*\.(?:loc|p2align|cfi)[^\n]*\n|\s*#[^\n]*\n|\.L\w+:[^\n]*\n|\s*nop\n)*)"
    r"(?:\s*callq?\s+dryspin_block[^\n]*\n(?:\s*\.loc[^\n]*\n|\s*#[^\n]*\n|\.L\w+:[^\n]*\n)*)?"
    r"\s*jmp\s+(?P=label)\b[^\n]*\n",
    re.MULTILINE,
)
"""A loop without a body, `for (;;) {}`: gcc leaves it without its hook, and a hook would be all it has."""


_HOOK = re.compile(r"^\s*callq?\s+__sanitizer_cov_trace_pc\b")
_HANDLER = re.compile(r"^\s*callq?\s+__(?:ubsan|narrow)_handle_")
_LABEL = re.compile(r"^(\.L(?:\d+|BB\d+_\d+)):")
"""Labels that are jumped to, in gcc's and in clang's text; others are for the debugger."""

_JUMP = re.compile(r"^\s*j(\w+)\s+(\.L\w+)\b")


def free_of_checks(text: str) -> str:
    """Assembly in which the blocks that the sanitizer has split off cost no time.

    A check makes two blocks of one: its handler's, and what follows the check. They get a hook of their own,
    or a sequence that the part gives four cycles would be late in the checked build alone.
    """
    lines = text.split("\n")
    at = {found[1]: k for k, line in enumerate(lines) if (found := _LABEL.match(line))}
    free: set[int] = set()
    for k, line in enumerate(lines):
        if _HANDLER.match(line):
            free |= {*_hook_before(lines, k), *_hook_after(lines, k, at)}
    for k in free:
        lines[k] = _BLOCK.sub("dryspin_check", lines[k])
    return "\n".join(lines)


def _hook_before(lines: list[str], k: int) -> list[int]:
    """The hook of the block that calls a handler in line `k`."""
    while (k := k - 1) >= 0 and not _LABEL.match(lines[k]) and not _JUMP.match(lines[k]):
        if _HOOK.match(lines[k]):
            return [k]
    return []


def _hook_after(lines: list[str], k: int, at: dict[str, int]) -> list[int]:
    """The hook of the block that goes on after that call."""
    jumped = entered = False
    while (k := k + 1) < len(lines):
        if _HOOK.match(lines[k]):
            return [k]
        if found := _JUMP.match(lines[k]):
            if found[1] != "mp" or jumped or entered or found[2] not in at:
                return []
            k, jumped = at[found[2]], True
        elif _LABEL.match(lines[k]):
            entered = True
        elif _HANDLER.match(lines[k]) or lines[k].lstrip().startswith(("ret", "ud2")):
            return []
    return []


def hooked(text: str) -> str:
    """Assembly of one source with the part's block hook, also in loops that do nothing."""
    text = _BLOCK.sub("dryspin_block", text)
    return _EMPTY_LOOP.sub(r"\g<label>:\n\g<between>\tcall\tdryspin_endless@PLT\n\tjmp\t\g<label>\n", text)
