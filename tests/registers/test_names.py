"""Register names, addresses, bits and vectors, beside those of avr-libc for the same part."""

import re
import subprocess

import pytest

from dryspin.registers import INCLUDE

_DEFINE = re.compile(r"^#define (\w+) (.+)$", re.MULTILINE)
_OURS_ONLY = re.compile(r"^(DRYSPIN_|_SFR_|_BV|bit_is|loop_until|PORT[BCD]\d$)")


@pytest.mark.needs_avr
def test_names_are_those_of_the_part_in_avr_libc() -> None:
    """Source outside this project: avr-libc's <avr/io.h> for the ATmega168, preprocessed by avr-gcc."""
    done = subprocess.run(
        ["avr-gcc", "-mmcu=atmega168", "-dM", "-E", "-x", "c", "-"],
        input="#include <avr/io.h>\n",
        capture_output=True,
        text=True,
        check=True,
    )
    theirs = {name: _plain(text) for name, text in _DEFINE.findall(done.stdout)}
    ours = {
        name: text for name, text in _DEFINE.findall((INCLUDE / "avr/io.h").read_text()) if "(" not in name
    }
    held = {name: _plain(text) for name, text in ours.items() if not _OURS_ONLY.match(name)}

    assert len(held) > 300
    assert {name: text for name, text in held.items() if theirs.get(name) != text} == {}


def _plain(text: str) -> str:
    text = re.sub(r"\s", "", text).upper().replace("0X", "0x")
    text = re.sub(r"^_VECTOR\((\d+)\)$", r"__VECTOR_\1", text)
    text = re.sub(r"^\((\w+)\)$", r"\1", text)
    return str(int(text, 0)) if re.fullmatch(r"0x[0-9A-F]+|\d+", text) else text
