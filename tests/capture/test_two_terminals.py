"""Two terminals against ground suffice for step order and regularity, chopping, demagnetisation, crossing."""

from dataclasses import replace

import numpy as np
import pytest

from dryspin.build import build_image
from dryspin.capture import Reading, figures_of, judge_capture
from dryspin.capture.open_phase import look_at_open_phase
from dryspin.capture.phases import Probes, find_phase_steps, probes_of
from dryspin.drive import Drive, load_drive
from dryspin.errors import CaptureError
from dryspin.recording import Recording, Signal
from dryspin.recording.sixstep import OPEN_LEG
from dryspin.rig import Rig
from dryspin.scenario import Scenario

from ..waveforms.conftest import THRUSTER_DIR
from .conftest import SCOPE_FROM_S, probed

PUBLISHED_PAIRS = ("A+B-", "A+C-", "B+C-", "B+A-", "C+A-", "C+B-")
"""Order of the energised pairs, "BL AH, AH CL, CL BH, BH AL, AL CH, CH BL" (a hobby electronics article),
the same as a vendor's run-mode table (onlinedocs.microchip.com GUID-75463A18, 13.21.1.6)."""

CARRIER_HZ = 16e6 / 510.0
"""Phase-correct PWM without prescaler: f_clk / 510 = 31 372.55 Hz (ATmega128 2467P p. 154)."""

BUS_V, EMF_V = 12.0, 4.0


def textbook_volts(pairs: tuple[str, ...], step_us: int, duty: float) -> np.ndarray:
    """Terminals A, B, C of an ideal drive, 1 us a sample: in on-time the high leg at the bus, the low one at
    ground, the open one at V/2 + e (KVL, ideal trapezoid); in off-time the driven ones at ground and the
    open one at its EMF, held at -0.7 V by its diode. The EMF of the open phase runs through its zero in the
    middle of the step, falling in the first pair and changing sign from step to step (table Z-02)."""
    rows = []
    for number, pair in enumerate(pairs):
        high, low = "ABC".index(pair[0]), "ABC".index(pair[2])
        for us in range(step_us):
            emf = EMF_V * (1.0 - 2.0 * us / step_us) * (1 if number % 2 == 0 else -1)
            on = ((number * step_us + us) * CARRIER_HZ * 1e-6) % 1.0 < duty
            volts = [0.0, 0.0, 0.0]
            volts[high] = BUS_V if on else 0.0
            volts[3 - high - low] = BUS_V / 2.0 + emf if on else max(emf, -0.7)
            rows.append(volts)
    return np.array(rows, np.float32)


@pytest.mark.parametrize("legs", [(0, 1), (1, 2), (0, 2)])
@pytest.mark.parametrize("duty", [0.3, 0.8, 1.0])
def test_any_two_terminals_show_the_published_order(thruster: Drive, legs, duty) -> None:
    """And where each step begins: to half a carrier period in off-time, to a sample in on-time."""
    # It ends with a pattern whose high leg is probed with any two: what follows it could be coasting.
    volts = textbook_volts((*PUBLISHED_PAIRS * 4, *PUBLISHED_PAIRS[:3]), 250, duty)
    probes = Probes(legs, np.ascontiguousarray(volts[:, legs]), 1000.0, BUS_V, 0.7)
    steps = find_phase_steps(probes, 1e9 / CARRIER_HZ)

    assert steps.step.tolist()[:24] == [0, 1, 2, 3, 4, 5] * 4
    assert steps.step.tolist()[24:] in ([0, 1], [0, 1, 2])
    assert np.all(np.abs(steps.start_ns[1:] / 1e3 - 250.0 * np.arange(1, len(steps))) <= 32.0)


def test_the_other_way_round_is_seen(thruster: Drive) -> None:
    """Reversing the direction reverses the order."""
    volts = textbook_volts(tuple(reversed(PUBLISHED_PAIRS)) * 3, 250, 0.6)
    probes = Probes((0, 1), np.ascontiguousarray(volts[:, :2]), 1000.0, BUS_V, 0.7)

    assert find_phase_steps(probes, 1e9 / CARRIER_HZ).step.tolist() == [5, 4, 3, 2, 1, 0] * 3


def test_steps_of_a_run_are_those_that_the_firmware_commanded(scope: Reading, voyage: Recording) -> None:
    """None lost, none invented, each beginning where it says within the doubt it admits."""
    true_s = voyage.seconds(voyage.steps.cycles) - SCOPE_FROM_S
    inside = (true_s > 0.005) & (true_s < 0.239)
    seen_s = scope.steps.start_ns * 1e-9
    mine = (seen_s > 0.0045) & (seen_s < 0.2395)
    first = int(np.argmin(np.abs(seen_s - true_s[inside][0])))
    count = int(np.count_nonzero(inside))
    late_us = (seen_s[first : first + count] - true_s[inside]) * 1e6

    assert abs(int(mine.sum()) - count) <= 5
    assert scope.steps.step[first : first + count].tolist() == voyage.steps.step[inside].tolist()
    assert np.median(np.abs(late_us)) < 1.0
    assert np.all(np.abs(late_us) <= scope.steps.doubt_ns[first : first + count] / 1e3 + 2.0)


def test_crossings_are_those_of_the_true_rotor(scope: Reading, voyage: Recording) -> None:
    """The zeros of the EMF as the plant has them: 1 us is 0.3 degrees at the 6 500 rpm of the run."""
    true_s = voyage.sixths[0] - SCOPE_FROM_S
    seen_s = scope.open_phase.crossing_ns * 1e-9
    seen_s = seen_s[np.isfinite(seen_s) & (seen_s > 0.1)]
    off_us = [float(np.min(np.abs(true_s - moment))) * 1e6 for moment in seen_s]

    assert len(seen_s) > 200
    assert np.median(off_us) < 1.0
    assert np.percentile(off_us, 95.0) < 3.0


def test_figures_agree_with_the_published_ones(scope: Reading, voyage: Recording) -> None:
    """Chop frequency f_clk/510; the crossing in the middle of its 60 degrees, commutation 30 later
    (onlinedocs.microchip.com GUID-78E22D6C, 8.2); T = 10/(p n) for step and speed."""
    figures = {figure.name: figure for figure in figures_of(scope)}
    last_s = SCOPE_FROM_S + scope.steps.start_ns[[-121, -1]] * 1e-9
    late = voyage.states_between(float(last_s[0]), float(last_s[1]))
    true_rpm = float(np.mean(voyage.state_w_rad_s[late])) * 30.0 / np.pi
    intervals = np.diff(scope.steps.start_ns[-121:])

    assert figures["chop frequency"].median == pytest.approx(CARRIER_HZ, rel=2e-3)
    assert figures["crossing after its step began"].median == pytest.approx(30.0, abs=1.5)
    assert figures["next step after the crossing"].median == pytest.approx(30.0, abs=1.5)
    assert 10.0 / (7.0 * intervals.mean() * 1e-9) == pytest.approx(true_rpm, rel=0.01)
    assert figures["bus voltage"].median == pytest.approx(11.1, abs=0.4)


def test_demagnetisation_takes_as_long_as_the_current_takes_to_die(scope: Reading, voyage: Recording) -> None:
    """Beside the recorded currents: from the leg's opening to the last state with current in it. A low leg
    that opens shows its diode at once; the other kind begins in off-time, in doubt by half a period."""
    currents = np.stack([voyage.states["i_u_a"], voyage.states["i_v_a"]], axis=1).astype(np.float64)
    off_us = []
    for k in np.flatnonzero(np.isfinite(scope.open_phase.demag_ns)):
        leg = int(OPEN_LEG[scope.steps.step[k]])
        begin_s = SCOPE_FROM_S + scope.steps.start_ns[k] * 1e-9
        if scope.steps.doubt_ns[k] > 1000.0 or begin_s < 1.5:
            continue
        window = voyage.states_between(begin_s, begin_s + 2e-4)
        dead = np.flatnonzero(np.abs(currents[window, leg]) < 1e-6)
        true_us = (voyage.state_t_s[window][dead[0]] - begin_s) * 1e6
        off_us.append(scope.open_phase.demag_ns[k] / 1e3 - true_us)

    assert len(off_us) > 50
    assert np.percentile(np.abs(off_us), 95.0) < 2.0


def test_demagnetisation_is_that_of_the_textbook(thruster: Drive) -> None:
    """tf = 3 L I / (V + 2 E) with resistance and drops neglected (as Carlson et al., IEEE Trans. Ind. Appl.
    28(3), 1992, derive it; their text was not at hand, the relation was derived anew). At full duty, so
    that the whole bus drives; the neglected resistance and drop shorten it by a few per cent, and so does a
    step that comes 2 to 3 degrees early, as here: the EMF of the winding that is left is larger still."""
    story = Scenario(7, 2.25, 210.0, 20.0, ((0.0, 1500.0), (0.6, 1900.0)))
    run = Rig(build_image(thruster, THRUSTER_DIR), thruster).run(story)
    from_s = 2.2
    volts = probed(run, (0, 1), from_s, 45_000).astype(np.float32)
    terminals = {"phase U": volts[:, 0].copy(), "phase V": volts[:, 1].copy()}
    probes = probes_of(terminals, 1000.0, thruster)
    steps = find_phase_steps(probes, 1e9 / CARRIER_HZ)
    seen_us = look_at_open_phase(probes, steps).demag_ns / 1e3
    ratios = []
    for k in np.flatnonzero(np.isfinite(seen_us) & (steps.doubt_ns <= 1000.0)):
        t_s = from_s + steps.start_ns[k] * 1e-9
        name = ("i_u_a", "i_v_a")[int(OPEN_LEG[steps.step[k]])]
        current_a = abs(np.interp(t_s, run.state_t_s, run.states[name].astype(np.float64)))
        bus_v = np.interp(t_s, run.state_t_s, run.states["v_bus_v"].astype(np.float64))
        emf_v = thruster.motor.k_phase_v_s * run.w_at(t_s)
        textbook_us = 3e6 * thruster.motor.l_phase_h.nominal * current_a / (bus_v + 2.0 * emf_v)
        ratios.append(seen_us[k] / textbook_us)

    assert run.value_at(Signal.DUTY, run.end_cycle) == 255
    assert len(ratios) > 50
    assert np.median(ratios) == pytest.approx(1.0, abs=0.08)


def test_order_and_angle_are_judged_and_marked_as_estimates(scope: Reading, voyage: Recording) -> None:
    """The rotor's truth is estimated; the rig's own angle lies within what the capture admits to doubt."""
    verdicts = {verdict.claim: verdict for verdict in judge_capture(scope)}
    order, angle = verdicts["commutation.order"], verdicts["commutation.angle"]

    assert (order.status, order.estimate) == ("held", True)
    assert (angle.status, angle.estimate) == ("held", True)
    assert angle.seen + angle.doubt < 20.0
    assert verdicts["gates.dead_time"].status == "not seen"
    assert verdicts["startup.in_time"].status == "not seen"


def test_a_step_left_out_breaks_the_order(thruster: Drive) -> None:
    """Planted: the fourth pair is missing once."""
    pairs = PUBLISHED_PAIRS * 6 + PUBLISHED_PAIRS[:3] + PUBLISHED_PAIRS[4:] + PUBLISHED_PAIRS * 3
    verdict = judged_order(textbook_volts(pairs, 250, 0.6), thruster)

    assert (verdict.status, verdict.estimate) == ("broken", True)
    assert "step W+U- follows V+W-" in verdict.text


def test_steps_as_short_as_the_carrier_cannot_be_told(thruster: Drive) -> None:
    """What is shorter is not seen at all, so nobody may say that none is missing."""
    verdict = judged_order(textbook_volts(PUBLISHED_PAIRS * 6, 32, 1.0), thruster)

    assert verdict.status == "cannot tell"


def judged_order(volts: np.ndarray, drive: Drive):
    """`commutation.order` of textbook terminals A and B."""
    from pathlib import Path

    from dryspin.capture.capture import Capture
    from dryspin.capture.mapping import MID_RUN, CaptureMap
    from dryspin.capture.reading import read

    mapped = CaptureMap(Path("map.toml"), 20.0, None, 0.0, MID_RUN, 1, "s", "column")
    terminals = {"phase U": volts[:, 0].copy(), "phase V": volts[:, 1].copy()}
    end_ns = (len(volts) - 1) * 1000.0
    capture = Capture(Path("c.csv"), mapped, {}, terminals, 1000.0, 1000.0, 1020.0, end_ns, 0.0, len(volts))
    return next(v for v in judge_capture(read(capture, drive)) if v.claim == "commutation.order")


def test_volts_that_are_none_are_refused(thruster: Drive) -> None:
    """A probe of 10:1 that nobody told the instrument about: everything would be read wrongly."""
    volts = textbook_volts(PUBLISHED_PAIRS, 250, 0.6) / 10.0
    with pytest.raises(CaptureError, match=r"the terminals reach 1\.2 V, .* probe's factor \(scale\)"):
        probes_of({"phase U": volts[:, 0], "phase V": volts[:, 1]}, 1000.0, thruster)


def test_a_sense_pin_is_a_terminal_behind_its_divider(voyage: Recording, thruster: Drive, tmp_path) -> None:
    """The same steps from the sense pins, whose voltage the drive's divider makes."""
    from .conftest import SCOPE_MAP, taken, write_scope_csv

    volts = probed(voyage, (0, 1), 1.55, 20_000) * thruster.sense.ratio
    write_scope_csv(tmp_path / "pins.csv", volts)
    (tmp_path / "map.toml").write_text(SCOPE_MAP.replace("phase", "sense"))
    reading = taken((tmp_path / "pins.csv", tmp_path / "map.toml"), thruster)

    assert reading.probes.bus_v == pytest.approx(11.0, abs=0.5)
    assert judge_capture(reading)[6].status in ("held", "cannot tell")
    assert len(reading.steps) > 50
    assert replace(thruster).sense.ratio == pytest.approx(10.0 / 43.0)


def test_a_coasting_rotor_takes_no_steps(thruster: Drive) -> None:
    """Every gate open, the terminals at their EMF and lifted by the diodes: what looks like two of the
    patterns in turn must not be called a run, or a fault."""
    story = Scenario(7, 1.15, 210.0, 20.0, ((0.0, 1500.0), (0.6, 1800.0), (1.0, 0.0)))
    run = Rig(build_image(thruster, THRUSTER_DIR), thruster).run(story)
    opened_s = float(run.seconds(run.of(Signal.GATE_U)[0][-1]))
    volts = probed(run, (0, 1), 1.05, 90_000).astype(np.float32)
    terminals = {"phase U": volts[:, 0].copy(), "phase V": volts[:, 1].copy()}
    steps = find_phase_steps(probes_of(terminals, 1000.0, thruster), 1e9 / CARRIER_HZ)

    assert 1.06 < opened_s < 1.13
    assert len(steps) > 20
    assert np.all(steps.start_ns * 1e-9 + 1.05 < opened_s + 1e-3)


@pytest.mark.parametrize(
    ("name", "status"), [("bow_thruster", "held"), ("known_bad/skips_a_step_in_reverse", "broken")]
)
def test_a_firmware_that_skips_a_step_is_found_out_by_two_probes(name: str, status: str) -> None:
    """The whole way: wrong firmware, simulated, probed, judged."""
    folder = THRUSTER_DIR.parent / name
    drive = load_drive(folder)
    story = Scenario(7, 1.15, 0.0, 20.0, ((0.0, 1500.0), (0.6, 1100.0)))
    run = Rig(build_image(drive, folder), drive).run(story)

    verdict = judged_order(probed(run, (0, 1), 0.95, 200_000).astype(np.float32), drive)
    assert (verdict.status, verdict.estimate) == (status, True)
