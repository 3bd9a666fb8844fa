"""An inner pytest run with the plugin, in this process, that leaves Hypothesis as it was."""

from collections.abc import Callable

import pytest
from hypothesis import settings

# An inner run forgets the modules it was first to import; those of the plugin take a while.
import dryspin.plugin.keeping
import dryspin.plugin.kept
import dryspin.plugin.stories  # noqa: F401
from dryspin.build.cache import cache_root

from ..small_firmware import BOW_THRUSTER

WRITTEN_ANEW = "ignore:Module already imported:pytest.PytestAssertRewriteWarning"
"""The plugin has been imported by the outer run."""

Run = Callable[..., pytest.RunResult]

CACHE = cache_root()
"""Before pytester moves the home directory away."""

SCENARIO = """\
from dryspin.scenario import Scenario
FLAT = Scenario(seed=0, end_s=0.2, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 1500.0),))
"""


@pytest.fixture
def run(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run pytest with the plugin on the shipped firmware, or on `firmware`."""
    # The outer run may be one of several processes; the inner one is none of them.
    for name in ("PYTEST_XDIST_WORKER", "PYTEST_ADDOPTS", "CI"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("DRYSPIN_CACHE", str(CACHE))
    profile = settings.get_current_profile_name()

    def inner(*options: str, firmware: object = BOW_THRUSTER) -> pytest.RunResult:
        named = [f"--firmware={firmware}"] if firmware else []
        try:
            return pytester.runpytest_inprocess(
                *(
                    "-p",
                    "dryspin.plugin",
                    "-p",
                    "no:cacheprovider",
                    "-p",
                    "no:benchmark",
                    "-q",
                    "-W",
                    WRITTEN_ANEW,
                ),
                *(*named, *options),
            )
        finally:
            settings.load_profile(profile)

    return inner
