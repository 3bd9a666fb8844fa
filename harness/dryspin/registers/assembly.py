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


def hooked(text: str) -> str:
    """Assembly of one source with the part's block hook, also in loops that do nothing."""
    text = _BLOCK.sub("dryspin_block", text)
    return _EMPTY_LOOP.sub(r"\g<label>:\n\g<between>\tcall\tdryspin_endless@PLT\n\tjmp\t\g<label>\n", text)
