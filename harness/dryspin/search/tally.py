"""One claim over many trials."""

from dataclasses import dataclass, field

from dryspin.findings import BROKEN, CANNOT_TELL, HELD, NOT_EXERCISED, Outcome


@dataclass
class Tally:
    """One claim over many trials: how often each status, every margin, the outcome with the least of them.

    A trial that broke the claim is worse than any that held it, whatever the margins say.
    """

    counts: dict[str, int] = field(default_factory=dict)
    worst: Outcome | None = None
    margins: list[float] = field(default_factory=list)

    def add(self, outcome: Outcome) -> None:
        """Count one trial; of equal margins the earlier trial stays."""
        self.counts[outcome.status] = self.counts.get(outcome.status, 0) + 1
        if outcome.margin is not None:
            self.margins.append(outcome.margin)
        self._keep(outcome)

    def merge(self, other: "Tally") -> None:
        """Count the trials of another tally, which came later."""
        for status, count in other.counts.items():
            self.counts[status] = self.counts.get(status, 0) + count
        self.margins += other.margins
        if other.worst is not None:
            self._keep(other.worst)

    @property
    def exercised(self) -> int:
        """Trials in which the claim was judged either way."""
        return self.counts.get(BROKEN, 0) + self.counts.get(HELD, 0)

    @property
    def verdict(self) -> str:
        """Broken if ever; else held if ever; else whether anything could have been told."""
        for status in (BROKEN, HELD, CANNOT_TELL):
            if self.counts.get(status):
                return status
        return NOT_EXERCISED

    def _keep(self, outcome: Outcome) -> None:
        if self.worst is None or _badness(outcome) < _badness(self.worst):
            self.worst = outcome


def _badness(outcome: Outcome) -> tuple[int, float]:
    """Sorts the worst outcome first."""
    order = (BROKEN, HELD, CANNOT_TELL, NOT_EXERCISED)
    rank = order.index(outcome.status) if outcome.status in order else len(order)
    return rank, float("inf") if outcome.margin is None else outcome.margin
