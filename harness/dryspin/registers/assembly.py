"""The compiler's assembly, changed so that the part sees every block and no loop is without one."""

import re

_BLOCK = re.compile(r"\b__sanitizer_cov_trace_pc\b")

_EMPTY_LOOP = re.compile(
    r"^(?P<label>\.L\w+):\n(?P<between>(?:\s*\.loc[^\n]*\n|\.L\w+:\n|\s*nop\n|\s*\.p2align[^\n]*\n)*)"
    r"\s*jmp\s+(?P=label)\n",
    re.MULTILINE,
)
"""gcc leaves a loop without a body, `for (;;) {}`, without its hook."""


def hooked(text: str) -> str:
    """Assembly of one source with the part's block hook, also in loops that do nothing."""
    text = _BLOCK.sub("dryspin_block", text)
    return _EMPTY_LOOP.sub(r"\g<label>:\n\g<between>\tcall\tdryspin_endless@PLT\n\tjmp\t\g<label>\n", text)
