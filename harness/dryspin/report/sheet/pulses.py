"""The throttle of a scenario as a list that a servo-pulse player can play."""

import math
from itertools import groupby

from dryspin.scenario import Scenario, step_value

HEADER = "start_s,pulses,width_us,period_ms"

_MOST_CHANGES = 6
"""Changes of a story that are told one by one."""


def pulse_list(scenario: Scenario) -> str:
    """CSV: pulses of one width a line, in order; a width of 0 is that many periods without a pulse.

    The first pulse rises half a period after power-on, as `Scenario.pulses` has it.
    """
    widths = []
    k = 0
    while (rise_s := _rise_s(scenario, k)) < scenario.end_s:
        widths.append((rise_s, step_value(scenario.throttle_us, rise_s)))
        k += 1
    lines = [HEADER]
    for width_us, group in groupby(widths, key=lambda pulse: pulse[1]):
        pulses = list(group)
        lines.append(f"{pulses[0][0]:.10g},{len(pulses)},{width_us:.10g},{scenario.frame_ms:.10g}")
    return "\n".join(lines) + "\n"


def next_rise_s(scenario: Scenario, t_s: float) -> float:
    """When the first pulse rises from `t_s` on: the one that tells what the stick asks for at `t_s`."""
    k = math.ceil((t_s * 2000.0 / scenario.frame_ms - 1.0) / 2.0 - 1e-9)
    return _rise_s(scenario, max(k, 0))


def frames_text(scenario: Scenario) -> str:
    """Why the list has other moments than the story: a change waits for the next pulse to rise."""
    period = f"{scenario.frame_ms:.10g} ms"
    text = (
        f"Moments of the list are those at which a pulse rises, every {period}, the first half a period "
        "after power-on. A change of the story comes with the first pulse from then on"
    )
    changes = [t_s for t_s, _ in scenario.throttle_us[1:]]
    told = ", ".join(
        f"that of {t_s:.3f} s at {next_rise_s(scenario, t_s):.3f} s" for t_s in changes[:_MOST_CHANGES]
    )
    more = ", and so on" if len(changes) > _MOST_CHANGES else ""
    return f"{text}: {told}{more}." if told else f"{text}."


def _rise_s(scenario: Scenario, k: int) -> float:
    return (2 * k + 1) * scenario.frame_ms / 2000.0
