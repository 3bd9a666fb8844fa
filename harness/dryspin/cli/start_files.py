"""Texts of the files that `dryspin new` writes beside drive.toml."""

EMPTY_FIRMWARE = """\
// A firmware to begin with: every leg open, the watchdog fed, nothing else.

#include <avr/io.h>
#include <avr/wdt.h>

int main(void)
{
\twdt_enable(WDTO_120MS);
\tfor (;;)
\t\twdt_reset();
}
"""

GITIGNORE = """\
# what checks and tests leave behind; found/ is kept: each file in it is a test
__pycache__/
.pytest_cache/
.hypothesis/
*.npz
result.json
"""

CI = """\
#!/bin/sh
# Everything a change must pass; run it where the code is tested. Fails with the first step that fails.
set -eu
cd "$(dirname "$0")/.."
dryspin doctor
dryspin check . --json result.json
python -m pytest
"""

FIRST_TEST = '''\
"""The first test: powered, no stick, nothing may move. Add one for everything that ever went wrong."""

from pathlib import Path

from dryspin.findings import load_subject
from dryspin.scenario import Scenario

FIRMWARE = Path(__file__).parent.parent


def test_without_pulses_every_gate_stays_off():
    """Half a second from power-on with no throttle pulse at all."""
    subject = load_subject(FIRMWARE)
    quiet = Scenario(seed=1, end_s=0.5, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 0.0),))
    recording = subject.record(quiet)

    assert not any(recording.edges["value"][recording.edges["signal"] < 3])
'''

CLAIMS = """\
# What the firmware is held to: families, or single claims as "family.claim". Begin with what must never
# happen; add the others one by one as the firmware gets there. A declared claim that no scenario exercises
# counts against a check, as nothing was shown about it.

declared = ["gates.both_fets", "gates.two_high", "gates.dead_time"]

# Later: "gates", "commutation", "startup", "synchronism", "reversal", "arming", "calibration", "tones"; where
# drive.toml says one_way, of reversal "reversal.neutral" alone. They judge what the firmware does by what
# it says it is doing: let it show its state, by the level of a pin (marks under [pins]) or by a number in a
# spare register (mark_register).
"""
