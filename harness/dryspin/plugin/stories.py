"""Scenarios as a Hypothesis strategy whose drive is known only when the test runs."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

import hypothesis
import pytest
from hypothesis import settings
from hypothesis import strategies as st

from dryspin.errors import UsageError
from dryspin.findings import Subject
from dryspin.plugin import STORY, Test
from dryspin.scenario import Scenario
from dryspin.search import drafts, families_to_search
from dryspin.search.flavours import FLAVOURS
from dryspin.search.plan import require_rites
from dryspin.search.rehearsal import Rehearsal
from dryspin.search.rehearsing import rehearse

PROFILE = "dryspin"
_SETTINGS = "_hypothesis_internal_use_settings"


@dataclass(frozen=True)
class Stage:
    """For whom scenarios are drawn now."""

    firmware: Subject
    families: Sequence[str]
    rehearsal: Rehearsal


_stages: list[Stage] = []


def told(families: tuple[str, ...]) -> Callable[[Test], Test]:
    """See `dryspin.plugin.scenarios`."""
    for family in families:
        if family not in FLAVOURS:
            near = get_close_matches(family, FLAVOURS, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]!r}?" if near else f"known families: {', '.join(FLAVOURS)}"
            raise UsageError(f"@scenarios: no family is called {family!r}; {hint}")

    def decorate(test: Test) -> Test:
        wrapped: Any = hypothesis.given(scenario=_stories())(test)
        setattr(wrapped, STORY, families)
        marked: Test = pytest.mark.usefixtures("firmware")(wrapped)
        return marked

    return decorate


@st.composite
def _stories(draw: Callable[[st.SearchStrategy[Any]], Any]) -> Scenario:
    if not _stages:
        raise UsageError(
            "@scenarios draws for the firmware under test, which only pytest names; run it with pytest"
        )
    stage = _stages[-1]
    family = draw(st.sampled_from(list(stage.families)))
    scenario: Scenario = draw(drafts(stage.firmware.drive, family, stage.rehearsal)).scenario
    return scenario


@contextmanager
def _on_stage(stage: Stage) -> Iterator[None]:
    _stages.append(stage)
    try:
        yield
    finally:
        _stages.pop()


_rehearsals: dict[tuple[str, tuple[str, ...]], Rehearsal] = {}


def staged(firmware: Subject, families: Sequence[str]) -> Any:
    """A context in which scenarios of `families` are drawn for `firmware`.

    Raises UsageError where a family is not declared, or its rite is not described.
    """
    chosen = families_to_search(firmware.claims, families)
    require_rites(firmware.drive, chosen)
    key = "".join(firmware.hashes.values()), tuple(chosen)
    if key not in _rehearsals:
        _rehearsals[key] = rehearse(firmware, chosen, workers=0)
    return _on_stage(Stage(firmware, chosen, _rehearsals[key]))


def set_count(count: int) -> None:
    """So many examples from now on, whatever the profile in force says; the rest as it says."""
    settings.register_profile(PROFILE, settings(max_examples=count))
    settings.load_profile(PROFILE)


def lift_deadline(function: Any) -> None:
    """No deadline where nobody chose one.

    The default is 0.2 s an example and meant for plain functions; a rig takes as long as its scenario.
    Hypothesis has no public way to change the settings of a test that was decorated above.
    """
    used, default = getattr(function, _SETTINGS), settings.default
    if default is not None and used.deadline == default.deadline:
        setattr(function, _SETTINGS, settings(used, deadline=None))
