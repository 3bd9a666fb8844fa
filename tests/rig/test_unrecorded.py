"""A run with recording off is the same run, of which nothing is written down."""

import pytest

from dryspin.build import build_image
from dryspin.drive import Drive
from dryspin.errors import RigError
from dryspin.rig import Rig

from ..small_firmware import BOW_THRUSTER, Bench, scenario

GIVEN = scenario(
    1.2, throttle_us=((0.0, 1500.0), (0.7, 1900.0)), comparator_noise_mv=((0.0, 3.0),), store="0102"
)


def test_the_same_happens_and_nothing_is_kept(thruster: Drive) -> None:
    """Segments, events, port calls, handlers and the store are those of the recorded run."""
    rig = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    rig.run(GIVEN)
    recorded = rig.counts(), rig.store()
    rig.run_unrecorded(GIVEN)

    assert (rig.counts(), rig.store()) == recorded
    assert recorded[0]["segments"] > 10_000
    assert rig.core.core_edges().n == rig.core.core_states().n == 0


def test_a_replay_can_go_unrecorded_too(thruster: Drive) -> None:
    """So that plant and peripherals can be measured by themselves."""
    rig = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    recording = rig.run(GIVEN)
    rig.replay(recording)
    counts = rig.counts()
    rig.replay_unrecorded(recording)

    assert rig.counts() == counts
    assert rig.core.core_edges().n == rig.core.core_states().n == 0


def test_recording_is_on_again_after_it(thruster: Drive) -> None:
    """The switch belongs to the run, not to the rig."""
    rig = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    before = rig.run(GIVEN).digest()
    rig.run_unrecorded(GIVEN)

    assert rig.run(GIVEN).digest() == before


def test_a_crash_is_told_all_the_same(bench: Bench) -> None:
    """Where and when, as of a recorded run."""
    rig = bench.rig(
        """
        #include "say.h"
        int main(void)
        {
            volatile uint8_t *nowhere = 0;
            port_mark(1);
            return *nowhere;
        }
        """
    )
    with pytest.raises(RigError, match=r"crashed at main\.c:\d+ in main\(\)"):
        rig.run_unrecorded(scenario(0.2))
