"""Line numbers of keys, which the standard library's reader does not give."""

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from dryspin.drive.lines import key_lines

TEXT = '''\
name = "a [b] = c # d"   # comment with [brackets]
[motor]
  kv_rpm_per_v = { low = 1,  nominal = 2, high = 3 }
"quoted" = [
  [0.0, 1500],
  [1.0, 1900], # ]
]
after = """
[not_a_table]
not_a_key = 1
"""
dotted.inner = 1
[[fault]]
kind = "reset"
[[fault]]
kind = "power cut"
[fault.deep]
x = 1
[motor.r_phase_ohm]
low = 1
'''


def test_each_key_has_the_line_it_stands_on():
    """Among them keys after arrays, strings and tables that look like something else."""
    assert key_lines(TEXT) == {
        ("name",): 1,
        ("motor",): 2,
        ("motor", "kv_rpm_per_v"): 3,
        ("motor", "quoted"): 4,
        ("motor", "after"): 8,
        ("motor", "dotted"): 12,
        ("motor", "dotted", "inner"): 12,
        ("fault", 0): 13,
        ("fault", 0, "kind"): 14,
        ("fault", 1): 15,
        ("fault", 1, "kind"): 16,
        ("fault", 1, "deep"): 17,
        ("fault", 1, "deep", "x"): 18,
        ("motor", "r_phase_ohm"): 19,
        ("motor", "r_phase_ohm", "low"): 20,
    }
    tomllib.loads(TEXT)


@given(st.text(max_size=200))
def test_any_text_is_scanned_without_an_error(text):
    """A scan that fails would hide the error it was to place."""
    assert all(1 <= line <= text.count("\n") + 1 for line in key_lines(text).values())
