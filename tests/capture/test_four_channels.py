"""Four channels of an oscilloscope, a million points: two terminals, the bus, the throttle as a voltage."""

from pathlib import Path

import numpy as np
import pytest

from dryspin.capture import Reading, figures_of, judge_capture
from dryspin.recording import Recording, Signal
from dryspin.waveforms import terminal_voltages

from .conftest import ADC_STEP_V, NOISE_V, SCOPE_MAP, taken
from .test_throttle_claims import TURNED, run

FROM_S, POINTS = 1.2, 1_000_000
"""From the start to the other way round and on: one second."""

MAP = (
    SCOPE_MAP
    + """
[[channel]]
channel = "CH3"
signal = "bus"

[[channel]]
channel = "CH4"
signal = "throttle"
scale = 10.0
"""
)
"""The fourth probe divides by ten, and the instrument was not told."""

pytestmark = pytest.mark.slow


def captured(recording: Recording, folder: Path) -> Reading:
    """What the instrument would have saved, read back."""
    t_s = FROM_S + 1e-6 * np.arange(POINTS)
    bus_v = np.interp(t_s, recording.state_t_s, recording.states["v_bus_v"])
    throttle_v = 0.5 * recording.value_at(
        Signal.THROTTLE, np.round(t_s * recording.f_cpu_hz).astype(np.int64)
    )
    noise = np.random.default_rng(7).normal(0.0, NOISE_V, (POINTS, 3))
    volts = np.c_[terminal_voltages(recording, t_s)[:, :2], bus_v] + noise
    table = np.c_[np.round(volts / ADC_STEP_V) * ADC_STEP_V, throttle_v + 0.1 * noise[:, 0]]
    head = "Second,CH1,CH2,CH3,CH4\ns,V,V,V,V"
    np.savetxt(
        folder / "tug.csv", np.c_[t_s - FROM_S, table], "%.6f,%.3f,%.3f,%.3f,%.3f", header=head, comments=""
    )
    (folder / "map.toml").write_text(MAP)
    return taken((folder / "tug.csv", folder / "map.toml"), recording.drive)


@pytest.mark.parametrize(
    ("name", "status"), [("bow_thruster", "held"), ("known_bad/keeps_its_way_until_neutral", "broken")]
)
def test_the_direction_is_judged_against_the_stick(name: str, status: str, tmp_path: Path) -> None:
    """As the rig, which knows more, judges the same run; both it and the order are estimates."""
    recording = run(name, TURNED)
    reading = captured(recording, tmp_path)
    verdicts = {verdict.claim: verdict for verdict in judge_capture(reading)}
    figures = {figure.name: figure for figure in figures_of(reading)}

    assert reading.capture.rows == POINTS
    assert verdicts["commutation.direction"].status == status
    assert verdicts["commutation.direction"].estimate
    # 1 800 us, then 1 200 us, as the story sends them, to a sample
    assert figures["throttle pulse"].least == pytest.approx(1200.0, abs=2.0)
    assert figures["throttle pulse"].most == pytest.approx(1800.0, abs=2.0)
