"""Spectrum of a pulse train on the windings of a locked rotor."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from ..plant.bench_motor import at, motor
from .bench import go
from .check import Maker, Row, apart, check, share

SPECTRUM = "N. Abbasi, Fourier series of a rectangular pulse signal (12000.org): 2 h d |sinc(n d)|"
WORKED = {
    0.5: (0.6366, 0.0, 0.2122, 0.0, 0.1273),
    0.25: (0.4502, 0.3183, 0.1501, 0.0, 0.0900),
    0.05: (0.0996, 0.0984, 0.0963, 0.0935, 0.0900),
}
"""Amplitudes of the first five harmonics at duty d, for h = 1; published digits, four places."""
F_HZ, R_OHM, L_H, V_V, SAMPLES = 440.0, 2.0, 1e-3, 12.0, 800


@check(SPECTRUM + "; current: over R + j w L")
def pulse_train(make: Maker) -> Iterator[Row]:
    """U chopped between bus and ground at 440 Hz, V at ground; rotor locked, ideal FETs.

    The winding, driven by the published harmonics, carries each over its impedance; the plant's
    current, sampled over one period once settled (five periods are 23 time constants), is taken apart
    again. Edges are the ones of the train; samples lie between them. Aliasing of a current that falls off
    as 1/n^2 leaves less than 1e-4.
    """
    params = motor(r_ohm=R_OHM / 2.0, l_h=L_H / 2.0, r_on_ohm=0.0)
    for duty, published in WORKED.items():
        plant = make(params, at(bus_v=V_V))
        period_s, volts, amperes = 1.0 / F_HZ, [], []
        for period in range(6):
            for n in range(SAMPLES):
                on = (n + 0.5) / SAMPLES < duty
                gates = (1, 2, 0) if on else (2, 2, 0)
                go(plant, (period + (n + 0.5) / SAMPLES) * period_s, gates)
                if period == 5:
                    v_u, v_v, _ = plant.terminal_voltages()
                    volts.append(v_u - v_v)
                    amperes.append(plant.state.i_u_a)
                # edges of the train fall on whole samples
                go(plant, (period + (n + 1.0) / SAMPLES) * period_s, gates)
        lines_v = 2.0 * np.abs(np.fft.rfft(volts)) / SAMPLES
        lines_a = 2.0 * np.abs(np.fft.rfft(amperes)) / SAMPLES
        for n, amplitude in enumerate(published, start=1):
            case = f"duty {duty}, harmonic {n}"
            impedance = abs(complex(R_OHM, 2.0 * math.pi * n * F_HZ * L_H))
            exact = 2.0 * duty * abs(float(np.sinc(n * duty)))
            # half of the last published digit
            yield apart("harmonic of a pulse train", amplitude, lines_v[n] / V_V, 1e-4, "of h", case)
            if exact > 1e-9:
                yield share("harmonic of its current", exact * V_V / impedance, lines_a[n], 0.1, case)
            else:
                yield apart("current at a null of the train", 0.0, lines_a[n], 1e-4, "A", case)


@check("V t/L of a short pulse, and V d/R of its mean: closed forms")
def current_of_a_tone(make: Maker) -> Iterator[Row]:
    """What bounds the current of a tone: peak of the first pulse of 20 us, mean of a settled train of 5 %."""
    params = motor(r_ohm=0.05, l_h=30e-6, r_on_ohm=0.0)
    plant = make(params, at(bus_v=V_V))
    go(plant, 20e-6, (1, 2, 0))
    # R t / 2L = 1.7 % of it is what resistance takes off
    yield share("peak of a short pulse", V_V * 20e-6 / 60e-6, plant.state.i_u_a, 2.0)
    params = motor(r_ohm=R_OHM / 2.0, l_h=L_H / 2.0, r_on_ohm=0.0)
    plant = make(params, at(bus_v=V_V))
    charge_c, last_a = 0.0, 0.0
    for period in range(6):
        for n in range(400):
            go(plant, (period + (n + 1) / 400.0) / F_HZ, (1 if n < 20 else 2, 2, 0))
            if period == 5:
                charge_c += 0.5 * (last_a + plant.state.i_u_a) / 400.0 / F_HZ
            last_a = plant.state.i_u_a
    yield share("mean current of a tone", V_V * 0.05 / R_OHM, charge_c * F_HZ, 0.1)
