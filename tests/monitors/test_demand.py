"""The stick as the monitors read it from the pin."""

from dataclasses import replace

import pytest

from dryspin.drive import Drive
from dryspin.monitors.demand import FORWARD, NEUTRAL, ONE_WAY, REVERSE, UNCLEAR, read_demand

from .courtroom import verdicts
from .map_cases import held, sailed
from .synthetic import F_CPU_HZ, Story, thruster


def _one_way() -> Drive:
    drive = thruster()
    return replace(drive, throttle=replace(drive.throttle, one_way=True, reverse_full_us=1150.0))


def _demand(*widths_us: float, f_cpu_hz: float = F_CPU_HZ, drive: Drive | None = None):
    """Demand of one pulse a frame."""
    steps = [(0.02 * k, us) for k, us in enumerate(widths_us)]
    story = Story(drive=drive or thruster(), throttle=steps, end_s=0.02 * len(widths_us) + 0.005)
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


@pytest.mark.parametrize(
    ("us", "surely", "maybe"),
    [
        (1300.0, {"neutral"}, {"neutral"}),
        (1150.0, {"neutral"}, {"neutral"}),
        (1565.0, {"not_neutral", "forward"}, {"forward"}),
        (799.5, set(), {"neutral"}),
        (798.0, {"invalid"}, set()),
    ],
)
def test_one_way_whatever_lies_below_asks_for_nothing(us, surely, maybe):
    """A valid pulse is then neutral or forward: the drive says so itself."""
    demand = _demand(us, drive=_one_way())
    sure = ("neutral", "not_neutral", "forward", "reverse", "invalid")

    assert {name for name in sure if getattr(demand, name)[0]} == surely
    names = ("neutral", "forward", "reverse")
    assert {name for name in names if getattr(demand, f"maybe_{name}")[0]} == maybe


def test_one_way_claims_on_the_other_way_tell_why_they_say_nothing():
    """Both stories that make a two-way drive guilty: unlike duties of the two ways, duty below neutral."""
    story = sailed([held(1640.0, 120.0, 0.8)], [held(1360.0, 120.0, 0.8)])
    two_way = verdicts(story.recording())
    story.drive = _one_way()
    found = verdicts(story.recording())

    for name in (
        "reversal.opposing_drive",
        "reversal.phase_current",
        "reversal.in_time",
        "throttle_map.alike",
    ):
        assert (found[name].status, found[name].text) == ("not exercised", ONE_WAY), name
    assert two_way["throttle_map.dead_band"].status == "held"
    assert found["throttle_map.dead_band"].status == "broken"
    assert "140 us from neutral give 120 counts" in found["throttle_map.dead_band"].text
