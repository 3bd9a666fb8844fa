"""Blocks observed: which are entered, at no cost, and which cannot be observed."""

from textwrap import dedent

import pytest

from dryspin.build import build_image
from dryspin.build.workshop import Workshop
from dryspin.mutate.mutations import mutations, parse_source
from dryspin.mutate.reach import Observation
from dryspin.rig import Rig

from ..small_firmware import scenario

MAIN = """
    #include "say.h"
    static volatile uint16_t seven = 7U, counts;
    static uint16_t doubled(uint16_t n) { return (uint16_t)(2U * n); }
    static uint16_t never(uint16_t n) { return n; }
    int main(void)
    {
        if (seven > 6U) { say(doubled(seven)); } else { say(never(seven)); }
        switch (seven) {
        case 7U: { counts = 11U; break; }
        case 8U: { counts = 12U; break; }
        default: counts = 13U;
        }
        if (seven == 1U)
            counts = 14U;
        goto on;
        { counts = 15U; on: counts = 16U; }
        SLEEP_FOREVER
    }
"""


@pytest.fixture
def observed(bench, tmp_path):
    """The recording as it is and as observed, and the numbers in the text that stand in blocks reached."""
    bench.image(MAIN)
    (tmp_path / "workshop").mkdir()
    workshop = Workshop(bench.drive, bench.folder, tmp_path / "workshop")
    (tmp_path / "workshop" / "observed").mkdir()
    observation = Observation(workshop, tmp_path / "workshop" / "observed")
    rig = Rig(observation.image, bench.drive)
    plain = Rig(build_image(bench.drive, bench.folder), bench.drive).run(scenario(0.07))
    observation.forget()
    recording = rig.run(scenario(0.07))
    reached = observation.reached()
    source = parse_source("main.c", workshop.text.files["main.c"])
    numbers = [m for m in mutations(source, {}) if m.before.endswith("U")]
    inside = {m.before: ("main.c", m.block) in reached for m in numbers}
    blind = {m.before for m in mutations(source, {}) if m.block < 0}
    observation.forget()
    return plain, recording, inside, blind, observation.reached()


def test_observing_changes_no_bit_of_the_recording(observed):
    """A store takes no virtual time; else nothing could be said of the firmware itself."""
    plain, recording, *_ = observed

    assert plain.digest() == recording.digest()


def test_blocks_entered_are_known_from_others(observed):
    """Calls, branches and cases; what goto and switch jump past counts with the block around it, if any."""
    _, _, inside, blind, forgotten = observed

    assert inside["2U"]
    assert inside["11U"]
    assert not inside["12U"]
    assert forgotten == frozenset()
    # main() holds a label, so nothing can be said of what stands directly in it
    assert {"14U", "15U", "16U", "13U", "6U"} <= blind
    assert not {"2U", "11U", "12U"} & blind


def test_every_block_of_a_switch_body_belongs_to_the_block_around_it():
    """The head of the body is never run: a mark there would call every case unreached."""
    text = dedent("int f(int a) { switch (a) { case 1: return g(5); } return 6; }")
    blocks = {m.before: m.block for m in mutations(parse_source("main.c", text.encode()), {})}

    assert blocks["5"] == blocks["6"] == text.index("{")
