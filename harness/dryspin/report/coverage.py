"""Coverage as text."""

from dryspin.coverage import Coverage


def coverage_lines(coverage: Coverage) -> list[str]:
    """How much was reached, and every line and branch that was not."""
    lines, branches = coverage.lines, coverage.branches
    text = [
        f"of the control code {sum(lines.values())} of {len(lines)} lines were reached, "
        f"{sum(branches.values())} of {len(branches)} branches"
    ]
    if missed := coverage.missed_lines:
        text.append(f"lines that no scenario reached: {', '.join(missed)}")
    if missed := coverage.missed_branches:
        text.append(f"branches not taken on lines that were: {', '.join(missed)}")
    return text
