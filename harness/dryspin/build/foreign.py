"""Compiler's complaints that come from another part's headers or registers, with what to do about them."""

import re

_NO_HEADER = re.compile(r"([\w./+-]+\.h(?:pp)?): No such file or directory|'([\w./+-]+)' file not found")
_NO_NAME = re.compile(
    r"['\u2018](\w+)['\u2019] (?:undeclared|was not declared)|undeclared identifier '(\w+)'"
)


def explained(complaint: str) -> str:
    """The complaint, with a sentence on headers and names that the rig's part does not have."""
    if found := _NO_HEADER.search(complaint):
        name = found[1] or found[2]
        return (
            f"{complaint}\nThe rig has the headers of the ATmega48/88/168 class (avr/io.h, avr/interrupt.h, "
            f"util/delay.h and their kin), no {name}: of another part, or missing in [firmware] include."
        )
    if found := _NO_NAME.search(complaint):
        name = found[1] or found[2]
        if re.fullmatch(r"[A-Z][A-Z0-9_]{1,9}", name):
            return (
                f"{complaint}\n{name} is no register or bit that the rig's part has (ATmega48/88/168 class); "
                "registers of other parts have to be left out or replaced."
            )
    return complaint


def behind_the_seam(complaint: str) -> str:
    """The complaint, with a sentence where sources of the seam ask for the part's registers."""
    found = _NO_HEADER.search(complaint)
    if found and (found[1] or found[2]).startswith(("avr/", "util/")):
        return (
            f"{complaint}\nSources written for the part's registers run with a [pins] table in drive.toml, "
            "which says what hangs on which pin; others include drive_port.h."
        )
    return complaint
