"""What a scope can trigger on to see a moment of a story."""

from itertools import pairwise

from dryspin.report.numbers import number
from dryspin.report.sheet.pulses import next_rise_s
from dryspin.scenario import Scenario, linear_value


def last_trigger(scenario: Scenario, moment_s: float) -> tuple[str, float]:
    """The last thing before the moment that a scope can trigger on, and when it comes."""
    supply_v = linear_value(scenario.supply_v, 0.0, 0.0)
    half = f"{number(supply_v / 2)} V" if supply_v else "half of the supply's voltage"
    found = [(0.0, f"power-on: the bus rising through {half}")]
    steps = scenario.throttle_us
    for (_, before_us), (t_s, after_us) in pairwise(steps):
        rise_s = next_rise_s(scenario, t_s)
        if after_us == 0.0:
            text = (
                f"throttle line without a pulse for {number(1.5 * scenario.frame_ms)} ms (time-out trigger)"
            )
            found.append((rise_s + 0.5e-3 * scenario.frame_ms, text))
        elif before_us == 0.0:
            found.append((rise_s, "first rising edge of the throttle line after the silence"))
        else:
            middle_us, more = (before_us + after_us) / 2.0, after_us > before_us
            text = (
                f"throttle pulse {'longer' if more else 'shorter'} than {number(middle_us)} us (pulse width"
            )
            found.append((rise_s + after_us * 1e-6, f"{text} trigger)"))
    for fault in scenario.faults:
        if fault.kind == "reset":
            found.append((fault.at_s, "reset pin falling through half of the controller's supply"))
        elif fault.kind in ("power cut", "supply gap"):
            found.append((fault.at_s, f"supply falling through {half}"))
    at_s, text = max(((t, s) for t, s in found if t <= moment_s), default=found[0], key=lambda item: item[0])
    return text, at_s
