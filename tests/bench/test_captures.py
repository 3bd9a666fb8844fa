"""The benchmark of large captures works; its figures are those of `python -m tests.bench.captures`."""

import pytest

from .captures import CASES, Case, measure

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_hundredth_of_the_capture_is_judged(case: Case) -> None:
    """Something is read and judged (the first 40 ms show no motor, so nothing may be told: 2), and far
    less than the full memory is needed."""
    what, cost = measure(case, 0.01)

    assert "MB" in what
    assert cost.code in (0, 2)
    assert 0.02 < cost.peak_gb < case.limit_gb
