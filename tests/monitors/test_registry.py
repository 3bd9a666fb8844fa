"""Families, claims and limits are found, named and checked."""

from pathlib import Path

import numpy as np
import pytest

from dryspin.drive import Claims, Limit
from dryspin.errors import ClaimsError
from dryspin.monitors import FAMILIES, LIMITS, Limits, Status, claims_of, judge, known_claims, known_limits
from dryspin.monitors.motion import longest_within
from dryspin.monitors.verdict import at_least, at_most, discrete, not_exercised, worst

from .synthetic import Story, thruster
from .voyage import voyage


def test_families_stand_in_the_order_of_reports():
    """A family is a file; the order is part of what a user reads."""
    assert list(FAMILIES) == [
        "gates",
        "commutation",
        "startup",
        "synchronism",
        "reversal",
        "arming",
        "calibration",
        "tones",
        "electrical",
        "throttle_map",
        "controller",
    ]


def test_names_are_known_once_and_limits_exist():
    """A claim that names a limit nobody defined would fail only when it is first judged."""
    assert len(set(known_claims())) == len(known_claims())
    assert set(known_limits()) == set(LIMITS)
    for family in FAMILIES:
        for claim in claims_of(family):
            assert set(claim.limits) <= set(LIMITS), claim.name
            assert len(claim.sentence) > 20, claim.name


def test_every_limit_has_a_reason():
    """A limit without a physical reason is an opinion."""
    assert all(len(limit.reason) > 40 for limit in LIMITS.values())


def test_only_declared_claims_are_judged_in_the_fixed_order():
    """A drive without a reversing propeller declares no reversal."""
    claims = Claims(Path("claims.toml"), ("arming.idle", "gates.both_fets"))
    assert [v.name for v in judge(Story().recording(), claims)] == ["gates.both_fets", "arming.idle"]


def test_a_limit_of_the_drive_goes_before_the_default():
    """`claims.toml` may be stricter or laxer, with a why."""
    run = voyage(late_deg=10.0).recording()
    strict = Claims(Path("claims.toml"), ("commutation.angle",), {"step_late_deg": Limit(8.0, "a test")})

    assert judge(run)[known_claims().index("commutation.angle")].status == Status.HELD
    verdict = judge(run, strict)[0]
    assert (verdict.status, verdict.limit) == (Status.BROKEN, pytest.approx(8.0))


@pytest.mark.parametrize(
    ("claims", "words"),
    [
        (
            Claims(Path("claims.toml"), ("gates.both",)),
            "no such claim: gates.both; known are gates.both_fets",
        ),
        (
            Claims(Path("claims.toml"), (), {"loss": Limit(1.0, "x")}),
            "'loss' is no limit; there are accepted_s",
        ),
        (
            Claims(Path("claims.toml"), (), {"loss_s": Limit(0.0, "x")}),
            "'loss_s' is 0; a limit must be above zero",
        ),
    ],
)
def test_unknown_names_are_refused(claims, words):
    """A misspelt limit would silently leave the default in force."""
    with pytest.raises(ClaimsError, match=words):
        judge(Story().recording(), claims)


def test_limits_of_the_bridge_come_from_the_drive():
    """The board's own figures stand in drive.toml, not in a default."""
    limits = Limits(thruster(dead_time_ns=750.0, i_peak_max_a=25.0, v_max_v=16.0, high_on_max_s=0.02))
    assert [limits[n] for n in ("dead_time_ns", "i_peak_a", "bus_v", "high_on_max_s")] == [
        750.0,
        25.0,
        16.0,
        0.02,
    ]


def test_margins_are_the_distance_as_a_share_of_the_limit():
    """(limit - seen) / limit for a maximum, (seen - limit) / limit for a minimum, +1 or -1 without one."""
    assert at_most(3.0, 4.0, "A", "").margin == pytest.approx(0.25)
    assert at_most(5.0, 4.0, "A", "").status == Status.BROKEN
    assert at_most(4.0, 4.0, "A", "").status == Status.HELD
    assert at_least(3.0, 4.0, "A", "").margin == pytest.approx(-0.25)
    assert at_least(3.0, 4.0, "A", "").status == Status.BROKEN
    assert discrete(True, "").margin == -1.0
    assert discrete(False, "").margin == 1.0


def test_the_worst_ruling_speaks_for_all():
    """One broken reversal among three is a broken claim; none at all is not exercised."""
    held, bad = at_most(1.0, 4.0, "A", "good"), at_most(6.0, 4.0, "A", "bad")

    assert worst([held, bad, not_exercised("")], "none").text == "bad"
    assert worst([not_exercised("")], "none") == not_exercised("none")


def test_the_longest_stretch_within_a_span_is_found_as_by_trying_all():
    """The sliding maximum against the definition, on a walk."""
    walk = np.cumsum(np.sin(np.arange(300) * 1.7) * (np.arange(300) % 7))
    for span in (0.5, 3.0, 12.0, 1e9):
        lengths = {
            k: max((n for n in range(1, 301 - k) if np.ptp(walk[k : k + n]) < span), default=0)
            for k in range(300)
        }
        first, length = longest_within(walk, span)
        assert length == max(lengths.values())
        assert np.ptp(walk[first : first + length]) < span
