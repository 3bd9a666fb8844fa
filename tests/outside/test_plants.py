"""Every check from outside, on every plant that models what it needs."""

import pytest

from . import subjects  # noqa: F401  (registers the checks)
from .check import CHECKS, Check
from .plants import MODELS, Model

SECONDS_ON_THE_EQUATIONS = {
    *("mechanical_time_constant_of_a_small_motor", "comparator_delay", "no_load_speed_of_a_small_motor"),
    *("frequency_of_the_emf", "gradient_of_a_small_motor", "rows_of_a_flat_motor", "speed_of_a_loaded_drive"),
    *("circuit_g1", "circuit_g2", "circuit_g4", "circuit_g5", "circuit_s1", "circuit_s2", "pulse_train"),
}
"""Long runs: on the equations they are slow tests; tests/spice holds their circuits tighter."""


def marks(check: str, model: str) -> tuple[pytest.MarkDecorator, ...]:
    """Of a case."""
    return (pytest.mark.slow,) if model == "equations" and check in SECONDS_ON_THE_EQUATIONS else ()


CASES = [
    pytest.param(check, model, id=f"{check.name}-{model.name}", marks=marks(check.name, model.name))
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
