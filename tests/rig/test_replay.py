"""A recording's gates led through plant and peripherals once more, without the firmware."""

import numpy as np

from dryspin.build import build_image
from dryspin.drive import Drive
from dryspin.recording import GATES, Signal
from dryspin.rig import Rig

from ..small_firmware import BOW_THRUSTER, scenario

END_S = 1.5


def test_a_replay_takes_the_same_way(thruster: Drive) -> None:
    """Start and closed loop: the same gates, the comparator's edges within a cycle, the same rotor.

    Segments end elsewhere, so the last bits differ.
    """
    rig = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    recording = rig.run(scenario(END_S, throttle_us=((0.0, 1500.0), (0.7, 1900.0))))
    replayed = rig.replay(recording)

    for gate in GATES:
        for a, b in zip(replayed.of(gate)[:2], recording.of(gate)[:2], strict=True):
            assert a.tolist() == b.tolist()
    edges, edges_again = recording.of(Signal.COMPARATOR), replayed.of(Signal.COMPARATOR)
    assert len(edges[0]) > 1000
    assert edges_again[1].tolist() == edges[1].tolist()
    assert np.abs(edges_again[0] - edges[0]).max() <= 1
    t_s = np.linspace(0.0, END_S, 1000)
    assert recording.w_at(t_s).max() > 500.0
    assert np.abs(replayed.w_at(t_s) - recording.w_at(t_s)).max() < 0.1
