"""The stick as the monitors read it from the pin."""

import pytest

from dryspin.monitors.demand import FORWARD, NEUTRAL, REVERSE, UNCLEAR, read_demand

from .synthetic import F_CPU_HZ, Story


def _demand(*widths_us: float, f_cpu_hz: float = F_CPU_HZ):
    """Demand of one pulse a frame."""
    steps = [(0.02 * k, us) for k, us in enumerate(widths_us)]
    story = Story(throttle=steps, end_s=0.02 * len(widths_us) + 0.005)
    run = story.recording(f_cpu_hz=f_cpu_hz, end_cycle=round((story.end_s + 1) * F_CPU_HZ))
    return read_demand(run)


@pytest.mark.parametrize(
    ("us", "surely", "maybe"),
    [
        (1500.0, {"neutral"}, {"neutral"}),
        (1538.0, {"neutral"}, {"neutral"}),
        (1539.5, set(), {"neutral", "forward"}),
        (1542.0, {"not_neutral"}, {"forward"}),
        (1565.0, {"not_neutral", "forward"}, {"forward"}),
        (1435.0, {"not_neutral", "reverse"}, {"reverse"}),
        (799.5, set(), {"reverse"}),
        (798.0, {"invalid"}, set()),
        (2202.0, {"invalid"}, set()),
    ],
)
def test_a_width_is_what_it_surely_is_or_maybe(us, surely, maybe):
    """Dead band 40 us, valid 800 to 2200 us, guard 1 us (two ticks): the drive's own declaration."""
    demand = _demand(us)
    sure = ("neutral", "not_neutral", "forward", "reverse", "invalid")

    assert {name for name in sure if getattr(demand, name)[0]} == surely
    names = ("neutral", "forward", "reverse")
    assert {name for name in names if getattr(demand, f"maybe_{name}")[0]} == maybe


def test_the_guard_grows_with_the_clock_error():
    """A controller 0.5 % fast measures 1542 us as 1550: still neutral or not, it may say either."""
    slow = _demand(1542.0, f_cpu_hz=F_CPU_HZ * 1.005)
    assert not slow.not_neutral[0]
    assert slow.maybe_neutral[0]


def test_episodes_join_equal_demands_over_bad_pulses():
    """A bad pulse is nothing: it neither ends a demand nor begins one."""
    demand = _demand(1500, 1500, 1900, 2300, 1900, 1541, 1100)
    episodes = demand.episodes(1.0)

    assert [e.asks for e in episodes] == [NEUTRAL, FORWARD, UNCLEAR, REVERSE]
    assert episodes[1].start_s == pytest.approx(0.05 + 1.9e-3)
    assert episodes[1].stop_s == episodes[2].start_s


def test_an_episode_ends_when_its_pulses_do():
    """Fifty milliseconds after the last pulse nobody is bound by it; common practice, no source."""
    demand = _demand(1500, 1900, 0, 0, 0, 1900)
    episodes = demand.episodes(0.4)

    assert [e.asks for e in episodes] == [NEUTRAL, FORWARD, FORWARD]
    assert episodes[1].stop_s == pytest.approx(0.03 + 1.9e-3 + 0.05)
    assert demand.gaps(0.05, 0.4)[0] == pytest.approx((0.0319, 0.1119))
