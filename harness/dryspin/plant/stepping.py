"""One explicit step of an ODE, and the moment within it at which something happens.

Runge-Kutta of order four; an event is a function of the state that turns positive. The moment is
found by shortening the step itself, so that the state handed back is a full step of the same
method and no interpolation enters.
"""

from __future__ import annotations

from collections.abc import Callable

from dryspin.plant.machine import Rates, Vector

# Events are located to this; a step that ends in an event is at least as long, so that time always
# moves on even if two of them should call each other up.
EVENT_TOLERANCE_S = 1e-11

Margins = Callable[[Vector], tuple[float, ...]]


def rk4(rates: Rates, y: Vector, k1: Vector, h: float) -> Vector:
    """State after a step of `h` seconds from `y`, with `k1` = rates at `y` (classical fourth order).

    Written out for the six components every plant has, which is twice as fast as any loop.
    """
    if len(y) > 6:
        return _rk4_any(rates, y, k1, h)
    u, v, w, b, n, a = y
    ku, kv, kw, kb, kn, ka = k1
    h2 = 0.5 * h
    lu, lv, lw, lb, ln, la = rates(
        u + h2 * ku, v + h2 * kv, w + h2 * kw, b + h2 * kb, n + h2 * kn, a + h2 * ka
    )
    mu, mv, mw, mb, mn, ma = rates(
        u + h2 * lu, v + h2 * lv, w + h2 * lw, b + h2 * lb, n + h2 * ln, a + h2 * la
    )
    nu, nv, nw, nb, nn, na = rates(u + h * mu, v + h * mv, w + h * mw, b + h * mb, n + h * mn, a + h * ma)
    h6 = h / 6.0
    return (
        u + h6 * (ku + 2.0 * (lu + mu) + nu),
        v + h6 * (kv + 2.0 * (lv + mv) + nv),
        w + h6 * (kw + 2.0 * (lw + mw) + nw),
        b + h6 * (kb + 2.0 * (lb + mb) + nb),
        n + h6 * (kn + 2.0 * (ln + mn) + nn),
        a + h6 * (ka + 2.0 * (la + ma) + na),
    )


def _rk4_any(rates: Rates, y: Vector, k1: Vector, h: float) -> Vector:
    """The same for any number of components."""
    h2 = 0.5 * h
    k2 = rates(*(a + h2 * k for a, k in zip(y, k1, strict=True)))
    k3 = rates(*(a + h2 * k for a, k in zip(y, k2, strict=True)))
    k4 = rates(*(a + h * k for a, k in zip(y, k3, strict=True)))
    h6 = h / 6.0
    return tuple(
        a + h6 * (one + 2.0 * (two + three) + four)
        for a, one, two, three, four in zip(y, k1, k2, k3, k4, strict=True)
    )


def locate(
    rates: Rates, y: Vector, k1: Vector, h: float, y_end: Vector, margins: Margins
) -> tuple[float, Vector]:
    """Length (s) of the step from `y` at whose end the first margin has just turned positive.

    Called with a step `h` to `y_end` at which one is positive. The Illinois variant of regula falsi
    on the largest margin, every fourth guess a bisection as the largest margin may have kinks and
    flats; guesses keep off the ends of the bracket, so that both ends close in. The bracket begins
    one tolerance after `y`: a diode that has just begun to conduct has no current yet, and would
    otherwise be found to end where it begins.
    """
    low = min(EVENT_TOLERANCE_S, h)
    y_low = rk4(rates, y, k1, low)
    m_low = max(margins(y_low))
    if m_low > 0.0 or low == h:
        return low, y_low
    high, y_high, m_high = h, y_end, max(margins(y_end))
    last_side = 0
    guesses = 0
    while high - low > EVENT_TOLERANCE_S:
        guesses += 1
        secant = (low * m_high - high * m_low) / (m_high - m_low)
        guess = secant if guesses % 4 else 0.5 * (low + high)
        guess = min(max(guess, low + 0.5 * EVENT_TOLERANCE_S), high - 0.5 * EVENT_TOLERANCE_S)
        y_guess = rk4(rates, y, k1, guess)
        m_guess = max(margins(y_guess))
        if m_guess > 0.0:
            high, y_high, m_high = guess, y_guess, m_guess
            m_low *= 0.5 if last_side > 0 else 1.0
            last_side = 1
        else:
            low, m_low = guess, m_guess
            m_high *= 0.5 if last_side < 0 else 1.0
            last_side = -1
    return high, y_high
