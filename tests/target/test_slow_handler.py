"""A handler that is too slow on the part, and only there: a flat cost a block cannot know of it."""

from pathlib import Path

import pytest

from dryspin.findings import BROKEN, HELD, Outcome, load_subject
from dryspin.scenario import Scenario

from ..small_firmware import BOW_THRUSTER

DIVIDES_TWICE = """
name = "bow thruster that scales pulses in a handler"

[firmware]
base = "{base}"

[[firmware.change]]
file = "throttle.c"
before = "		last.width_ticks = (uint16_t)width;"
after = \"\"\"
		width = width * scale / scale;
		last.width_ticks = (uint16_t)(width * scale / scale);
\"\"\"

[[firmware.change]]
file = "throttle.c"
before = "static volatile throttle_pulse last;"
after = \"\"\"
static volatile throttle_pulse last;
static volatile uint32_t scale = 16000UL;
\"\"\"

[controller]
part = "mega168"
f_cpu_hz = 16e6
clock = "crystal"
code_cycles = "{cycles}"
"""
"""Scaling there and back: nothing changes but the time it takes, two divisions of 32 bits in software."""

FULL_AHEAD = Scenario(
    seed=3,
    end_s=1.6,
    rest_deg=210.0,
    frame_ms=20.0,
    throttle_us=((0.0, 1500.0), (0.8, 1900.0)),
)


def latency_of(folder: Path, cycles: str, text: str = DIVIDES_TWICE) -> tuple[Outcome, str]:
    """The claim's outcome, and the recording's digest."""
    folder.mkdir()
    (folder / "drive.toml").write_text(text.format(base=BOW_THRUSTER, cycles=cycles), encoding="utf-8")
    subject = load_subject(folder)
    trial = subject.judge(subject.record(FULL_AHEAD))
    return trial.of("controller.latency"), trial.digest


@pytest.mark.needs_avr
def test_a_handler_that_divides_is_found_with_object_code_only(tmp_path: Path) -> None:
    """Two divisions take some 1400 cycles, 90 us, with interrupts off: a crossing waits more than 50 us.

    At a flat cost of 0 the run is that of the good firmware to the last bit.
    """
    good = DIVIDES_TWICE[: DIVIDES_TWICE.index("[[firmware.change]]")]
    good += DIVIDES_TWICE[DIVIDES_TWICE.index("[controller]") :]

    flat, digest = latency_of(tmp_path / "flat", "flat")
    assert (flat.status, digest) == (HELD, latency_of(tmp_path / "good_flat", "flat", good)[1])
    slow, _ = latency_of(tmp_path / "slow", "object code")
    assert slow.status == BROKEN
    assert slow.seen is not None
    assert 50.0 < slow.seen < 150.0
    assert latency_of(tmp_path / "good", "object code", good)[0].status == HELD
