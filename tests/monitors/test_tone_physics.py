"""Tones of a firmware of a few lines on the rig, against sound and circuits as the books have them.

The firmware pulses two pairs of windings in turn, as often and as long as it is told.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from dryspin.drive import Tone
from dryspin.monitors import Status
from dryspin.recording import Mark, Recording, Signal, find_winding_pulses
from dryspin.units import frequency_hz

from ..small_firmware import Bench
from .courtroom import verdicts

F_CPU_HZ = 16e6
TICK_S = 0.5e-6
COUNT = 120

TONE_OF = """
    #include "drive_port.h"
    #define PERIOD_TICKS {period}U
    #define PULSE_TICKS {pulse}U
    #define COUNT {count}U

    static volatile uint8_t woke;

    void on_compare_a(void)
    {{
        woke = 1U;
    }}

    static void wait_until(uint16_t at_ticks)
    {{
        woke = 0U;
        port_compare_a(at_ticks);
        port_compare_a_clear();
        port_compare_a_interrupt(1U);
        while (woke == 0U) {{
            (void)port_interrupts_off();
            port_idle();
        }}
    }}

    int main(void)
    {{
        uint16_t due;
        uint8_t k;

        port_mark(PORT_MARK_OFF);
        port_mark(PORT_MARK_TONE);
        port_mark(40U);
        due = (uint16_t)(port_ticks() + 200U);
        for (k = 0U; k < COUNT; k++) {{
            uint8_t high = (uint8_t)(({turn}) ? PORT_U : PORT_V);
            uint8_t low = (uint8_t)(PORT_V - high);

            wait_until(due);
            port_leg(low, PORT_LOW);
            port_leg(high, PORT_HIGH);
            wait_until((uint16_t)(due + PULSE_TICKS));
            port_all_open();
            due = (uint16_t)(due + PERIOD_TICKS);
        }}
        port_mark(PORT_MARK_OFF);
        for (;;) {{
            (void)port_interrupts_off();
            port_interrupts_restore(1U);
            port_idle();
        }}
    }}
"""

IN_TURN, ONE_PAIR = "(k & 1U) == 0U", "1"


def play(
    bench: Bench, period: int, *, pulse: int = 60, turn: str = IN_TURN, note: str = "B6", **changes: object
) -> Recording:
    """`COUNT` pulses of `pulse` ticks, `period` ticks from one to the next, declared as `note`."""
    length_ms = 1e3 * COUNT * period * TICK_S
    tone = Tone("tried", 40, ((note, length_ms),), 1e6 * (pulse + 1) * TICK_S)
    bench.drive = replace(bench.drive, tones=(tone,))
    text = TONE_OF.format(period=period, pulse=pulse, count=COUNT, turn=turn)
    return bench.run(text, end_s=0.1 + 1e-3 * length_ms, **changes)


def train(run: Recording) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Start and stop (s) of every pulse at the gates, and its sign: +1 for U high, -1 for V high."""
    pulses = find_winding_pulses(run.gates, 0, run.end_cycle, 0)
    sign = np.where(pulses.pairs == pulses.pairs[0], 1.0, -1.0)
    return pulses.starts / F_CPU_HZ, pulses.stops / F_CPU_HZ, sign


def line(run: Recording, hz: float, signed: bool = False) -> float:
    """Amplitude of the spectral line at `hz` of the pulses (height 1), exactly, from their edges.

    The integral of exp(-i w t) over the pulses, over a whole number of periods.
    """
    starts, stops, sign = train(run)
    w = 2.0 * math.pi * hz
    height = sign if signed else np.ones_like(sign)
    parts = height * (np.exp(-1j * w * starts) - np.exp(-1j * w * stops)) / (1j * w)
    length_s = len(starts) * float(np.mean(np.diff(starts)))
    return 2.0 * abs(complex(parts.sum())) / length_s


@pytest.mark.parametrize("pulse", [60, 100, 250])
def test_lines_of_the_gate_pulses_are_those_of_a_rectangular_train(bench, pulse):
    """One-sided amplitudes 2 h d |sin(pi n d) / (pi n d)| (N. Abbasi, "Fourier series coefficients of a
    rectangular pulse signal", 12000.org), to 0.1 % of the first: d is the share the pulses really have."""
    run = play(bench, 1000, pulse=pulse)
    starts, stops, _ = train(run)
    d = float(np.mean(stops - starts)) / 500e-6
    seen = np.array([line(run, 2000.0 * n) for n in range(1, 11)])
    # numpy's sinc is sin(pi x) / (pi x).
    expected = np.array([2.0 * d * abs(np.sinc(n * d)) for n in range(1, 11)])

    assert d == pytest.approx(pulse / 1000, abs=0.002)
    assert seen == pytest.approx(expected, abs=1e-3 * expected[0])


def test_short_pulses_have_ten_lines_of_almost_one_height(bench):
    """With pulses of 2 % no line stands out (own calculation from the formula above), so the pitch is
    the spacing of the lines, and nothing lies between them."""
    run = play(bench, 1000, pulse=20)
    heights = np.array([line(run, 2000.0 * n) for n in range(1, 11)])
    between = [line(run, 2000.0 * n + 1000.0) for n in range(10)]

    assert heights.min() > 0.9 * heights.max()
    assert max(between) < 0.01 * heights.max()


def test_two_windings_in_turn_are_a_2_khz_train_with_a_1_khz_pattern(bench):
    """500 us from pulse to pulse: the pull of the pulses repeats every 500 us, its sign every 1 ms
    (common practice, no source). With the sign, lines lie at odd multiples of 1 kHz only."""
    run = play(bench, 1000)
    unsigned = [line(run, 1000.0 * n) for n in (1, 2, 3, 4)]
    signed = [line(run, 1000.0 * n, signed=True) for n in (1, 2, 3, 4)]

    assert max(unsigned[0], unsigned[2]) < 0.01 * min(unsigned[1], unsigned[3])
    assert max(signed[1], signed[3]) < 0.01 * min(signed[0], signed[2])
    assert verdicts(run)["tones.alternation"].status == Status.HELD


HANDBOOK_HZ = {"C4": 261.63, "A4": 440.00, "C6": 1046.50, "D6": 1174.66, "E6": 1318.51, "F6": 1396.91}
"""CRC Handbook table of the equal-tempered scale (hbcp.chemnetbase.com 14_22); A4 by ISO 16:1975."""


@pytest.mark.parametrize(("note", "hz"), HANDBOOK_HZ.items())
def test_a_note_to_the_nearest_tick_is_in_tune(bench, note, hz):
    """Half a tick of 0.5 us is half a cent at 1.2 kHz: well within 5 cents of the handbook's frequency."""
    run = play(bench, round(1.0 / (hz * TICK_S)), note=note)
    starts, _, _ = train(run)
    seen_hz = 1.0 / float(np.mean(np.diff(starts)))
    verdict = verdicts(run)["tones.pitch"]

    assert verdict.status == Status.HELD
    assert verdict.seen == pytest.approx(abs(1200.0 * math.log2(seen_hz / hz)), abs=0.05)
    assert verdict.seen < 0.7
    # The line of the declared pitch is there; a semitone above, 7 bins of 120 periods, there is none.
    assert line(run, seen_hz) > 100.0 * line(run, seen_hz * (1.0 + 7.0 / COUNT))


@pytest.mark.parametrize(
    ("cents", "status"), [(4.5, Status.HELD), (5.5, Status.BROKEN), (-5.5, Status.BROKEN)]
)
def test_five_cents_are_the_bound(bench, cents, status):
    """Equal temperament (ISO 16:1975): a cent is the 1200th root of two. A4 has 4545 ticks, so a tick
    is 0.4 cents there."""
    period = round(1.0 / (440.0 * 2.0 ** (cents / 1200.0) * TICK_S))

    assert verdicts(play(bench, period, note="A4"))["tones.pitch"].status == status


@pytest.mark.parametrize(("pulse", "supply_v"), [(40, 9.6), (60, 11.1), (60, 12.6), (100, 11.1)])
def test_the_mean_winding_current_is_that_of_the_circuit(bench, pulse, supply_v):
    """Rise by V / R (1 - exp(-t R / L)) in two phases and two FETs, decay through two diodes against
    V + 2 Vf (closed forms of tests/plant). 3 %: the bus sags a little meanwhile."""
    drive = bench.drive
    period = 1911
    run = play(bench, period, pulse=pulse, note="C6", supply_v=((0.0, supply_v),))
    starts, stops, _ = train(run)
    t_on = float(np.mean(stops - starts))
    l_ll = 2.0 * drive.motor.l_phase_h.nominal
    r_ll = 2.0 * (drive.motor.r_phase_ohm.nominal + drive.bridge.r_on_ohm.nominal)
    tau = l_ll / r_ll
    peak_a = supply_v / r_ll * (1.0 - math.exp(-t_on / tau))
    rise_as = supply_v / r_ll * (t_on - tau * (1.0 - math.exp(-t_on / tau)))
    floor_a = (supply_v + 2.0 * drive.bridge.v_f_v.nominal) / r_ll
    t_off = tau * math.log(1.0 + peak_a / floor_a)
    fall_as = (peak_a + floor_a) * tau * (1.0 - math.exp(-t_off / tau)) - floor_a * t_off
    mean_a = (rise_as + fall_as) / (period * TICK_S)
    seen_a = float(np.max(np.abs(run.states["i_u_a"])))

    assert seen_a == pytest.approx(peak_a, rel=0.03)
    # Resistance only takes from the straight line V t / L.
    assert 0.8 < seen_a / (supply_v * t_on / l_ll) < 1.0
    assert verdicts(run)["tones.current"].seen == pytest.approx(mean_a, rel=0.03)
    # V / R d bounds the mean while the pulse lasts; as much again decays after it.
    assert mean_a < 2.0 * supply_v / r_ll * t_on / (period * TICK_S)


def test_pulses_in_turn_leave_the_rotor_where_it_is_and_one_pair_alone_turns_it(bench):
    """Opposite pulses pull to and fro at whatever angle; pulses all of one sign add up."""
    weak = {"parts": {"coulomb": 0.0}}
    turned = []
    for turn in (IN_TURN, ONE_PAIR):
        run = play(bench, 1911, turn=turn, note="C6", rest_deg=0.0, **weak)
        theta = run.state_theta_rad
        turned.append(float(np.degrees(np.max(np.abs(theta - theta[0])))))

    assert turned[0] < 2.0
    assert turned[1] > 10.0 * turned[0]


def test_the_rig_hears_what_the_firmware_says(bench):
    """Tone and number are told, the notes are as declared, and every claim on tones holds."""
    run = play(bench, 1911, note="C6")
    found = {name: v for name, v in verdicts(run).items() if name.startswith("tones.")}
    values = run.of(Signal.MARK)[1]

    assert Mark.TONE in values
    assert {name for name, v in found.items() if v.status != Status.HELD} == set()
    assert frequency_hz("C6") == pytest.approx(1046.50, abs=0.01)
