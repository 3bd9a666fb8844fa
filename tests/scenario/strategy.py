"""Hypothesis strategy of whole scenarios, as wide as the format allows."""

from hypothesis import strategies as st

from dryspin.drive.keys import BEYOND_REASON, NOTHING, Key, Number
from dryspin.scenario import Fault, Scenario
from dryspin.scenario.schema import PARTS, TOP

KEYS: dict[str, Key] = {key.name: key for key in TOP} | dict(PARTS)


def values_of(name: str) -> st.SearchStrategy[float]:
    """Any number that the key of this name takes."""
    key = KEYS[name]
    assert isinstance(key, Number)
    least = -BEYOND_REASON if key.above is None else NOTHING
    return st.floats(
        least if key.at_least is None else key.at_least,
        BEYOND_REASON if key.at_most is None else key.at_most,
    )


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
    moments = sorted(draw(st.lists(st.floats(0.0, end_s, exclude_max=True), max_size=3)))
    names = draw(st.lists(st.sampled_from(sorted(PARTS)), unique=True))
    return Scenario(
        seed=draw(st.integers(0, 2**63 - 1)),
        end_s=end_s,
        rest_deg=draw(st.floats(0.0, 360.0)),
        frame_ms=frame_ms,
        throttle_us=draw(traces(st.floats(0.0, 1000.0 * frame_ms, exclude_max=True), end_s, least=1)),
        supply_v=draw(traces(values_of("supply_v"), end_s)),
        load_factor=draw(traces(values_of("load_factor"), end_s)),
        load_nm=draw(traces(values_of("load_nm"), end_s)),
        speed_rpm=draw(traces(values_of("speed_rpm"), end_s)),
        water_rpm=draw(traces(values_of("water_rpm"), end_s)),
        comparator_noise_mv=draw(traces(values_of("comparator_noise_mv"), end_s)),
        parts={name: draw(values_of(name)) for name in names},
        faults=tuple(Fault("reset", at_s) for at_s in moments),
    )
