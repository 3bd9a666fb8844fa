"""Every check from outside, on every plant that models what it needs."""

import pytest

from . import subjects  # noqa: F401  (registers the checks)
from .check import CHECKS, Check
from .plants import MODELS, Model

CASES = [
    pytest.param(check, model, id=f"{check.name}-{model.name}")
    for check in CHECKS.values()
    for model in MODELS.values()
]


@pytest.mark.parametrize(("check", "model"), CASES)
def test_plant_shows_what_the_source_says(check: Check, model: Model) -> None:
    """Each row within its limit; the source stands in the check's registration."""
    rows, missing = model.put_to(check)

    objections = [str(row) for row in rows if not row.holds]
    assert not objections, "\n".join([check.source, *objections])
    if missing:
        pytest.skip(f"{model.name} does not model: {missing}; {len(rows)} rows held before")
    assert rows
