"""The firmware with the part's integer widths, on this machine: int of 16 bits, double of 32.

clang's front end for the part turns C into its intermediate representation, in which all widths of the
part are decided; its back end for this machine makes code of that. Between the two stand a few lines that
name the part: they are taken out, and structs are packed, as the part packs them. Addresses become the
host's, so code that measures them, as sizeof of a pointer, is refused.
"""

import re
import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path

from dryspin.build import flags
from dryspin.build.addresses import refuse_copied_addresses
from dryspin.build.toolchain import Compiler, compiler_of

INSTALL = "apt-get install clang"

FRONT = (
    "--target=avr",
    *flags.LANGUAGE,
    "-ffreestanding",  # the compiler's own headers suffice
    "-w",  # the ordinary build has warned
    "-gdwarf-4",
    "-fno-strict-aliasing",
    "-Dmain=fw_main",
    "-fsanitize=signed-integer-overflow,shift,integer-divide-by-zero",
    *("-O1", "-Xclang", "-disable-llvm-passes"),  # -O0 would forbid the back end to optimise
    *("-S", "-emit-llvm"),
)

BACK = (
    *("-x", "ir", "-c", "-O1", "-w", "-fPIC", "-fno-omit-frame-pointer", "-ffp-contract=off"),
    *flags.CLANG_FIRMWARE,
)

KEY = "narrow 3"
"""Part of an image's key besides the flags: count it up when the text below changes."""

_TARGET = re.compile(r"^target (datalayout|triple) = .*$", re.MULTILINE)
_ATTRIBUTES = re.compile(r' "(?:target-cpu|target-features|tune-cpu|frame-pointer)"="[^"]*"')
_RETURNED = re.compile(r"\b(?:zeroext|signext) (?=i\d+ @port_)")
"""The core may be another compiler's, which need not widen what it returns."""

_HANDLER = re.compile(r"@__ubsan_handle_")
_STRINGS = re.compile(r'(c"[^"]*")')


@cache
def narrow_compiler() -> Compiler | None:
    """clang, set to build with the part's integers; None where it is not installed."""
    if shutil.which("clang") is None:
        return None
    found = compiler_of(("clang",))
    return replace(found, narrow=True) if found and found.is_clang else None


def compile_narrow(compiler: Compiler, options: tuple[str, ...], name: str, stage: Path, target: Path) -> str:
    """Compile one source with the part's widths; what the compiler said, if it failed, else "".

    Raises BuildError as `for_host`.
    """
    text = target.with_suffix(".ll")
    done = compiler.run([*FRONT, *options, name, "-o", str(text)], stage)
    if done.returncode != 0:
        return done.stderr or "clang failed"
    text.write_text(for_host(name, text.read_text(encoding="utf-8")), encoding="utf-8")
    done = compiler.run([*BACK, str(text), "-o", str(target)], stage)
    text.unlink()
    return "" if done.returncode == 0 else done.stderr or "clang failed"


def for_host(name: str, text: str) -> str:
    """Intermediate representation of source `name` for the part as one for this machine.

    Raises BuildError for code whose meaning depends on the size of an address.
    """
    refuse_copied_addresses(text, name)
    text = _TARGET.sub("", without_processor(text)).replace("addrspacecast", "bitcast")
    text = text.replace("addrspace(1) ", "").replace(" addrspace(1)", "")
    # a name that may be nowhere has no place at a fixed distance in a shared library
    text = text.replace(" extern_weak dso_local ", " extern_weak ")
    text = _RETURNED.sub("", text)
    text = _HANDLER.sub("@__narrow_handle_", text)
    text = re.sub(r"dwarfAddressSpace: \d+, |, dwarfAddressSpace: \d+", "", text)
    return "\n".join(_packed(line) if _has_struct(line) else line for line in text.splitlines())


def without_processor(text: str) -> str:
    """The same without what names a processor: the back end takes its own."""
    return _ATTRIBUTES.sub("", text)


def _has_struct(line: str) -> bool:
    """Types and variables; what has but a number is the sanitizer's own, and has no gaps."""
    return bool(re.match(r"@[^\d\s]", line)) or (line.startswith("%") and " = type {" in line)


def _packed(line: str) -> str:
    """Structs without gaps, outside string constants and what is said for the debugger."""
    parts = _STRINGS.split(line)
    for k in range(0, len(parts), 2):
        parts[k] = parts[k].replace("{", "<{").replace("}", "}>")
    return "".join(parts)
