"""What drawings share: colours that the page replaces by its own, axes, a piece of them for each lane."""

import io
import re
from dataclasses import dataclass, field
from html import escape
from typing import Any, Final

from dryspin.report.sheet.columns import View
from dryspin.report.sheet.lanes import Lanes

# matplotlib wants colours; the page replaces these by its own, light or dark.
LINE, SECOND, GRID, ALARM, SOFT, DENSE, PAPER = (f"#0{k}0{k}0{k}" for k in range(1, 8))
_VARIABLES: Final = {
    LINE: "var(--line)",
    SECOND: "var(--second)",
    GRID: "var(--grid)",
    ALARM: "var(--alarm)",
    SOFT: "var(--soft)",
    DENSE: "var(--dense)",
    PAPER: "var(--paper)",
}


@dataclass
class Sheet:
    """The axes, and what all lanes add to them together."""

    axis: Any
    lanes: Lanes
    view: View
    ticks: list[tuple[float, str]] = field(default_factory=list)


@dataclass(frozen=True)
class Row:
    """A lane's piece of the height: `low` of its values stands at `foot`, `high` at `foot` + `height`."""

    foot: float
    height: float
    low: float = 0.0
    high: float = 1.0

    def at(self, value: Any) -> Any:
        """Height of a value."""
        return self.foot + (value - self.low) / (self.high - self.low) * self.height


def bare(axis: Any, grid: str) -> None:
    """No frame, no ground; a thin grid of one or both directions."""
    axis.tick_params(colors=SOFT, labelsize=7)
    axis.patch.set_alpha(0.0)
    axis.set_axisbelow(True)
    axis.grid(True, axis=grid, color=GRID, linewidth=0.5)
    for spine in axis.spines.values():
        spine.set_visible(False)


def svg_text(figure: Any, title: str) -> str:
    """The figure as an <svg> element for a page, with a name for those who do not see it."""
    out = io.StringIO()
    figure.savefig(out, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    # A hundredth of a point is finer than any screen; six digits more would double the page.
    text = re.sub(r' d="[^"]*"', lambda path: re.sub(r"(\.\d\d)\d+", r"\1", path[0]), text)
    for colour, variable in _VARIABLES.items():
        text = text.replace(colour, variable)
    name = escape(title, quote=True)
    return text.replace("<svg", f'<svg role="img" aria-label="{name}" class="drawing"', 1)
