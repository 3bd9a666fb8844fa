"""From finding to bench: what is probed, when the scope triggers, what it shows, what comes before."""

from dataclasses import replace

import numpy as np
import pytest

from dryspin.findings import Outcome
from dryspin.recording import STATE, Leg, Recording, Signal
from dryspin.report.sheet import BenchRun, bench_stories
from dryspin.report.sheet.bench import bench_of
from dryspin.report.sheet.clock import clock_of
from dryspin.report.sheet.moving import is_flat, livelier
from dryspin.report.sheet.placement import Probe, window_s
from dryspin.report.sheet.probes import supply_a, trace
from dryspin.report.sheet.pulses import frames_text, next_rise_s
from dryspin.report.sheet.screen import columns, screen_of
from dryspin.report.sheet.terminals import terminals_of
from dryspin.report.sheet.timebase import BEFORE, Base, base_of
from dryspin.scenario import Fault

from ..recording.samples import recording, scenario, turning
from .sheet_samples import PULSE_S, SPIKE_S, case, spiked


def test_the_bench_is_told_to_take_the_propeller_off_first() -> None:
    """Whatever the claim, and even if nobody tried it without."""
    bench = bench_of(case(spiked(0.1)))

    assert bench.propeller_off.startswith("Propeller off.")
    assert "A battery only where it may burn" in " ".join(bench.before)
    assert "common practice, no source" in bench.current_limit


def test_the_trigger_is_the_last_event_before_the_moment() -> None:
    """A step from 1500 to 1900 us at 2 s, seen by a pulse width between; the moment 1.5 s later."""
    story = spiked()
    outcome = Outcome("reversal.phase_current", "broken", -0.4, 3.5, limit=40.0, seen=55.0, unit="A")
    bench = bench_of(case(story, outcome=outcome))

    assert bench.trigger == "throttle pulse longer than 1 700 us (pulse width trigger)"
    # the frame of 20 ms after 2 s begins its pulse at 2.01 s; it has been told long after 1.9 ms
    assert "1 ms a division, the trace delayed by 1.4881 s" in bench.time_base


def test_two_high_legs_are_probed_both() -> None:
    """Their high gates, on the two legs that are commanded high at the moment; without a motor supply."""
    rows = [
        (0, Signal.GATE_U, 0),
        (0, Signal.GATE_V, 0),
        (0, Signal.GATE_W, 0),
        (0, Signal.LEG_V, int(Leg.OPEN)),
    ]
    rows += [(80_000, Signal.LEG_U, int(Leg.CHOPPED)), (80_000, Signal.LEG_W, int(Leg.HIGH))]
    rows += [(80_000, Signal.GATE_U, 1), (80_000, Signal.GATE_W, 1)]
    one = recording(rows, scenario=scenario(faults=()))
    bench = bench_of(case(one, outcome=Outcome("gates.two_high", "broken", -1.0, 0.005)))

    assert "high FET of leg U" in bench.probes[0]
    assert "high FET of leg W" in bench.probes[1]
    assert bench.sees[1].startswith("goes on 1 x, off 0 x")
    assert "with the motor supply off, where" in " ".join(bench.before)


def test_a_supply_that_is_taken_away_gives_nothing() -> None:
    """11.1 V less what is left on the bus, over 25 mohm, would be hundreds of amperes that nobody draws."""
    story = scenario(faults=(Fault("power cut", 0.002, 3.0),))
    one = recording([(0, Signal.GATE_U, 0)], scenario=story)
    states = one.states.copy()
    states["v_bus_v"] = 11.0
    one = replace(one, states=states)
    drawn = supply_a(one, terminals_of(one))

    assert drawn[0] == pytest.approx(0.1 / 0.025)
    assert drawn[len(drawn) // 3] == 0.0
    assert drawn[-1] == pytest.approx(0.1 / 0.025)


def test_a_stick_travel_is_no_stretch_of_time() -> None:
    """Its microseconds must not become a time base."""
    outcome = Outcome("calibration.sane_range", "broken", -0.25, 0.05, limit=200.0, seen=150.0, unit="us")

    assert clock_of(outcome, spiked(0.1)) is None
    assert window_s(outcome) == 1.0


def test_the_time_base_holds_limit_and_what_was_seen() -> None:
    """148 us against 10 us are seen in 296 us."""
    outcome = Outcome("commutation.sensed_edge", "broken", -14.0, 0.05, limit=10.0, seen=148.0, unit="us")

    assert window_s(outcome) == pytest.approx(296e-6)


def test_a_probe_shows_what_the_run_holds() -> None:
    """The spike of 55 A at 3.1 s, on the phase that has it."""
    outcome = Outcome("reversal.phase_current", "broken", -0.4, 3.1, limit=40.0, seen=55.0, unit="A")
    bench = bench_of(case(spiked(), outcome=outcome))

    assert "lead of phase U" in bench.probes[0]
    assert bench.sees[0].startswith("0 to 55 A; 55 A at 3.10000 s")


def test_the_run_of_the_figures_is_told_apart_from_that_of_the_lanes() -> None:
    """Its moment lies elsewhere: whoever compares lanes and screen must know before, in bold."""
    lanes, outcome = spiked(), Outcome("reversal.phase_current", "broken", -0.4, 3.1, 40.0, 55.0, "A")
    later = replace(outcome, moment_s=3.1002)
    bench = bench_of(case(lanes, outcome=outcome, bench=BenchRun(lanes, later)))

    assert "not of the one in the lanes above" in bench.another_run
    assert "200 us later than in the lanes, at 3.100200 s instead of 3.100000 s" in bench.another_run
    same = bench_of(case(lanes, outcome=outcome, bench=BenchRun(lanes, outcome))).another_run
    assert "Its moment is the same, to the microsecond, but its currents and speeds are not." in same
    assert "(3.1002 s of this run)" in bench.time_base
    untried = bench_of(case(lanes, outcome=outcome, bench=BenchRun(lanes, replace(later, status="held"))))
    assert untried.another_run == ""
    assert "(3.1000 s of the lanes)" in untried.time_base


def test_the_screen_loses_no_spike_and_no_pulse() -> None:
    """A microsecond of 55 A in 10 ms, and one of a gate, each in the column that it is in."""
    outcome = Outcome("reversal.phase_current", "broken", -0.4, SPIKE_S, 40.0, 55.0, "A")
    screen = bench_of(case(spiked(), outcome=outcome)).screen
    current = next(one for one in screen.traces if one.name == "current U")
    borders, _, high = columns(current, *screen.base.window)
    (at,) = np.flatnonzero(high > 50.0)

    assert screen.base.window == (pytest.approx(SPIKE_S - 3e-3), pytest.approx(SPIKE_S + 7e-3))
    assert borders[at] <= SPIKE_S + 0.5e-6 <= borders[at + 1]
    one = spiked()
    base = Base(1e-3, PULSE_S, BEFORE, PULSE_S)
    gate = screen_of((Probe("high", "V"),), one, terminals_of(one), base).traces[0]
    borders, low, high = columns(gate, PULSE_S - 3e-3, PULSE_S + 7e-3)
    on = np.flatnonzero(high)
    assert (gate.name, gate.unit, low.max()) == ("high gate V", "", 0.0)
    assert len(on) <= 2
    assert borders[on[0]] <= PULSE_S + 0.5e-6 <= borders[on[-1] + 1]


def test_the_screen_of_a_capture_of_pins_shows_what_it_has() -> None:
    """Edges without currents: nothing is drawn that nobody saw."""
    pins = replace(spiked(0.1), states=np.zeros(0, STATE))

    assert [one.name for one in bench_of(case(pins)).screen.traces] == []
    gates = Outcome("gates.pattern", "broken", -1.0, 0.05)
    assert [one.name[:-1] for one in bench_of(case(pins, outcome=gates)).screen.traces] == [
        "high gate ",
        "low gate ",
    ]


def test_a_trace_ends_where_the_run_ends() -> None:
    """Beyond it nobody knows: a flat line there would be read as a leg at rest."""
    one = spiked(0.1)
    base = Base(0.01, 0.09, BEFORE, 0.09)
    bus = screen_of((Probe("bus", "U"),), one, terminals_of(one), base).traces[0]
    _, low, high = columns(bus, *base.window)

    # a tenth of a second into the run is four divisions of ten into 700 columns
    assert np.all(np.isfinite(low[:280]))
    assert np.all(np.isnan(low[281:]) & np.isnan(high[281:]))


def test_a_deadlines_clock_starts_on_the_screen() -> None:
    """0.7 s before the moment, which stands at eight divisions of ten: 0.1 s each."""
    outcome = Outcome("startup.in_time", "broken", -0.1, 2.0, limit=0.7, seen=0.77, unit="s")
    base = base_of(outcome, clock_of(outcome, spiked(0.1)), 2.0)

    assert base.division_s == pytest.approx(0.1)
    assert base.window == (pytest.approx(1.2), pytest.approx(2.2))
    assert base.since_s == pytest.approx(1.3)
    assert "stands eight divisions from the left" in base.text(1.3, "this run")


def test_crossings_can_be_seen_by_a_probe_between_phase_and_neutral() -> None:
    """With all legs open it passes zero where the phase's EMF does: that of U at 0 and 180 degrees."""
    states = turning(1000.0, 0.1, rows=2_001)
    open_legs = [(0, Signal.GATE_U, 0)]
    one = recording(open_legs, scenario=scenario(faults=(), parts={}, end_s=0.1), states=states)
    t_s, values, unit = trace("crossing", "U", one, terminals_of(one), (0.0, 0.1))
    passed_s = t_s[1:][np.diff(np.sign(values)) != 0]
    # 1000 rpm and 7 pole pairs, 10 degrees at power-on: at 180 degrees first, then every half turn
    true_s = (170.0 + 180.0 * np.arange(len(passed_s))) / 42_000.0

    assert unit == "V"
    assert len(passed_s) == 23
    assert passed_s == pytest.approx(true_s, abs=1e-4)


def test_a_finding_about_crossings_is_probed_where_they_can_be_seen() -> None:
    """A start that never catches its rotor: on the time base of its deadline, and close enough for each."""
    late = Outcome("startup.in_time", "broken", -0.1, 1.0, limit=0.7, seen=0.77, unit="s")
    bench = bench_of(case(spiked(), outcome=late))

    assert "against the neutral of the board's resistors" in bench.probes[1]
    assert "the comparator changes where it passes zero" in bench.probes[1]
    # 116.7 electrical turns a second: two of them are 17 ms, ten divisions of 2 ms
    assert bench.closer.screen.base.division_s == pytest.approx(2e-3)
    assert "the last 1.9 electrical turns before the moment, 1.000000 s" in bench.closer.text
    for name in ("angle", "false_crossings", "missed_crossings", "sensed_edge", "sensed_phase"):
        bench = bench_of(case(spiked(), outcome=Outcome(f"commutation.{name}", "broken", -1.0, 1.0)))
        assert "against the neutral" in bench.probes[0], name
        assert bench.closer is None


# ---- a probe that shows something after the moment -------------------------------------------------

_FROM_S, _MOMENT_S, _TO_S = 0.002, 0.005, 0.009


def _chopped_in_u() -> Recording:
    """V low throughout, W off, U chopped from 5 ms on: 31 on-times of 60 us."""
    rows = [(0, Signal.GATE_U, 0), (0, Signal.GATE_V, 2), (0, Signal.GATE_W, 0)]
    for k in range(31):
        rows += [(80_000 + 2_000 * k, Signal.GATE_U, 1), (80_960 + 2_000 * k, Signal.GATE_U, 0)]
    return recording(rows, scenario=scenario(faults=(), parts={}))


def test_the_second_probe_goes_to_a_leg_that_moves_after_the_moment() -> None:
    """A terminal that its low FET holds at zero would be a flat line on half of the screen."""
    one = _chopped_in_u()
    points, window = terminals_of(one), (_FROM_S, _TO_S)

    assert is_flat(Probe("terminal", "V"), one, points, _MOMENT_S, window)
    assert livelier(Probe("terminal", "V"), one, points, _MOMENT_S, window) == Probe("terminal", "U")
    assert livelier(Probe("low", "W"), one, points, _MOMENT_S, window) == Probe("low", "W")


def test_a_probe_that_is_flat_after_the_moment_says_why() -> None:
    """The FET that holds its leg; a probe that moves says nothing of the kind."""
    one = _chopped_in_u()
    gates = Outcome("gates.both_fets", "broken", -1.0, _MOMENT_S)
    bench = bench_of(case(one, outcome=gates))

    assert bench.probes[1].startswith("gate of the low FET of leg U")
    assert bench.sees[0].startswith("goes on ")
    assert "Flat" not in bench.sees[0]
    assert bench.sees[1] == "stays off. Flat after the moment."
    held = bench_of(case(_held_low(), outcome=gates))
    assert held.sees[1].endswith("Flat after the moment: in leg V the low FET stays on.")


def _held_low() -> Recording:
    rows = [(0, Signal.GATE_U, 0), (0, Signal.GATE_V, 0), (0, Signal.GATE_W, 0), (70_000, Signal.GATE_V, 2)]
    return recording(rows, scenario=scenario(faults=(), parts={}))


# ---- what the bench plays --------------------------------------------------------------------------


def test_the_list_of_pulses_says_how_its_moments_follow_from_the_storys() -> None:
    """Pulses rise at 10, 30, 50 ms ...: 1.6 s of the story comes with that of 1.61 s, 0.63 s at once."""
    story = scenario(end_s=2.0, throttle_us=((0.0, 1500.0), (0.63, 1900.0), (1.6, 1100.0)), faults=())

    assert "that of 0.630 s at 0.630 s, that of 1.600 s at 1.610 s." in frames_text(story)
    rises = [rise for rise, width in story.pulses() if width == 1100.0]
    assert next_rise_s(story, 1.6) == rises[0]


def test_a_long_story_is_tried_up_to_its_moment_first() -> None:
    """Half a minute after the moment is not needed to show it; the supply's slope is that of the story."""
    story = scenario(
        end_s=40.0,
        throttle_us=((0.0, 1500.0), (1.0, 1900.0), (30.0, 1100.0)),
        supply_v=((0.0, 12.0), (40.0, 8.0)),
        faults=(Fault("power cut", 20.0, 30.0),),
    )
    outcome = Outcome("reversal.phase_current", "broken", -0.4, 2.0, 40.0, 55.0, "A")
    short, whole = bench_stories(story, outcome)

    assert short.end_s == pytest.approx(3.02)
    assert short.throttle_us == ((0.0, 1500.0), (1.0, 1900.0))
    assert short.faults == ()
    assert short.supply_v[-1] == pytest.approx((3.02, 12.0 - 0.1 * 3.02))
    assert whole == replace(story, load_factor=((0.0, 0.0),))
    assert bench_stories(story, replace(outcome, moment_s=35.0)) == [whole]


def test_a_run_up_to_the_moment_says_how_far_it_went() -> None:
    """Whoever reads that the claim breaks there too knows up to when it was tried."""
    outcome = Outcome("reversal.phase_current", "broken", -0.4, SPIKE_S, 40.0, 55.0, "A")
    lanes, shorter = spiked(), spiked(3.2)
    bench = bench_of(case(lanes, outcome=outcome, bench=BenchRun(shorter, outcome)))

    assert "Tried so in the model, up to 3.20 s, from a supply" in bench.propeller_off
    assert "up to" not in bench_of(case(lanes, outcome=outcome, bench=BenchRun(lanes, outcome))).propeller_off


def test_the_mean_current_is_that_of_the_charge() -> None:
    """0.1 V over 25 mohm are 4 A all the time, whatever the pieces in which it is gone through."""
    one = recording([(0, Signal.GATE_U, 0)], scenario=scenario(faults=(), parts={}, end_s=0.1))
    states = one.states.copy()
    states["v_bus_v"] = 11.0
    bench = bench_of(case(replace(one, states=states), outcome=Outcome("a.b", "broken", -1.0, 0.05)))

    assert "draws at most 4 A as a mean over 10 ms" in bench.current_limit
    assert "The same is to be expected from a limit of 4 A on" in bench.current_limit
    states["v_bus_v"] = 11.0 + 0.0625
    little = bench_of(case(replace(one, states=states), outcome=Outcome("a.b", "broken", -1.0, 0.05)))
    assert "That is enough to see the same" in little.current_limit
    assert "draws at most 1.5 A" in little.current_limit
