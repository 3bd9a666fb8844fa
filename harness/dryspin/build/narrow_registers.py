"""Firmware written for registers with the part's integer widths, and its twin with the host's.

Time passes by the block there, so both must have the same blocks, or nothing could be compared: one front
end, set to the part or to this machine, makes both, and no pass that knows how wide a number is comes after
it. Sources go through the intermediate representation, as in narrow.py, and get their hooks behind it.
"""

import re
from collections.abc import Sequence
from pathlib import Path

from dryspin.build import flags
from dryspin.build.announced import announced
from dryspin.build.narrow import for_host, without_processor
from dryspin.build.toolchain import Compiler
from dryspin.errors import BuildError
from dryspin.registers.needs import PURE, WIDTHLESS

_PART = ("--target=avr", "-U__AVR_ARCH__")
_MEANING = (
    "-w",  # the ordinary build has warned
    "-gdwarf-4",
    "-fno-strict-aliasing",
    *flags.PART_MACROS,
    "-fsanitize=signed-integer-overflow,shift,integer-divide-by-zero",
    *("-O1", "-Xclang", "-disable-llvm-passes"),  # at -O0 functions would refuse to be instrumented
    *("-S", "-emit-llvm"),
)

_BACK = (
    *("-x", "ir", "-S", "-O0", "-w", "-fPIC", "-fno-omit-frame-pointer", "-ffp-contract=off"),
    "-fsanitize=thread",
    *flags.CLANG_REGISTERS,
    *("-mllvm", "-tsan-distinguish-volatile"),
)

KEY = "narrow registers 2"
"""Part of an image's key besides the flags: count it up when the text below changes."""

_OTHER_WIDTHS = re.compile(rf"^declare [^\n]*@({'|'.join(sorted(PURE - WIDTHLESS))})\(", re.MULTILINE)
_FUNCTIONS = re.compile(r"^(attributes #\d+ = \{)", re.MULTILINE)


def front_flags(compiler: Compiler) -> tuple[str, ...]:
    """What decides the meaning of a source, language and folders apart."""
    return (*(_PART if compiler.narrow else ()), *_MEANING)


def key_of(compiler: Compiler) -> tuple[str, ...]:
    """What an image depends on besides sources and options; nothing of an ordinary build."""
    return (KEY, compiler.version, *_BACK) if compiler.same_blocks else ()


def assembly_of(compiler: Compiler, options: Sequence[str], name: str, stage: Path, target: Path) -> str:
    """Assembly of one source, its accesses and blocks announced, in `target`; what failed, else "".

    options: those of the front end. Raises BuildError as `for_host`, and for functions of the C library
    that take an int, a size or a double.
    """
    text = target.with_suffix(".ll")
    done = compiler.run([*options, name, "-o", str(text)], stage)
    if done.returncode != 0:
        return done.stderr or "clang failed"
    raw = text.read_text(encoding="utf-8")
    if compiler.narrow and (called := _OTHER_WIDTHS.search(raw)):
        raise BuildError(
            f"{name}: calls {called[1]}(), which the host's C library defines for its own widths, so this "
            "cannot be run with the part's integers. Write it yourself to have it looked at"
        )
    raw = for_host(name, raw) if compiler.narrow else without_processor(raw)
    # with frames: an access in a function that comes with the rig is told at its caller's line
    raw = _FUNCTIONS.sub(r'\1 sanitize_thread "frame-pointer"="all"', raw)
    text.write_text(announced(raw), encoding="utf-8")
    done = compiler.run([*_BACK, str(text), "-o", str(target)], stage)
    text.unlink()
    return "" if done.returncode == 0 else done.stderr or "clang failed"
