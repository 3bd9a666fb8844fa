"""What a recording answers about its edges and its rotor."""

import math
import re
from pathlib import Path

import numpy as np
import pytest

from dryspin.errors import RecordingError
from dryspin.recording import STATE, Leg, Mark, Signal
from dryspin.recording.sixstep import (
    DRIVEN,
    OPEN_LEG,
    ideal_crossing_rad,
    ideal_start_rad,
    lateness_rad,
    rises,
)

from .samples import edges, recording, turning

HEADER = Path(__file__).parents[2] / "harness/dryspin/port/drive_port.h"


@pytest.mark.parametrize(("prefix", "codes"), [("PORT_MARK_", Mark), ("PORT_", Leg)])
def test_codes_are_those_of_the_port(prefix, codes):
    """Firmware writes the header's numbers; a recording read with others would be judged wrong."""
    header = HEADER.read_text()
    for code in codes:
        found = re.search(rf"#define {prefix}{code.name} (\d+)U", header)
        assert found is not None
        assert int(found[1]) == code


def test_values_hold_from_their_own_cycle_on():
    """An edge takes effect at its cycle: the value there is the new one, a cycle before the old."""
    run = recording([(0, Signal.DUTY, 0), (100, Signal.DUTY, 50), (100, Signal.DUTY, 60)])

    assert run.value_at(Signal.DUTY, 99) == 0
    assert run.value_at(Signal.DUTY, 100) == 60
    assert run.value_at(Signal.DUTY, np.array([99, 5000])).tolist() == [0, 60]


def test_asking_for_a_signal_nobody_saw_names_it():
    """A capture of a bench lacks signals; silence would read as zero."""
    run = recording([(0, Signal.DUTY, 0)])
    with pytest.raises(RecordingError, match="no edge of MARK"):
        run.value_at(Signal.MARK, 5)


def test_edges_of_one_cycle_are_one_moment():
    """Opening all legs is one act; a pattern between its edges never existed."""
    run = recording(
        [(0, s, 0) for s in (Signal.LEG_U, Signal.LEG_V, Signal.LEG_W)]
        + [(10, Signal.LEG_U, 3), (20, Signal.LEG_V, 1), (50, Signal.LEG_U, 0), (50, Signal.LEG_V, 0)]
    )
    assert run.legs.cycles.tolist() == [0, 10, 20, 50]
    assert run.legs.values.tolist() == [[0, 0, 0], [3, 0, 0], [3, 1, 0], [0, 0, 0]]
    assert run.legs.ends.tolist() == [10, 20, 50, 160_000]


def test_a_pattern_on_the_way_to_another_is_no_step():
    """Three port calls of 6 cycles pass through patterns that nobody meant."""
    rows = [(0, s, 0) for s in (Signal.LEG_U, Signal.LEG_V, Signal.LEG_W)]
    rows += [(1000, Signal.LEG_U, 3), (1006, Signal.LEG_V, 1)]
    rows += [
        (9000, Signal.LEG_V, 0),
        (9006, Signal.LEG_W, 1),
        (9012, Signal.LEG_U, 0),
        (9018, Signal.LEG_V, 3),
    ]
    steps = recording(rows).steps

    assert steps.step.tolist() == [0, 2]
    assert steps.cycles.tolist() == [1006, 9018]
    assert steps.stops.tolist() == [9000, 160_000]
    assert steps.moves.tolist() == [2]


def test_marks_become_spans_and_a_reset_begins_anew():
    """After a reset the firmware has said nothing yet: what it said before does not hold."""
    run = recording(
        [
            (0, Signal.MARK, 0),
            (0, Signal.RESET, 1),
            (100, Signal.MARK, Mark.ARMED),
            (150, Signal.MARK, Mark.ARMED),
            (170, Signal.MARK, Mark.CROSSING),
            (200, Signal.RESET, 2),
            (900, Signal.MARK, Mark.OFF),
        ]
    )
    assert [tuple(span)[:3] for span in run.marks] == [(0, 0, 100), (1, 100, 200), (0, 200, 160_000)]


def test_pulses_are_complete_ones_only():
    """A pulse cut by either end of the recording has no width."""
    levels = [(0, 1), (40, 0), (100, 1), (24_100, 0), (150_000, 1)]
    run = recording([(cycle, Signal.THROTTLE, level) for cycle, level in levels])
    assert run.pulses.widths.tolist() == [24_000]
    assert run.pulses.rises.tolist() == [100]


def test_rotor_angle_and_speed_are_interpolated():
    """Monitors ask at edges, which lie between states."""
    run = recording([], turning(1000.0, 0.01))
    w_rad_s = 1000.0 * 2.0 * math.pi / 60.0

    assert run.w_at(0.0012345) == pytest.approx(w_rad_s, rel=1e-6)
    assert run.theta_at(0.0012345) == pytest.approx(math.radians(10.0) + 7 * w_rad_s * 0.0012345, rel=1e-9)


@pytest.mark.parametrize("rpm", [1000.0, -1000.0])
def test_true_crossings_lie_where_the_emf_is_zero(rpm):
    """EMF of the golden plant cases: e = k w f(theta - shift), f rising through 0 at theta = shift."""
    run = recording([], turning(rpm, 0.03, from_deg=10.0))
    for leg, shift_deg in enumerate((0.0, 120.0, 240.0)):
        times, rising = run.true_crossings(leg)
        angle = np.degrees(run.theta_at(times)) - shift_deg
        assert len(times) >= 6
        assert np.abs((angle + 90.0) % 180.0 - 90.0).max() < 1e-6
        # Just after the crossing sin(theta - shift) w has the sign of the EMF.
        after = np.sin(run.theta_at(times + 1e-5) - math.radians(shift_deg)) * rpm
        assert ((after > 0) == rising).all()


def test_steps_and_open_phases_are_the_published_ones():
    """Order: hobby electronics article, "BL AH, AH CL, CL BH, BH AL, AL CH, CH BL"; open phase per state:
    vendor data-sheet run-mode table, onlinedocs.microchip.com GUID-75463A18 sec. 13.21.1.6."""
    assert ["UVW"[h] + "UVW"[low] for h, low in DRIVEN] == ["UV", "UW", "VW", "VU", "WU", "WV"]
    published = {"UW": "V", "VW": "U", "VU": "W", "WU": "V", "WV": "U", "UV": "W"}
    assert {"UVW"[h] + "UVW"[low]: "UVW"[OPEN_LEG[n]] for n, (h, low) in enumerate(DRIVEN)} == published


def test_crossing_lies_mid_step_with_alternating_polarity():
    """Middle of the 60-degree floating interval, commutation 30 degrees later (onlinedocs.microchip.com
    GUID-78E22D6C sec. 8.2); angles and polarity per state computed for EMF of U flat on 30..150 degrees."""
    forward = [(60, False), (120, True), (180, False), (240, True), (300, False), (0, True)]
    for step, (crossing_deg, rising) in enumerate(forward):
        assert math.degrees(ideal_crossing_rad(step, 1)) % 360 == pytest.approx(crossing_deg % 360, abs=1e-9)
        assert bool(rises(step, 1)) is rising
        # Mirror: half a turn away, order and polarity reversed.
        assert math.degrees(ideal_crossing_rad(step, -1)) % 360 == pytest.approx((crossing_deg + 180) % 360)
        assert bool(rises(step, -1)) is not rising


@pytest.mark.parametrize("direction", [1, -1])
def test_each_step_begins_60_degrees_after_the_one_before(direction):
    """Six steps make one electrical turn in either direction."""
    for step in range(6):
        ahead = ideal_start_rad((step + direction) % 6, direction) - ideal_start_rad(step, direction)
        assert math.degrees(ahead * direction) % 360 == pytest.approx(60.0)


def test_lateness_is_positive_behind_time_in_either_direction():
    """Late means that the rotor is already past the angle, whichever way it turns."""
    assert lateness_rad(1.1, 1.0, 1) == pytest.approx(0.1)
    assert lateness_rad(0.9, 1.0, -1) == pytest.approx(0.1)
    assert lateness_rad(1.0 + 20 * math.pi - 0.2, 1.0, 1) == pytest.approx(-0.2)


def test_arrays_cannot_be_written():
    """Derived quantities are kept; a changed edge would leave them wrong."""
    run = recording([(0, Signal.DUTY, 0)])
    with pytest.raises(ValueError, match="read-only"):
        run.edges["value"][0] = 5


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"edges": np.zeros(3)}, "edges has the layout float64"),
        ({"edges": edges((5, Signal.DUTY, 0), (4, Signal.DUTY, 0))}, "row 1 of the edges is earlier"),
        ({"states": turning(1.0, 0.01)[::-1].copy()}, "row 1 of the states is earlier"),
        ({"end_cycle": 3, "edges": edges((5, Signal.DUTY, 0))}, "after the end at 3"),
        ({"f_cpu_hz": 0.0}, "a clock above 0 Hz"),
    ],
)
def test_arrays_that_cannot_be_a_recording_are_refused(changes, words):
    """A monitor that trusts a broken order would hold or object for no reason."""
    with pytest.raises(RecordingError, match=words):
        recording([], **changes)


def test_digest_follows_what_happened_and_not_the_compiler():
    """Two compilers place code elsewhere; one flipped value is another run."""
    rows = [(0, Signal.DUTY, 0), (100, Signal.DUTY, 50)]
    run = recording(rows)
    moved = edges(*rows)
    moved["pc"] += 16
    other = edges(*rows)
    other["value"][1] = 51

    assert recording(rows, edges=moved).digest() == run.digest()
    assert recording(rows, edges=other).digest() != run.digest()
    assert recording(rows, states=np.zeros(1, STATE)).digest() != run.digest()
