"""What a sheet shows of a recording: all edges, all of the curves near the moment, nothing lost elsewhere."""

import base64
import zlib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dryspin.findings import Outcome, load_subject
from dryspin.monitors import judge
from dryspin.monitors.registry import known_claims
from dryspin.recording import STATE, Signal
from dryspin.report.sheet.columns import View, looks_in_view, spans_in_view
from dryspin.report.sheet.edges import VECTORS, Edges
from dryspin.report.sheet.kept import kept
from dryspin.report.sheet.lanes import COMPLETE_S, Curves, Lanes, lanes_of
from dryspin.report.sheet.limits import ON_LANE, limit_lines
from dryspin.report.sheet.pack import Packer, packed
from dryspin.report.sheet.pulses import HEADER, pulse_list

from ..recording.samples import F_CPU_HZ, scenario
from .sheet_samples import MOMENT_S, PULSE_S, PULSE_US, SPIKE_A, SPIKE_S, spiked


def lane(lanes: Lanes, key: str) -> Any:
    """The lane of that key."""
    return next(one for one in lanes.lanes if one.key == key)


@pytest.fixture(scope="module")
def lanes() -> Lanes:
    """Lanes of the run with a spike, looked at elsewhere."""
    return lanes_of(spiked(), MOMENT_S)


def test_lanes_are_those_an_engineer_asks_for(lanes: Lanes) -> None:
    """Throttle, marks, gates, step, sense, comparator, crossings, currents, voltages, bus, speed, handler."""
    assert [one.key for one in lanes.lanes] == [
        *("throttle", "width", "marks", "announced", "gates_u", "gates_v", "gates_w", "step", "sense"),
        *(
            "comparator",
            "crossings",
            "current_u",
            "current_v",
            "current_w",
            "voltage_u",
            "voltage_v",
            "voltage_w",
        ),
        *("bus", "speed", "handlers"),
    ]


def test_every_edge_is_there(lanes: Lanes) -> None:
    """A pulse of a microsecond, far from the moment, has both its edges."""
    gates = lane(lanes, "gates_v")
    at = round(PULSE_S * F_CPU_HZ)

    assert gates.cycles.tolist() == [0, at, at + round(PULSE_US * F_CPU_HZ * 1e-6)]
    assert gates.values.tolist() == [0, 1, 0]


def test_a_spike_of_a_microsecond_is_in_its_slice_and_in_no_other(lanes: Lanes) -> None:
    """Slices show least and largest value, so what happened between two of them cannot vanish."""
    high = lane(lanes, "current_u").curves[0].high
    k = int(SPIKE_S / lanes.slice_s)

    assert high[k] == np.float32(SPIKE_A)
    assert np.max(np.delete(high, k)) == 0.0
    assert lane(lanes, "current_v").curves[0].low[k] == np.float32(-SPIKE_A)


def test_curves_are_complete_around_the_moment() -> None:
    """Every state within 50 ms is a point of the curve, on both sides of each segment."""
    recording = spiked()
    near = lanes_of(recording, SPIKE_S)
    current = lane(near, "current_u")
    inside = recording.states_between(SPIKE_S - COMPLETE_S, SPIKE_S + COMPLETE_S)

    assert set(recording.state_t_s[inside]) <= set(current.t_s)
    assert current.curves[0].complete.max() == np.float32(SPIKE_A)


def test_curves_are_complete_around_a_second_moment() -> None:
    """No point lies between the two; where no state does either, they are one."""
    lanes = lanes_of(spiked(), SPIKE_S, also_s=MOMENT_S)
    t_s = lane(lanes, "current_u").t_s
    # segments of 50 us that reach into a stretch are in it
    between = (t_s > MOMENT_S + COMPLETE_S + 101e-6) & (t_s < SPIKE_S - COMPLETE_S - 101e-6)

    assert lanes.complete == tuple(
        (pytest.approx(t - COMPLETE_S), pytest.approx(t + COMPLETE_S)) for t in (MOMENT_S, SPIKE_S)
    )
    assert np.sum(t_s < 2.0) == pytest.approx(np.sum(t_s > 2.0), abs=10)
    assert np.all(np.diff(t_s) >= 0.0)
    assert not np.any(between)
    assert lanes.is_complete(0.96, 1.04)
    assert not lanes.is_complete(1.04, 3.06)
    (joined,) = lanes_of(spiked(), MOMENT_S, also_s=MOMENT_S - 2.0 * COMPLETE_S).complete
    assert joined == (pytest.approx(MOMENT_S - 3.0 * COMPLETE_S), pytest.approx(MOMENT_S + COMPLETE_S))


def test_slices_hold_every_state_of_a_real_run(real_run: Any) -> None:
    """Curves between slices and points: no state of the recording lies outside what is drawn for it."""
    recording, lanes = real_run
    states = recording.states[1:-1]
    k = np.minimum((states["t_s"] / lanes.slice_s).astype(int), len(lane(lanes, "bus").curves[0].low) - 1)
    for key, values in (("current_u", states["i_u_a"]), ("bus", states["v_bus_v"])):
        curve = lane(lanes, key).curves[0]
        inside = (curve.low[k] <= values) & (values <= curve.high[k])
        # a state on a border belongs to either side
        border = np.minimum(states["t_s"] % lanes.slice_s, -states["t_s"] % lanes.slice_s) < 1e-9
        assert np.all(inside | border)


@pytest.fixture(scope="module")
def real_run() -> Any:
    """The bow thruster through tone, arming and half of a start."""
    directory = Path(__file__).parents[2] / "firmware_under_test" / "bow_thruster"
    subject = load_subject(directory)
    recording = subject.record(
        scenario(end_s=1.0, throttle_us=((0.0, 1500.0), (0.6, 1900.0)), faults=(), parts={})
    )
    return recording, lanes_of(recording, 0.6)


def test_handlers_of_the_firmware_have_their_names(real_run: Any) -> None:
    """Vector numbers of `port/pin_plan.md`; one it does not know would show as a number."""
    recording, lanes = real_run
    handlers = lane(lanes, "handlers")
    seen = set(np.unique(recording.of(Signal.HANDLER)[1]).tolist()) - {0}

    assert seen <= VECTORS.keys()
    assert handlers.words == ("", *VECTORS.values())


def test_edges_know_the_line_that_acted(real_run: Any) -> None:
    """The same as the recording says, edge by edge; the carrier's edges have none."""
    recording, lanes = real_run
    gates = lane(lanes, "gates_u")
    cycles, _, rows = recording.of(Signal.GATE_U)
    for k in (1, len(cycles) // 2, len(cycles) - 1):
        told = gates.lines[gates.by[k]]
        assert told.partition(" ← ")[0] == recording.line_of(int(rows[k]))
    marks = lane(lanes, "marks")
    assert all(".c:" in marks.lines[code] for code in marks.by[1:])
    assert "" in gates.lines


def test_a_step_has_its_number_and_other_patterns_their_legs(lanes: Lanes) -> None:
    """W chopped and U low is step 4 of the six; three legs driven are none; all open is nothing."""
    step = lane(lanes, "step")

    assert [step.words[value] for value in step.values] == ["", "W high", "4  W→U", "U low, V low, W high"]
    assert step.cycles.tolist() == [0, 212_000, 212_008, 225_000]


def test_steps_of_a_run_are_those_of_the_recording(real_run: Any) -> None:
    """Each of them at its cycle, by its number; what the lane has more of are transients and fixed fields."""
    recording, lanes = real_run
    step, steps = lane(lanes, "step"), recording.steps
    at = np.searchsorted(step.cycles, steps.cycles, side="right") - 1

    assert len(steps) > 10
    assert [step.words[value][0] for value in step.values[at]] == [str(number) for number in steps.step]
    assert all(".c:" in step.lines[code] for code in step.by[at])


def test_a_crossing_taken_has_the_phase_that_was_selected_then(lanes: Lanes) -> None:
    """V, rising, at 220 000; the selection moves on to U ten cycles later. True ones have theirs."""
    crossings = lane(lanes, "crossings")
    said = {
        int(cycle): crossings.words[value]
        for cycle, value in zip(crossings.cycles, crossings.values, strict=True)
    }

    assert said[220_000] == "taken V↑"
    assert sum(word.startswith("taken") for word in said.values()) == 1
    # 1000 rpm and 7 pole pairs for 4 s: 466.7 electrical turns, a crossing of each phase twice a turn
    assert sum(word.startswith("true") for word in said.values()) == pytest.approx(466.7 * 6, abs=6)


def test_crossings_taken_by_the_firmware_follow_true_ones_of_their_phase() -> None:
    """Of the bow thruster at speed every one, within 30 degrees: half a step (six-step geometry)."""
    directory = Path(__file__).parents[2] / "firmware_under_test" / "bow_thruster"
    recording = load_subject(directory).record(
        scenario(end_s=1.6, throttle_us=((0.0, 1500.0), (0.6, 1900.0)), faults=(), parts={})
    )
    crossings = lane(lanes_of(recording, 1.5), "crossings")
    words = np.array(crossings.words)[crossings.values]
    compared = 0
    for way in ("U↑", "U↓", "V↑", "V↓", "W↑", "W↓"):
        taken, true = (crossings.cycles[words == f"{kind} {way}"] for kind in ("taken", "true"))
        taken = taken[taken > recording.cycle_of(1.4)]
        late = taken - true[np.searchsorted(true, taken, side="right") - 1]
        angle_deg = np.degrees(
            np.diff(recording.theta_at(np.stack([taken - late, taken]) / recording.f_cpu_hz), axis=0)
        )
        compared += len(taken)
        assert np.all((angle_deg >= 0.0) & (angle_deg < 30.0)), way

    assert compared > 300


def test_tones_are_announced_by_their_names(real_run: Any) -> None:
    """What drive.toml calls them."""
    assert "tone ready" in lane(real_run[1], "announced").words


def test_the_pack_gives_back_what_went_in(lanes: Lanes) -> None:
    """Byte planes and differences, undone here in another way than the page does it."""
    description, text = packed(lanes)
    block = zlib.decompress(base64.b64decode(text))

    def planes(entry: dict[str, Any], size: int) -> np.ndarray:
        raw = np.frombuffer(block, np.uint8, entry["n"] * size, entry["at"]).reshape(size, entry["n"])
        return np.ascontiguousarray(raw.T)

    for wanted, got in zip(lanes.lanes, description["lanes"], strict=True):
        if isinstance(wanted, Edges):
            steps = np.pad(planes(got["cycles"], 5), ((0, 0), (0, 3))).view("<i8")[:, 0]
            assert np.array_equal(np.cumsum(steps), wanted.cycles)
            assert np.array_equal(planes(got["values"], 1)[:, 0], wanted.values)
        else:
            assert isinstance(wanted, Curves)
            assert np.array_equal(planes(got["t"], 8).view("<f8")[:, 0], wanted.t_s)
            for curve, entry in zip(wanted.curves, got["curves"], strict=True):
                assert np.array_equal(planes(entry["low"], 4).view("<f4")[:, 0], curve.low)


def test_what_lanes_share_is_written_once(lanes: Lanes) -> None:
    """Times of eight lanes, the neutral of three."""
    description, _ = packed(lanes)
    curves = [one for one in description["lanes"] if one["kind"] == "curves"]
    neutrals = [one["curves"][1] for one in curves if one["key"].startswith("voltage")]

    assert len({one["t"]["at"] for one in curves}) == 1
    assert (
        len({one["low"]["at"] for one in neutrals}) == len({one["complete"]["at"] for one in neutrals}) == 1
    )
    assert len({one["curves"][0]["low"]["at"] for one in curves}) == len(curves) == 8


def test_spans_too_short_for_a_frame_are_one_dense_piece(lanes: Lanes) -> None:
    """A handler of 25 us in four seconds; in a millisecond it is a frame with its name."""
    handlers = lane(lanes, "handlers")
    frames, dense = spans_in_view(handlers, lanes, View(0.0, 4.0))
    near, none = spans_in_view(handlers, lanes, View(0.012, 0.013))

    assert frames == []
    assert dense == [(pytest.approx(0.0125), pytest.approx(0.012525))]
    assert near == [(pytest.approx(0.0125), pytest.approx(0.012525), "comparator edge")]
    assert none == []


def test_what_is_sensed_can_be_seen_at_any_zoom(lanes: Lanes) -> None:
    """U rising from 230 000 of 16 MHz on, its interrupt on; before, V rising for half a millisecond.

    In four seconds that is a tenth of a column, which it fills; in five milliseconds it has its length.
    """
    sense, f_hz = lane(lanes, "sense"), F_CPU_HZ
    for view, wide_s in ((View(0.0, 4.0), 4.0 / 700), (View(0.012, 0.017), (220_010 - 212_032) / f_hz)):
        looks = {(look.leg, look.rises, look.on): look.spans for look in looks_in_view(sense, lanes, view)}
        ((from_s, to_s),) = looks[1, True, False]
        ((on_s, end_s),) = looks[0, True, True]

        assert from_s == pytest.approx(212_000 / f_hz, abs=3e-6)
        assert to_s - from_s == pytest.approx(wide_s, abs=3e-6)
        assert (on_s, end_s) == (pytest.approx(230_000 / f_hz), pytest.approx(view.to_s))


def test_a_long_run_keeps_every_edge_near_the_moment_and_says_so(real_run: Any) -> None:
    """Within a stretch all of them, with the values in force where it begins; curves stay whole."""
    _, lanes = real_run
    most = lanes.edges // 10
    short = kept(lanes, most)
    from_s, to_s = short.edges_s

    assert 0.9 * most < short.edges <= most
    assert from_s < lanes.moment_s < to_s
    for whole, cut in zip(lanes.lanes, short.lanes, strict=True):
        if isinstance(whole, Curves):
            assert cut is whole
            continue
        inside = (whole.cycles >= from_s * lanes.f_cpu_hz) & (whole.cycles <= to_s * lanes.f_cpu_hz)
        more = len(cut.cycles) - int(inside.sum())
        assert more in ((0,) if whole.kind == "ticks" else (0, 1)), whole.key
        assert np.array_equal(cut.cycles[more:], whole.cycles[inside])
        if more:
            first = round(from_s * lanes.f_cpu_hz)
            assert cut.values[0] == whole.values[np.searchsorted(whole.cycles, first) - 1]
    assert f"the run has {lanes.edges:,}, a page keeps {most:,}" in short.missing[-1]
    assert kept(lanes, lanes.edges) is lanes


def test_cycles_that_run_backwards_are_refused() -> None:
    """They would come back as something else."""
    with pytest.raises(ValueError, match="order of time"):
        Packer().cycles(np.array([5, 4], np.int64))


def test_a_capture_of_pins_has_no_curves_and_says_so() -> None:
    """Nothing is drawn that nobody saw."""
    lanes = lanes_of(replace(spiked(), states=np.zeros(0, STATE)), MOMENT_S)

    assert not [one for one in lanes.lanes if isinstance(one, Curves)]
    assert "the recording has none" in lanes.missing[0]


# ---- limits ----------------------------------------------------------------------------------------


def test_limits_on_lanes_name_claims_that_exist() -> None:
    """A claim renamed would silently lose its line."""
    assert set(ON_LANE) <= set(known_claims())


def test_limits_on_lanes_have_the_unit_of_the_claim(real_run: Any) -> None:
    """As the monitors state it; where a claim held something else against its limit there is no line."""
    verdicts = [verdict for verdict in judge(real_run[0]) if verdict.name in ON_LANE and verdict.unit]
    lines = {
        verdict.name: limit_lines(Outcome(verdict.name, "held", limit=verdict.limit, unit=verdict.unit))
        for verdict in verdicts
    }

    assert {verdict.name: verdict.unit for verdict in verdicts} == {
        "electrical.phase_current": "A",
        "electrical.bus_voltage": "V",
        "tones.still": "deg",
    }
    assert [line.lane for line in lines["electrical.phase_current"]] == ["current", "current"]
    assert [line.lane for line in lines["electrical.bus_voltage"]] == ["bus"]
    assert lines["tones.still"] == ()


def test_a_limit_is_drawn_both_ways_where_the_sign_does_not_count() -> None:
    """Phase currents and speeds are held by their size."""
    outcome = Outcome("reversal.phase_current", "broken", -0.1, 1.0, limit=40.0, seen=44.0, unit="A")

    assert [(line.lane, line.value) for line in limit_lines(outcome)] == [
        ("current", 40.0),
        ("current", -40.0),
    ]


def test_a_mean_is_no_line_on_a_curve() -> None:
    """tones.current holds a mean against its limit, which the curve passes all the time."""
    assert limit_lines(Outcome("tones.current", "broken", -0.1, 1.0, limit=0.5, seen=0.6, unit="A")) == ()


# ---- the throttle as a list ------------------------------------------------------------------------


def test_the_pulse_list_plays_the_pulses_of_the_scenario() -> None:
    """Played line by line it gives every pulse at its time, silences included."""
    story = scenario(
        end_s=1.0, throttle_us=((0.0, 1500.0), (0.3, 0.0), (0.5, 1900.0), (0.7, 1100.0)), faults=()
    )
    played = []
    head, *lines = pulse_list(story).splitlines()
    for line in lines:
        start_s, count, width_us, period_ms = map(float, line.split(","))
        played += [(start_s + k * period_ms * 1e-3, width_us) for k in range(int(count)) if width_us]

    assert head == HEADER
    assert len(lines) == 4
    assert [width for _, width in played] == [width for _, width in story.pulses()]
    assert [rise for rise, _ in played] == pytest.approx([rise for rise, _ in story.pulses()])
