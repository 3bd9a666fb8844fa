"""Search: scenarios inside a drive's envelope, looking for claims that break, and shortening what does."""

from dryspin.search.check import Checked, check
from dryspin.search.family import ScenarioFailedError
from dryspin.search.plan import families_to_search
from dryspin.search.result import CheckResult, ClaimResult, KeptResult, SavedFinding
from dryspin.search.strategies import Draft, covering_draft, drafts
from dryspin.search.workers import WorkerDefectError

__all__ = [
    "CheckResult",
    "Checked",
    "ClaimResult",
    "Draft",
    "KeptResult",
    "SavedFinding",
    "ScenarioFailedError",
    "WorkerDefectError",
    "check",
    "covering_draft",
    "drafts",
    "families_to_search",
]
