"""Hypothesis strategy of whole scenarios, as wide as the format allows."""

from hypothesis import strategies as st

from dryspin.scenario import Fault, Scenario
from dryspin.scenario.schema import PARTS


@st.composite
def traces(draw: st.DrawFn, values: st.SearchStrategy[float], end_s: float, least: int = 0):
    """Points from 0 s, strictly increasing, up to the end."""
    later = draw(st.lists(st.floats(0.0, end_s, exclude_min=True), unique=True, max_size=5))
    times = [0.0, *sorted(later)]
    if least == 0 and draw(st.booleans()):
        return ()
    return tuple((t_s, draw(values)) for t_s in times)


@st.composite
def scenarios(draw: st.DrawFn) -> Scenario:
    """Any scenario that the format can hold."""
    end_s = draw(st.floats(1e-3, 600.0))
    frame_ms = draw(st.floats(1.0, 1000.0))
    positive = st.floats(0.0, 1e12)
    any_value = st.floats(allow_nan=False, allow_infinity=False)
    moments = sorted(draw(st.lists(st.floats(0.0, end_s, exclude_max=True), max_size=3)))
    names = draw(st.lists(st.sampled_from(sorted(PARTS)), unique=True))
    return Scenario(
        seed=draw(st.integers(0, 2**63 - 1)),
        end_s=end_s,
        rest_deg=draw(st.floats(0.0, 360.0)),
        frame_ms=frame_ms,
        throttle_us=draw(traces(st.floats(0.0, 1000.0 * frame_ms, exclude_max=True), end_s, least=1)),
        supply_v=draw(traces(positive, end_s)),
        load_factor=draw(traces(positive, end_s)),
        load_nm=draw(traces(any_value, end_s)),
        speed_rpm=draw(traces(any_value, end_s)),
        comparator_noise_mv=draw(traces(positive, end_s)),
        parts={name: draw(st.floats(1e-12, 1e12)) for name in names},
        faults=tuple(Fault("reset", at_s) for at_s in moments),
    )
