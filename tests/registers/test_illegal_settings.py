"""What means nothing on the part as wired: refused while the wiring may be told wrongly, else a fault."""

import pytest

from dryspin.errors import FirmwareError, RigError

from ..small_firmware import START_UP_CYCLES
from .conftest import RegisterBench

ASTRAY = {
    "input of nobody": ("ADMUX = 5; // ASTRAY\nTCNT1 = 0;\n(void)ACSR;\n", "[pins] names neither"),
    "reserved timer mode": (
        "TCCR1A = _BV(WGM10); TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS10); // ASTRAY\n(void)TCNT1;\n",
        "timer 1 runs in a mode that is reserved",
    ),
    "reserved edge": ("ACSR = _BV(ACIS0); // ASTRAY\n", "ACIS = 1 of ACSR is reserved"),
    "interrupt of nobody": (
        "TIMSK1 = _BV(TOIE1);\nTCCR1B = _BV(CS10);\nTCNT1 = 0xFFF0;\nsei();\n"
        "for (;;) { (void)TCNT1; } // ASTRAY\n",
        "vector 14 is on and has no handler",
    ),
}
"""What main() ends in, the line at fault marked, and what is said."""


def main_that_senses(body: str, *phases: int) -> str:
    """A main() that reads the comparator at these phases before `body`."""
    sensed = "".join(f"ADMUX = {phase};\n(void)ACSR;\n" for phase in phases)
    return f"int main(void)\n{{\nADCSRB = _BV(ACME);\n{sensed}{body}for (;;) {{ }}\n}}\n"


@pytest.mark.parametrize("name", ASTRAY)
def test_a_firmware_that_has_sensed_and_goes_astray_is_at_fault_at_its_line(
    bench: RegisterBench, name: str
) -> None:
    """The wiring has shown itself right: with line and moment it becomes a claim that broke."""
    body, words = ASTRAY[name]

    with pytest.raises(FirmwareError) as error:
        bench.run(main_that_senses(body, 1, 2))

    lines = bench.sources["main.c"].splitlines()
    line = 1 + next(k for k, text in enumerate(lines) if "ASTRAY" in text)
    assert error.value.kind == "illegal setting"
    assert error.value.line == f"main.c:{line}"
    assert words in error.value.text
    assert 0 < error.value.moment_s * 16e6 - START_UP_CYCLES < 200


def test_before_two_phases_were_sensed_the_wiring_may_be_told_wrongly(bench: RegisterBench) -> None:
    """No verdict on the firmware then: the run is refused, with what to look at."""
    body, words = ASTRAY["input of nobody"]

    with pytest.raises(RigError) as error:
        bench.run(main_that_senses(body, 1))

    assert not isinstance(error.value, FirmwareError)
    assert words in str(error.value)
