"""The phase comparator as software sees it.

Outside checks: propagation delay 500 ns at 4 V (DS40002011A p. 385), synchroniser "1 - 2
clock cycles" (8161D p. 248), "an interrupt can occur when the bits are changed" (8159E
p. 181), flag set by the chosen edge and cleared by vector entry or by hand (8161D p. 248).
"""

import math
from itertools import pairwise

from dryspin.recording import Recording, Signal

from ..small_firmware import START_UP_CYCLES, Bench, Told

RPM = 1500.0
ELECTRICAL_RAD_S = RPM * math.pi / 30.0 * 7
DRIVEN = {"speed_rpm": ((0.0, RPM),), "rest_deg": 210.0}
"""The rotor turned from outside, all legs open: the sensed phase stands at its EMF."""

IDLE = """
    #include "say.h"
    int main(void)
    {
        SLEEP_FOREVER
    }
"""


def crossings_of_u_s(end_s: float) -> list[float]:
    """Moments at which U's EMF, at rest_deg + w t, passes 0 or 180 degrees: closed form."""
    first = math.ceil(math.radians(210.0) / math.pi)
    times = []
    k = first
    while (t_s := (k * math.pi - math.radians(210.0)) / ELECTRICAL_RAD_S) < end_s:
        times.append(t_s)
        k += 1
    return times


def comparator(recording: Recording) -> list[tuple[int, int]]:
    """Edges of the comparator after the first value, as (cycle, level)."""
    cycles, values, _ = recording.of(Signal.COMPARATOR)
    return [(int(c), int(v)) for c, v in zip(cycles, values, strict=True)][1:]


def test_output_follows_its_input_by_500_ns_and_1_to_2_cycles(bench: Bench) -> None:
    """DS40002011A p. 385, 8161D p. 248: 8 cycles of propagation, then the synchroniser.

    The moments are closed form.
    """
    seen = comparator(bench.run(IDLE, end_s=0.2, **DRIVEN))
    expected = crossings_of_u_s(0.1999)

    assert len(seen) == len(expected) > 60
    assert [level for _, level in seen[:4]] == [1, 0, 1, 0], "U rises at 360 degrees, falls at 540"
    late = [cycle - t_s * 16e6 - 8.0 for (cycle, _), t_s in zip(seen, expected, strict=True)]
    # 0.05 cycles (3 ns): the plant keeps comparator edges to some 25 ns at full load, far better here.
    assert min(late) > 1.0 - 0.05
    assert max(late) < 2.0 + 0.05
    assert max(late) - min(late) > 0.5, "the remainder depends on where in a cycle the edge falls"


def test_a_slower_comparator_answers_later(bench: Bench) -> None:
    """DS40002011A p. 385: 750 ns at 2.7 V, 4 cycles more."""
    fast = comparator(bench.run(IDLE, end_s=0.1, **DRIVEN))
    slow = comparator(bench.run(IDLE, end_s=0.1, parts={"delay_s": 7.5e-7}, **DRIVEN))

    assert {a[0] - b[0] for a, b in zip(slow, fast, strict=True)} == {4}


def test_edges_set_the_flag_with_the_interrupt_off_and_it_outlives_a_change_of_phase(bench: Bench) -> None:
    """8161D p. 248: the flag is the edge detector's, not the multiplexer's; a stale one fires."""
    told = Told(
        bench.run(
            """
            #include "say.h"
            void on_comparator_edge(void) { port_mark(25); }
            int main(void)
            {
                port_sense_edge(PORT_RISES_ABOVE);
                port_sense_clear();
                port_mark(20 + port_sense_flag());
                while (port_sense_above() == 1) {}
                while (port_sense_above() == 0) {}
                port_mark(20 + port_sense_flag());
                port_sense_select(PORT_V);
                for (uint8_t k = 0; k < 20; k++)
                    port_mark(30);
                port_mark(20 + port_sense_flag());
                port_sense_interrupt(1);
                port_interrupts_restore(1);
                port_mark(20 + port_sense_flag());
                SLEEP_FOREVER
            }
        """,
            end_s=0.08,
            **DRIVEN,
        )
    )

    said = [value for _, value in told.marks if value != 30]
    assert said[:5] == [20, 21, 21, 25, 20], "entering the handler clears it"


def test_changing_the_phase_may_itself_be_an_edge(bench: Bench) -> None:
    """8159E p. 181: the new phase stands on the other side of the neutral; the comparator sees a step."""
    told = Told(
        bench.run(
            """
            #include "say.h"
            int main(void)
            {
                /* U has just risen above the neutral: V, 120 degrees behind, is below */
                while (port_sense_above() == 1) {}
                while (port_sense_above() == 0) {}
                port_sense_edge(PORT_FALLS_BELOW);
                port_sense_clear();
                port_mark(20 + port_sense_flag());
                port_sense_select(PORT_V);
                port_mark(20 + port_sense_flag());
                while (port_sense_flag() == 0) {}
                port_mark(22);
                SLEEP_FOREVER
            }
        """,
            end_s=0.08,
            **DRIVEN,
        )
    )

    assert [value for _, value in told.marks] == [20, 20, 22], "not at once: the delay lies in between"
    assert 8 + 1 <= told.marks[2][0] - told.marks[1][0] + 5 <= 8 + 2 + 6, "500 ns after the change"


def test_changing_the_edge_to_what_already_stands_sets_the_flag(bench: Bench) -> None:
    """8159E p. 181: "an interrupt can occur when the bits are changed"; the rig takes the worse case."""
    told = Told(
        bench.run(
            """
            #include "say.h"
            int main(void)
            {
                while (port_sense_above() == 1) {}
                while (port_sense_above() == 0) {}
                port_sense_edge(PORT_RISES_ABOVE);
                port_sense_edge(PORT_FALLS_BELOW);
                port_sense_clear();
                port_sense_edge(PORT_FALLS_BELOW);
                port_mark(20 + port_sense_flag());
                port_sense_edge(PORT_RISES_ABOVE);
                port_mark(20 + port_sense_flag());
                port_sense_clear();
                port_sense_edge(PORT_FALLS_BELOW);
                port_mark(20 + port_sense_flag());
                SLEEP_FOREVER
            }
        """,
            end_s=0.08,
            **DRIVEN,
        )
    )

    assert [value for _, value in told.marks] == [20, 21, 20]


def test_only_the_chosen_edge_sets_the_flag(bench: Bench) -> None:
    """8161D p. 248: "set by edge of the selected mode"."""
    recording = bench.run(
        """
        #include "say.h"
        void on_comparator_edge(void) { port_mark(20 + port_sense_above()); }
        int main(void)
        {
            port_sense_edge(PORT_RISES_ABOVE);
            port_sense_clear();
            port_sense_interrupt(1);
            SLEEP_FOREVER
        }
    """,
        end_s=0.2,
        **DRIVEN,
    )

    rising = [cycle for cycle, level in comparator(recording) if level == 1 and cycle > START_UP_CYCLES]
    marks = Told(recording).marks
    assert [value for _, value in marks] == [21] * len(rising)
    assert {cycle - rise for (cycle, _), rise in zip(marks, rising, strict=True)} == {7 + 3 + 2}


def test_an_offset_shifts_the_crossing_by_what_the_emf_needs_to_overcome_it(bench: Bench) -> None:
    """DS40002011A p. 385: up to 40 mV. With all legs open the input is ratio 2/3 k w f(theta).

    In its ramp f goes from -1 to 1 over 60 degrees; a positive offset makes the phase look higher.
    """
    seen = {
        offset_v: comparator(bench.run(IDLE, end_s=0.2, parts={"offset_v": offset_v}, **DRIVEN))
        for offset_v in (0.0, 0.04, -0.04)
    }
    k_v_s = 0.5 / (1000.0 * 2.0 * math.pi / 60.0)
    slope_v_per_rad = 10.0 / 43.0 * (2.0 / 3.0) * k_v_s * (RPM * math.pi / 30.0) / (math.pi / 6.0)
    shift_cycles = 0.04 / slope_v_per_rad / ELECTRICAL_RAD_S * 16e6

    # Before the rotor is taken along the offset stands alone: an edge at power-on says nothing here.
    moving = ([edge for edge in edges if edge[0] > 1000][:40] for edges in seen.values())
    assert shift_cycles > 1000, "a third of the way from zero to the flat top"
    for (cycle, level), (early, _), (late, _) in zip(*moving, strict=True):
        rises = 1 if level else -1
        assert abs(cycle - early - rises * shift_cycles) <= 2
        assert abs(late - cycle - rises * shift_cycles) <= 2


def test_changing_the_edge_with_the_interrupt_on_enters_the_handler(bench: Bench) -> None:
    """8159E p. 181: "Otherwise an interrupt can occur when the bits are changed": nothing has crossed."""
    recording = bench.run(
        """
        #include "say.h"
        void on_comparator_edge(void) { port_mark(25); }
        int main(void)
        {
            port_sense_edge(1U ^ port_sense_above());
            port_sense_clear();
            port_sense_interrupt(1);
            port_interrupts_restore(1);
            port_mark(20);
            port_sense_edge(port_sense_above());
            port_mark(21);
            SLEEP_FOREVER
        }
    """
    )

    assert comparator(recording) == []
    assert [value for _, value in Told(recording).marks] == [20, 25, 21]


def test_noise_makes_several_edges_of_one_slow_crossing(bench: Bench) -> None:
    """Without hysteresis on the board a signal slower than the noise makes the output chatter."""
    quiet = comparator(bench.run(IDLE, end_s=0.2, **DRIVEN))
    noisy = comparator(bench.run(IDLE, end_s=0.2, comparator_noise_mv=((0.0, 5.0),), **DRIVEN))

    assert len(quiet) == len(crossings_of_u_s(0.2))
    assert len(noisy) > 2 * len(quiet)
    assert {late[1] - early[1] for early, late in pairwise(noisy)} == {1, -1}
