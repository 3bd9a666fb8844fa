"""A sheet in greyscale and to the colour-blind: words can be read, lines are told apart by what they are."""

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from dryspin.report.sheet import case_page

from ..report.sheet_samples import case
from .conftest import WAIT_MS
from .vision import VISIONS, contrast, seen, text_contrast, usual

SCALE = 3
"""Pixels of the screen for one of the page: the inside of a letter has its own colour then."""

TEXTS = (
    "h1", ".lead", ".caution", ".claim", "pre >> nth=0", ".happened", ".verdict", ".limit figcaption", ".help",
    ".tools button", ".readout th", ".row.gates_u .name b, [data-lane=gates_u] b", "[data-lane=bus] small",
    ".claims th", ".claims td", ".frames", "tr.held td >> nth=0", "tr.broken td >> nth=0",
)  # fmt: skip


class Shots:
    """Pictures of one page, as pixels."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def of(self, selector: str) -> np.ndarray:
        """All of an element."""
        return self._pixels(self.page.locator(selector).first.screenshot())

    def plot(self, key: str) -> np.ndarray:
        """The plot of a lane, without its margins."""
        return self.of(f'[data-lane="{key}"] .u-over')

    def left(self, key: str, wide: int) -> np.ndarray:
        """The first pixels of a lane's row of names."""
        box = self.page.locator(f'[data-lane="{key}"] .plot').first.bounding_box()
        return self._pixels(self.page.screenshot(clip={**box, "width": wide}))

    def _pixels(self, png: bytes) -> np.ndarray:
        return np.array(Image.open(BytesIO(png)).convert("RGB"), np.float64)


@pytest.fixture(scope="module", params=["light", "dark"])
def shots(request: Any, browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shots]:
    """The sample's page, tall enough that all of its lanes are in the window."""
    path = tmp_path_factory.mktemp("vision") / "sheet.html"
    path.write_text(case_page(case()), encoding="utf-8")
    window = {"width": 1000, "height": 2400}
    context = browser.new_context(viewport=window, color_scheme=request.param, device_scale_factor=SCALE)
    context.set_default_timeout(WAIT_MS)
    page = context.new_page()
    page.goto(path.as_uri())
    page.wait_for_selector(".lanes[data-to]")
    yield Shots(page)
    context.close()


def press(shots: Shots, keys: str) -> None:
    """Keys in the lanes, one a letter; the focus goes away again, since its frame is no line of a lane."""
    shots.page.focus(".lanes")
    for key in keys:
        shots.page.keyboard.press(key)
    shots.page.evaluate("document.activeElement.blur()")
    shots.page.mouse.move(1, 1)


def ink(pixels: np.ndarray, vision: str) -> np.ndarray:
    """Where something is drawn that can be seen: 3 to 1 against the ground (W3C WCAG 2.1, 1.4.11)."""
    light = seen(pixels, vision)
    drawn: np.ndarray = contrast(light, usual(light)) >= 3.0
    return drawn


def test_the_matrices_keep_white_and_mix_red_with_green() -> None:
    """Rows of them sum to one, and what a protanope cannot tell differs less than it does to others."""
    for vision, matrix in VISIONS.items():
        assert matrix.sum(axis=1) == pytest.approx(1.0, abs=1e-5), vision
    red, green = np.array([255.0, 0.0, 0.0]), np.array([0.0, 255.0, 0.0])
    for vision in ("protanopia", "deuteranopia"):
        assert contrast(seen(red, "all colours"), seen(green, "all colours")) != pytest.approx(
            contrast(seen(red, vision), seen(green, vision)), rel=0.1
        )
        apart = np.abs((VISIONS[vision] @ (red - green))[:2] / 255.0)
        assert np.all(apart < 0.95)


@pytest.mark.parametrize("vision", VISIONS)
def test_words_can_be_read(shots: Shots, vision: str) -> None:
    """4.5 to 1 against their ground (W3C WCAG 2.1, 1.4.3), those of the page and those of the canvas."""
    press(shots, "xw")
    words = {selector: shots.of(selector) for selector in TEXTS}
    words["names of a lane's rows"] = shots.left("gates_u", 46)
    sense, ruler = shots.plot("sense"), shots.plot("ruler")
    words["a word in a lane"] = sense[sense.shape[0] // 3 : -sense.shape[0] // 3, 6 * SCALE : 26 * SCALE]
    at = ruler.shape[1] // 4
    words["the moment"] = ruler[-14 * SCALE :, at + 4 * SCALE : at + 60 * SCALE]
    current = shots.plot("current_u")
    words["a limit"] = current[: current.shape[0] // 3, 3 * SCALE : 60 * SCALE]

    ratios = {name: text_contrast(pixels, vision) for name, pixels in words.items()}
    assert {name: ratio for name, ratio in ratios.items() if ratio < 4.5} == {}


@pytest.mark.parametrize("vision", VISIONS)
def test_lines_of_a_lane_are_told_apart_by_their_dashes(shots: Shots, vision: str) -> None:
    """A terminal is drawn through, its neutral dashed, as the key beside the lane has it; a limit is dashed."""
    press(shots, "xp")
    rows = ink(shots.plot("voltage_u"), vision).mean(axis=1)
    key = ink(shots.of('[data-lane="voltage_u"] .key'), vision)
    limit = ink(shots.plot("current_u"), vision)[:, 80 * SCALE :].mean(axis=1)
    pieces = key[key.mean(axis=1).argmax()]

    assert np.any(rows > 0.97)
    assert np.any((rows > 0.5) & (rows < 0.75))
    assert np.any((limit > 0.55) & (limit < 0.75))
    assert np.any(limit > 0.97)
    assert 0.3 < pieces.mean() < 0.95


@pytest.mark.parametrize("vision", VISIONS)
def test_the_moment_and_the_cursors_are_told_apart_by_their_dashes(shots: Shots, vision: str) -> None:
    """Drawn through; six on and three off; two on and three off."""
    press(shots, "xh")
    width = shots.page.locator('[data-lane="announces"], [data-lane="bus"]').last.bounding_box()["width"]
    assert width > 500
    plot = shots.page.locator('[data-lane="bus"] .u-over')
    plot.click(position={"x": 100, "y": 40})
    shots.page.keyboard.down("Shift")
    plot.click(position={"x": 200, "y": 40})
    shots.page.keyboard.up("Shift")
    shots.page.mouse.move(1, 1)
    drawn = ink(shots.plot("announced"), vision)
    columns = drawn.mean(axis=0)
    near = {
        name: columns[(at - 2) * SCALE : (at + 3) * SCALE].max()
        for name, at in (("A", 100), ("B", 200), ("moment", drawn.shape[1] // SCALE // 2))
    }

    assert near["moment"] > 0.95
    assert 0.55 < near["A"] < 0.8
    assert 0.3 < near["B"] < 0.55


@pytest.mark.parametrize("vision", VISIONS)
def test_what_is_too_dense_for_words_can_be_seen(shots: Shots, vision: str) -> None:
    """A handler of 25 us in four seconds: a grey piece, 3 to 1 against the ground, in the lane of handlers."""
    press(shots, "xw")
    columns = ink(shots.plot("handlers"), vision).sum(axis=0)
    width = len(columns)
    at = round(0.0125 / 4.0 * width)

    assert columns[at - 2 * SCALE : at + 3 * SCALE].max() > 10 * SCALE
