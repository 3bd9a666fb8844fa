"""The throttle of a scenario as a list that a servo-pulse player can play."""

from itertools import groupby

from dryspin.scenario import Scenario, step_value

HEADER = "start_s,pulses,width_us,period_ms"


def pulse_list(scenario: Scenario) -> str:
    """CSV: pulses of one width a line, in order; a width of 0 is that many periods without a pulse.

    The first pulse rises half a period after power-on, as `Scenario.pulses` has it.
    """
    widths = []
    k = 0
    while (rise_s := (2 * k + 1) * scenario.frame_ms / 2000.0) < scenario.end_s:
        widths.append((rise_s, step_value(scenario.throttle_us, rise_s)))
        k += 1
    lines = [HEADER]
    for width_us, group in groupby(widths, key=lambda pulse: pulse[1]):
        pulses = list(group)
        lines.append(f"{pulses[0][0]:.10g},{len(pulses)},{width_us:.10g},{scenario.frame_ms:.10g}")
    return "\n".join(lines) + "\n"
