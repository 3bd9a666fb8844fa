"""What cannot be done is said in words, with the next step."""

from ..small_firmware import BOW_THRUSTER

ONE = """
    from dryspin.plugin import scenarios

    @scenarios({family})
    def test_story(rig, scenario):
        rig.holds(scenario{claim})
"""


def test_an_unknown_family_names_the_nearest(pytester, run):
    """A typing mistake is seen when the test is collected."""
    pytester.makepyfile(ONE.format(family="'armings'", claim=""))
    result = run()

    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*no family is called 'armings'; did you mean 'arming'?*"])


def test_a_family_that_is_not_declared_is_refused(pytester, run):
    """A thruster that is held to arming only."""
    thruster = pytester.path / "thruster"
    thruster.mkdir()
    (thruster / "drive.toml").write_text(f'[firmware]\nbase = "{BOW_THRUSTER}"\n')
    (thruster / "claims.toml").write_text('declared = ["arming"]\n')
    pytester.makepyfile(ONE.format(family="'throttle_map'", claim=""))
    result = run("--scenarios=1", firmware=thruster)

    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["*declares no claim of family 'throttle_map'; declared: arming*"])


def test_an_unknown_claim_is_refused(pytester, run):
    """Else a test could watch nothing for years."""
    pytester.makepyfile(ONE.format(family="'arming'", claim=", 'arming.idel'"))
    result = run("--scenarios=1")

    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["*'arming.idel' is no declared claim or family*"])


def test_without_a_firmware_the_options_are_named(pytester, run):
    """No option, no configuration, no drive.toml at the root."""
    pytester.makepyfile("def test_drive(drive): pass")
    result = run(firmware=None)

    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*no firmware is named, and * has no drive.toml; give --firmware DIR*"])


def test_a_number_of_scenarios_below_one_is_refused(pytester, run):
    """As an option of pytest, before anything runs."""
    pytester.makepyfile("def test_nothing(): pass")

    run("--scenarios=0").stderr.fnmatch_lines(["*'0' is no number of scenarios*"])


def test_the_configuration_file_names_the_firmware(pytester, run):
    """Relative to itself, wherever pytest is called from."""
    (pytester.path / "thruster").mkdir()
    pytester.makeini("[pytest]\ndryspin_firmware = thruster\n")
    pytester.makepyfile("def test_drive(drive): pass")

    run(firmware=None).stdout.fnmatch_lines(["*thruster/drive.toml: no such file*"])
