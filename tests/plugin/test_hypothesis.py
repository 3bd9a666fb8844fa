"""What Hypothesis users expect of a test holds for one of `@scenarios`."""

import re

from .conftest import SCENARIO

COUNTING = """
    from hypothesis import Phase, settings
    from dryspin.plugin import scenarios
    seen = []

    {above}
    @scenarios("arming")
    def test_story(scenario):
        seen.append(scenario)

    def test_count():
        assert len(seen) == {count}
"""

FAILING = """
    from hypothesis import Phase, reproduce_failure, settings
    from hypothesis.database import DirectoryBasedExampleDatabase
    from dryspin.plugin import scenarios

    {above}
    @settings(database=DirectoryBasedExampleDatabase("examples"), print_blob=True,
              phases=[{phases}], max_examples=20)
    @scenarios("arming")
    def test_story(scenario):
        print("SEEN", scenario.frame_ms)
        assert scenario.frame_ms == 0.0
"""


def test_the_option_sets_the_number_of_scenarios(pytester, run):
    """--scenarios is the profile's max_examples."""
    pytester.makepyfile(COUNTING.format(above="", count=7))

    run("--scenarios=7").assert_outcomes(passed=2)


def test_settings_on_a_test_go_before_the_option(pytester, run):
    """As they go before a profile."""
    pytester.makepyfile(COUNTING.format(above="@settings(max_examples=3)", count=3))

    run("--scenarios=7").assert_outcomes(passed=2)


def test_a_profile_counts(pytester, run):
    """--hypothesis-profile, without --scenarios."""
    pytester.makeconftest(
        "from hypothesis import settings\nsettings.register_profile('short', max_examples=4)\n"
    )
    pytester.makepyfile(COUNTING.format(above="", count=4))

    run("--hypothesis-profile=short").assert_outcomes(passed=2)


def test_the_default_deadline_is_lifted_and_a_chosen_one_stays(pytester, run):
    """A run of the rig takes longer than the 0.2 s meant for plain functions."""
    pytester.makepyfile(
        """
        from hypothesis import settings
        from dryspin.plugin import scenarios

        @scenarios("arming")
        def test_default(scenario): pass

        @settings(max_examples=2)
        @scenarios("arming")
        def test_other_settings(scenario): pass

        @settings(deadline=300)
        @scenarios("arming")
        def test_chosen(scenario): pass

        def test_deadlines():
            used = [t._hypothesis_internal_use_settings.deadline for t in
                    (test_default, test_other_settings, test_chosen)]
            assert used[:2] == [None, None]
            assert used[2].total_seconds() == 0.3
        """
    )

    run("--scenarios=2").assert_outcomes(passed=4)


def test_a_failure_is_found_again_first_from_the_database(pytester, run):
    """With the phase that generates left out, only what was kept can be tried."""
    pytester.makepyfile(FAILING.format(above="", phases="Phase.generate"))
    run().assert_outcomes(failed=1)
    pytester.makepyfile(FAILING.format(above="", phases="Phase.reuse"))

    run().assert_outcomes(failed=1)


def test_a_failure_is_reproduced_from_its_blob(pytester, run):
    """The decorator that Hypothesis prints, pasted above the test."""
    pytester.makepyfile(FAILING.format(above="", phases="Phase.generate"))
    found = re.search(r"@reproduce_failure\(.*\)", run().stdout.str())
    assert found
    pytester.makepyfile(FAILING.format(above=found[0], phases="Phase.generate"))
    result = run()

    result.assert_outcomes(failed=1)
    assert sum(line.startswith("SEEN") for line in result.outlines) == 1


TARGETS = (
    """\
import hypothesis
"""
    + SCENARIO
    + """\

aimed = []

def test_targets(rig, monkeypatch):
    monkeypatch.setattr(hypothesis, "target", lambda value, label: aimed.append((label, value)))

    @hypothesis.settings(max_examples=1, deadline=None)
    @hypothesis.given(scenario=hypothesis.strategies.just(FLAT))
    def held(scenario):
        rig.holds(scenario, "arming")

    held()
    assert ("arming.idle", -1.0) in aimed
    assert all(label.startswith("arming.") for label, _ in aimed)
"""
)


def test_margins_are_targets(pytester, run):
    """Those of the claims asked for: the thinnest is looked for."""
    pytester.makepyfile(TARGETS)

    run().assert_outcomes(passed=1)
