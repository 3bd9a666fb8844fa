"""The default limits are frozen: none moves, comes or goes without a reason on their page."""

from dataclasses import replace

import pytest

from dryspin.drive import load_drive
from dryspin.monitors import LIMITS

from ..small_firmware import BOW_THRUSTER
from . import limits_page
from .limits_page import HOW, PAGE, digest, page, reason_given, users


def test_the_page_shows_every_limit_as_it_is():
    """A run that is to be clean is worth something only if its limits stood before it."""
    reason = reason_given()

    assert len(reason.split()) >= 4, HOW
    assert PAGE.read_text(encoding="utf-8") == page(reason), HOW


def test_every_limit_judges_a_claim():
    """A limit that nothing uses promises what nobody looks at."""
    assert [name for name, claims in users().items() if not claims] == []


@pytest.mark.parametrize("name", ["start_s", "i_peak_a"])
def test_a_limit_that_moves_moves_the_digest(monkeypatch, name):
    """A hundredth, in a value of its own or in one that the drive gives."""
    drive = load_drive(BOW_THRUSTER)
    before, limit = digest(drive), LIMITS[name]
    old = limit.value(drive) if callable(limit.value) else limit.value
    moved = replace(limit, value=(lambda _: 1.01 * old) if callable(limit.value) else 1.01 * old)
    monkeypatch.setattr(limits_page, "LIMITS", {**LIMITS, name: moved})

    assert digest(drive) != before
