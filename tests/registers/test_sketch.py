"""Sketches run untouched: setup and loop, pins, clocks, pulses, serial print, byte store; C++ beside C."""

import numpy as np
import pytest

from dryspin.recording import Signal

from .conftest import RegisterBench

SKETCH = """\
// chops one leg as wide as the stick asks
#include <EEPROM.h>
const int HIGH_U = 9, LOW_V = 4, STICK = 2;
int frames = 0;

void setup() {
  pinMode(HIGH_U, OUTPUT);
  pinMode(LOW_V, OUTPUT);
  Serial.begin(115200);
  say("kept ", EEPROM.read(3));
  digitalWrite(LOW_V, HIGH);
  EEPROM.update(3, 7);
}

void loop() {
  unsigned long us = pulseIn(STICK, HIGH, 25000);
  analogWrite(HIGH_U, map(constrain(us, 1000, 2000), 1000, 2000, 0, 50));
  say("us ", us);
  if (++frames == 3) {
    unsigned long a = millis(), b = micros();
    delay(10);
    say("ms ", millis() - a);
    say("long ", micros() - b > 9990);
  }
}

void say(const char *what, long n) {
  Serial.print(what);
  Serial.println(n);
}
"""


@pytest.fixture
def board(bench: RegisterBench) -> RegisterBench:
    """Pins as on a common board: high side 9, 10, 11, low side 3, 4, 5, stick at 2."""
    return bench.wired(
        high=("PB1", "PB2", "PB3"), low=("PD3", "PD4", "PD5"), throttle="PD2", mark_register=""
    )


def test_a_sketch_reads_the_stick_chops_a_leg_and_prints(board: RegisterBench) -> None:
    """No function is announced in it, none of its lines is changed."""
    from dryspin.rig import Rig

    from ..small_firmware import scenario

    rig = Rig(board.image(SKETCH, "chop.ino", head=""), board.drive)
    recording = rig.run(scenario(0.25, throttle_us=((0.0, 1500.0),)), block_cycles=4)
    printed = bytes(recording.of(Signal.SERIAL)[1].tolist()).decode().split("\r\n")
    cycles, values, _ = recording.of(Signal.GATE_U)
    on = cycles[values == 1]

    assert printed[0] == "kept 255"
    assert {int(text.removeprefix("us ")) for text in printed if text.startswith("us ")} <= {1496, 1500, 1504}
    assert "ms 10" in printed or "ms 9" in printed
    assert "long 1" in printed
    assert recording.store[3] == 7
    # timer 1 as the sketch functions leave it: phase-correct, 8 bits, prescaler 64
    assert set(np.diff(on)[1:].tolist()) == {510 * 64}
    assert recording.value_at(Signal.LEG_V, recording.end_cycle) == 1
    leg = recording.of(Signal.LEG_U)
    row = int(leg[2][-1])
    assert recording.lines(int(recording.edges["caller"][row])) == "chop.ino:17"


def test_cpp_objects_are_constructed_before_main_and_again_after_a_reset(bench: RegisterBench) -> None:
    """A constructor that touches registers runs on the part, not while the library is loaded."""
    from dryspin.scenario import Fault

    recording = bench.run(
        "struct Mark { Mark() { GPIOR2 = 9; } };\nstatic Mark mark;\n"
        "int main() { GPIOR2 = 8; for (;;) { } }\n",
        0.2,
        name="main.cpp",
        faults=(Fault("reset", 0.1),),
    )

    assert [int(v) for v in recording.of(Signal.MARK)[1]] == [0, 9, 8, 0, 9, 8]


def test_a_sketch_without_coverage_of_its_empty_loop_sleeps_on(bench: RegisterBench) -> None:
    """for (;;) {} has no block to hook in gcc; handlers must run in it all the same."""
    recording = bench.run(
        "static volatile uint8_t n; ISR(TIMER0_OVF_vect) { GPIOR2 = ++n; }\n"
        "int main(void) { TIMSK0 = 1; TCCR0B = 1; sei(); while (1); }",
        0.066,
    )

    assert len(recording.of(Signal.MARK)[1]) > 50
