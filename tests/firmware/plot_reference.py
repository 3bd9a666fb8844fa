"""Draws the reference scenario as the bow thruster runs it: traces/by_hand/reference.png.

`python -m tests.firmware.plot_reference`; needs the extra `plot`.
"""

import math

import matplotlib.pyplot as plt
import numpy as np

from dryspin.scenario import read_scenario

from .conftest import THRUSTER, bench

ROOT = THRUSTER.parents[1]
SCENARIO = ROOT / "traces" / "by_hand" / "reference.toml"


def main() -> None:
    """Throttle, speed, phase current and bus over the four seconds."""
    recording = bench("drive.toml").run(read_scenario(SCENARIO))
    states, scenario = recording.states, recording.scenario
    # Extremes per millisecond, so that no current peak is lost to the raster.
    edges = np.arange(0.0, recording.end_s, 1e-3)
    at = np.searchsorted(states["t_s"], edges)
    currents = np.abs(np.stack([states["i_u_a"], states["i_v_a"], states["i_u_a"] + states["i_v_a"]]))
    peak_a = np.maximum.reduceat(currents.max(axis=0), at)
    figure, axes = plt.subplots(4, 1, sharex=True, figsize=(9, 8), layout="constrained")
    steps = [*scenario.throttle_us, (scenario.end_s, scenario.throttle_us[-1][1])]
    axes[0].step([t for t, _ in steps], [us for _, us in steps], where="post", color="black")
    axes[0].set_ylabel("throttle, us")
    axes[1].plot(states["t_s"][::50], states["w_rad_s"][::50] * 30.0 / math.pi, color="black")
    axes[1].set_ylabel("speed, rpm")
    axes[2].fill_between(edges, peak_a, step="post", color="0.4")
    axes[2].set_ylabel("largest phase\ncurrent, A")
    axes[3].plot(states["t_s"][::20], states["v_bus_v"][::20], color="black", linewidth=0.5)
    axes[3].set_ylabel("bus, V")
    axes[3].set_xlabel("time from power-on, s")
    figure.suptitle("Bow thruster, reference scenario on the rig")
    figure.savefig(SCENARIO.with_suffix(".png"), dpi=110)


if __name__ == "__main__":
    main()
