"""The sheet: one HTML page for a finding, a run or a whole check, with lanes over time to zoom into."""

from dryspin.report.sheet.bench_story import bench_stories
from dryspin.report.sheet.case import BenchRun, Case, most_pressing
from dryspin.report.sheet.page import case_page, check_page, require_libraries

__all__ = [
    "BenchRun",
    "Case",
    "bench_stories",
    "case_page",
    "check_page",
    "most_pressing",
    "require_libraries",
]
