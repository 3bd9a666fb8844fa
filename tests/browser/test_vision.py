"""A sheet in greyscale and to the colour-blind: words can be read, lines are told apart by what they are."""

from io import BytesIO
from typing import Any

import numpy as np
import pytest
from PIL import Image

from dryspin.report.sheet import case_page

from ..report.sheet_samples import case
from .conftest import WAIT_MS
from .vision import VISIONS, contrast, seen, text_contrast, usual

SCALE = 2
"""Pixels of the screen for one of the page: the inside of a letter has its own colour then."""

TEXTS = (
    *("h1", ".lead", ".caution", ".claim", ".story pre", ".happened", ".verdict", ".limit figcaption"),
    *(".help", ".tools button", ".readout tbody th", "[data-lane=gates_u] b", "[data-lane=bus] small"),
    *(".claims th", ".frames", "tr.held td", "tr.broken td"),
)
LANES = ("ruler", "gates_u", "marks", "sense", "current_u", "voltage_u", "bus", "announced", "handlers")
BOXES = """(selectors) => selectors.map((selector) => {
  const {left, top, width, height} = document.querySelector(selector).getBoundingClientRect();
  return [left, top + scrollY, width, height];
})"""

Pictures = dict[str, dict[str, np.ndarray]]


@pytest.fixture(scope="module", params=["light", "dark"])
def pictures(request: Any, browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Pictures:
    """Elements of the sample's page as pixels: the whole run, a PWM period, and with both cursors set."""
    path = tmp_path_factory.mktemp("vision") / "sheet.html"
    path.write_text(case_page(case()), encoding="utf-8")
    window = {"width": 1100, "height": 2000}
    context = browser.new_context(viewport=window, color_scheme=request.param, device_scale_factor=SCALE)
    context.set_default_timeout(WAIT_MS)
    page = context.new_page()
    page.goto(path.as_uri())
    page.wait_for_selector(".lanes[data-to]")
    plots = [f'[data-lane="{key}"] .u-over' for key in LANES]
    key, names = '[data-lane="voltage_u"] .key', '[data-lane="gates_u"] .plot'
    found = {}
    for state in ("whole run", "PWM period", "cursors"):
        page.focus(".lanes")
        page.keyboard.press({"whole run": "w", "PWM period": "p", "cursors": "h"}[state])
        # its frame is no line of a lane
        page.evaluate("document.activeElement.blur()")
        if state == "cursors":
            plot = page.locator('[data-lane="bus"] .u-over')
            plot.click(position={"x": 100, "y": 40})
            plot.click(position={"x": 200, "y": 40}, modifiers=["Shift"])
        page.mouse.move(1, 1)
        whole = Image.open(BytesIO(page.screenshot(full_page=True))).convert("RGB")
        pixels = np.array(whole)
        boxes = page.evaluate(BOXES, [*TEXTS, *plots, key, names])
        # the line above a row of a table is no letter of it
        boxes[: len(TEXTS)] = [[x, y + 2, wide, tall - 2] for x, y, wide, tall in boxes[: len(TEXTS)]]
        found[state] = {
            name: pixels[round(top * SCALE) : round((top + tall) * SCALE),
                         round(left * SCALE) : round((left + wide) * SCALE)]
            for name, (left, top, wide, tall) in zip([*TEXTS, *LANES, "key", "names"], boxes, strict=True)
        }  # fmt: skip
    context.close()
    return found


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


@pytest.mark.slow
@pytest.mark.parametrize("vision", VISIONS)
def test_words_can_be_read(pictures: Pictures, vision: str) -> None:
    """4.5 to 1 against their ground (W3C WCAG 2.1, 1.4.3), those of the page and those of the canvas."""
    whole = pictures["whole run"]
    words = {selector: whole[selector] for selector in TEXTS}
    words["names of a lane's rows"] = whole["names"][:, : 46 * SCALE]
    marks, ruler, current = whole["marks"], whole["ruler"], whole["current_u"]
    words["a word in a lane"] = marks[len(marks) // 3 : -len(marks) // 3, 6 * SCALE : 26 * SCALE]
    at = ruler.shape[1] // 4
    words["the moment"] = ruler[-14 * SCALE :, at + 4 * SCALE : at + 60 * SCALE]
    words["a limit"] = current[: len(current) // 5, 3 * SCALE : 60 * SCALE]

    ratios = {name: text_contrast(pixels, vision) for name, pixels in words.items()}
    assert min(pixels.size for pixels in words.values()) > 0
    assert {name: ratio for name, ratio in ratios.items() if ratio < 4.5} == {}


@pytest.mark.slow
@pytest.mark.parametrize("vision", VISIONS)
def test_lines_of_a_lane_are_told_apart_by_their_dashes(pictures: Pictures, vision: str) -> None:
    """A terminal is drawn through, its neutral dashed, as in the key beside the lane; a limit is dashed."""
    near = pictures["PWM period"]
    rows = ink(near["voltage_u"], vision).mean(axis=1)
    limit = ink(near["current_u"], vision)[:, 80 * SCALE :].mean(axis=1)
    key = ink(near["key"], vision)
    line = key[: len(key) // 2 + 2 * SCALE]
    first = line[line.mean(axis=1).argmax()]
    stops = np.flatnonzero(np.diff(first.astype(np.int8)) == -1)

    assert np.any(rows > 0.97)
    assert np.any((rows > 0.5) & (rows < 0.75))
    assert np.any((limit > 0.55) & (limit < 0.75))
    assert np.any(limit > 0.97)
    assert len(stops) >= 3


@pytest.mark.slow
@pytest.mark.parametrize("vision", VISIONS)
def test_the_moment_and_the_cursors_are_told_apart_by_their_dashes(pictures: Pictures, vision: str) -> None:
    """Drawn through; six on and three off; two on and three off."""
    drawn = ink(pictures["cursors"]["announced"], vision)
    columns = drawn.mean(axis=0)
    near = {
        name: columns[(at - 2) * SCALE : (at + 3) * SCALE].max()
        for name, at in (("A", 100), ("B", 200), ("moment", drawn.shape[1] // SCALE // 2))
    }

    assert near["moment"] > 0.9
    assert 0.55 < near["A"] < 0.8
    assert 0.3 < near["B"] < 0.55


@pytest.mark.slow
@pytest.mark.parametrize("vision", VISIONS)
def test_what_is_awaited_is_told_from_what_is_only_selected_by_its_height(
    pictures: Pictures, vision: str
) -> None:
    """U rising is awaited throughout a PWM period at the moment: a block of seven pixels above the middle."""
    rows = ink(pictures["PWM period"]["sense"], vision).mean(axis=1) > 0.7

    assert 6 * SCALE <= rows.sum() <= 9 * SCALE


@pytest.mark.slow
@pytest.mark.parametrize("vision", VISIONS)
def test_what_is_too_dense_for_words_can_be_seen(pictures: Pictures, vision: str) -> None:
    """A handler of 25 us in four seconds: a grey piece in its lane, 3 to 1 against the ground."""
    columns = ink(pictures["whole run"]["handlers"], vision).sum(axis=0)
    at = round(0.0125 / 4.0 * len(columns))

    assert columns[max(at - 2 * SCALE, 0) : at + 3 * SCALE].max() > 10 * SCALE
