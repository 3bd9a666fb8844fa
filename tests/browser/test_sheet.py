"""Sheets in a real browser: drawn, zoomed, measured, readable, and nothing leaves the file."""

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dryspin.findings import Outcome
from dryspin.recording import Signal
from dryspin.report.sheet import case_page, check_page
from dryspin.search import ClaimResult

from ..recording.samples import thruster
from ..report.sheet_samples import HOSTILE, MOMENT_S, PULSE_S, SPIKE_S, case, spiked
from ..report.test_text import result

KEYS = (
    "throttle", "width", "marks", "announced", "gates_u", "gates_v", "gates_w", "step", "sense", "comparator",
    "crossings", "current_u", "current_v", "current_w", "voltage_u", "voltage_v", "voltage_w", "bus", "speed",
    "handlers",
)  # fmt: skip

# Pixels of a lane's canvas, inside the plot, a text a row: "1" where something is drawn.
MASK = """(key) => {
  const canvas = document.querySelector(`[data-lane="${key}"] canvas`);
  const over = canvas.parentElement.querySelector(".u-over");
  const ratio = canvas.width / canvas.clientWidth;
  const left = Math.round(over.offsetLeft * ratio), top = Math.round(over.offsetTop * ratio);
  const wide = Math.round(over.clientWidth * ratio), tall = Math.round(over.clientHeight * ratio);
  const copy = document.createElement("canvas");
  [copy.width, copy.height] = [canvas.width, canvas.height];
  const context = copy.getContext("2d", {willReadFrequently: true});
  context.drawImage(canvas, 0, 0);
  const {data} = context.getImageData(left, top, wide, tall);
  return Array.from({length: tall}, (_, y) =>
    Array.from({length: wide}, (_, x) => +(data[4 * (y * wide + x) + 3] > 128)).join(""));
}"""


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The run with a spike and a pulse of a microsecond, looked at elsewhere."""
    path = tmp_path_factory.mktemp("sheet") / "spike.html"
    path.write_text(case_page(case()), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def opened(open_page: Any, sheet: Path) -> Any:
    """That page, its lanes alive."""
    return open_page(sheet).lanes()


@pytest.fixture
def live(opened: Any) -> Any:
    """The same, as it was when it had just been opened."""
    opened.page.set_viewport_size({"width": 1280, "height": 900})
    opened.run("document.activeElement.blur(), window.scrollTo(0, 0)")
    opened.page.locator("input[value=A]").check()
    opened.press("x")
    opened.press("w")
    return opened


def drawn(live: Any, key: str) -> np.ndarray:
    """Which pixels of a lane are drawn: rows by columns."""
    rows = live.page.evaluate(MASK, key)
    return np.array([np.frombuffer(row.encode("ascii"), np.uint8) == ord("1") for row in rows])


def ink(live: Any, key: str) -> np.ndarray:
    """Drawn pixels of each column of a lane."""
    return drawn(live, key).sum(axis=0)


def test_every_lane_is_drawn(live: Any) -> None:
    """None is blank: even a level that never changes is a line."""
    for key in KEYS:
        assert ink(live, key).max() > 0, key
    assert live.run("[...document.querySelectorAll('.row')].map((row) => row.dataset.lane)") == [
        "ruler",
        *KEYS,
    ]


def test_nothing_is_said_and_nothing_leaves_the_file(live: Any, sheet: Path) -> None:
    """No error, no warning, one request: the file itself."""
    for keys in ("p", "t", "w", "a"):
        live.press(keys)

    assert live.said == []
    assert live.asked == [sheet.as_uri()]


def test_it_opens_on_what_led_to_the_moment(opened: Any) -> None:
    """Nothing in the story but power-on came before the moment: from there on, with a share of it more."""
    opened.press("w")
    opened.press("o")

    assert opened.shown() == (0.0, pytest.approx(1.15 * MOMENT_S))


def test_what_is_sensed_is_seen_without_its_word(live: Any) -> None:
    """U rising, its interrupt on, from 14 ms on: a block above the middle of the upper row of three."""
    rows = drawn(live, "sense").mean(axis=1)
    block = np.flatnonzero(rows > 0.8)

    assert len(block) >= 5
    assert block[-1] <= len(rows) / 6 + 1
    assert np.all(np.diff(block) == 1)


def test_a_limit_spans_from_its_clocks_start_to_where_it_is_over(open_page: Any, tmp_path: Path) -> None:
    """0.7 s up to 2 s, in 0.91 s of time line: a bar of four pixels there, and none before or behind it."""
    outcome = Outcome("startup.in_time", "broken", -0.1, 2.0, limit=0.7, seen=0.77, unit="s")
    path = tmp_path / "late.html"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("dryspin.report.sheet.described.still", lambda *_: "")
        path.write_text(case_page(case(outcome=outcome)), encoding="utf-8")
    late = open_page(path).lanes()
    bar = drawn(late, "ruler")[4:8].all(axis=0)
    from_s, to_s = late.shown()
    first, last = (round((t - from_s) / (to_s - from_s) * len(bar)) for t in (1.3, 2.0))

    assert (from_s, to_s) == (pytest.approx(1.195), pytest.approx(2.105))
    assert bar[first + 2 : last - 2].all()
    # lines of the grid stand there
    assert bar[: first - 2].sum() + bar[last + 3 :].sum() <= 3
    # around both ends a turning rotor's voltage is one value, elsewhere one from least to largest
    plot, value = late.page.locator('[data-lane="voltage_u"] .u-over'), '[data-lane="voltage_u"] output'
    for at_s, is_complete in ((1.3, True), (1.6, False), (2.0, True)):
        plot.click(position={"x": (at_s - from_s) / (to_s - from_s) * plot.bounding_box()["width"], "y": 20})
        assert ("…" not in late.page.text_content(value)) == is_complete
        # and it is drawn, across the stretch between two that are complete
    assert ink(late, "voltage_u").min() > 0


def test_a_microsecond_is_seen_in_four_seconds(live: Any) -> None:
    """A current spike and a gate pulse, each in its column, far taller than the line beside it."""
    for key, at_s in (("current_u", SPIKE_S), ("current_v", SPIKE_S), ("gates_v", PULSE_S)):
        columns = ink(live, key)
        from_s, to_s = live.shown()
        at = int((at_s - from_s) / (to_s - from_s) * len(columns))
        usual = np.median(columns)

        assert columns[at - 1 : at + 2].max() >= usual + 8, key


def test_a_microsecond_is_seen_with_scripts_blocked(open_page: Any, sheet: Path) -> None:
    """The drawings alone show the same, rendered by the browser."""
    from io import BytesIO

    from PIL import Image

    still = open_page(sheet, scripts=False)
    drawing = still.page.locator("svg.drawing").first
    assert drawing.is_visible()
    assert not still.page.locator(".live").is_visible()
    pixels = np.array(Image.open(BytesIO(drawing.screenshot())).convert("L"))
    width = pixels.shape[1]
    left, right = 0.15 * width, 0.975 * width
    at = round(left + SPIKE_S / 4.0 * (right - left))
    dark = (pixels < 140).sum(axis=0)

    assert dark[at - 1 : at + 2].max() > np.median(dark[round(left) : round(right)]) + 10


def test_zoom_goes_from_the_whole_run_to_one_pwm_period(live: Any) -> None:
    """By key and by button, around the moment, and back."""
    assert live.shown() == (0.0, 4.0)
    live.press("p")
    from_s, to_s = live.shown()
    assert to_s - from_s == pytest.approx(1.0 / 31372.5, rel=1e-6)
    assert (from_s + to_s) / 2.0 == pytest.approx(MOMENT_S, abs=1e-9)
    live.page.click("text=electrical turn")
    from_s, to_s = live.shown()
    # 1000 rpm and 7 pole pairs: 116.7 electrical turns a second
    assert to_s - from_s == pytest.approx(60.0 / (1000.0 * 7.0), rel=1e-6)
    live.press("w")
    assert live.shown() == (0.0, 4.0)


def test_the_moment_is_centred_and_looked_at_closely(live: Any) -> None:
    """From the whole run, too, where moving alone would change nothing; what is closer already stays so."""
    live.page.click("text=to the moment, 10 ms")
    assert live.shown() == (pytest.approx(MOMENT_S - 0.005), pytest.approx(MOMENT_S + 0.005))
    live.press("p")
    live.press("ArrowRight")
    live.press("m")
    from_s, to_s = live.shown()
    assert to_s - from_s == pytest.approx(1.0 / 31372.5, rel=1e-6)
    assert (from_s + to_s) / 2.0 == pytest.approx(MOMENT_S, abs=1e-9)


def test_a_word_goes_beside_the_line_of_the_moment(live: Any) -> None:
    """12 pixels from the left it would go through a word that begins at 4; the word begins behind it."""
    live.press("h")
    _drag(live, 0.5, -6.0, 1.0)
    columns = ink(live, "marks")
    line = int(np.argmax(columns[:40]))
    frame = np.median(columns)

    assert 8 <= line <= 16
    assert np.all(columns[3 : line - 1] == frame)
    assert columns[line + 4 : line + 30].max() > frame + 2


def test_a_flag_goes_to_the_side_where_no_line_stands(live: Any) -> None:
    """Cursor A twenty pixels behind the moment: the words go before it, and A stands behind its own line."""
    live.press("h")
    alone = ink(live, "ruler")
    moment = len(alone) // 2
    box = live.page.locator('[data-lane="speed"] .u-over').bounding_box()
    live.page.locator('[data-lane="speed"] .u-over').click(position={"x": box["width"] / 2 + 20, "y": 20})
    live.page.mouse.move(2, 2)
    both = ink(live, "ruler")

    before, behind = slice(moment - 64, moment - 4), slice(moment + 4, moment + 18)
    assert alone[behind].sum() > 40
    assert alone[before].sum() < 10
    assert both[before].sum() > 40
    assert both[behind].sum() < 10
    assert both[moment + 24 : moment + 34].sum() > 5


def _drag(live: Any, begin: float, pixels: float, end: float) -> None:
    """Drag over the speed's lane, from a share of its width and some pixels to another share."""
    plot = live.page.locator('[data-lane="speed"] .u-over')
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    y = box["y"] + box["height"] / 2
    live.page.mouse.move(box["x"] + begin * box["width"] + pixels, y)
    live.page.mouse.down()
    live.page.mouse.move(box["x"] + end * box["width"] - 1, y, steps=4)
    live.page.mouse.up()
    live.page.mouse.move(2, 2)


def test_dragging_zooms_to_what_was_dragged_over(live: Any) -> None:
    """A quarter to a half of the width is a quarter to a half of the time."""
    plot = live.page.locator('[data-lane="current_u"] .u-over')
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    y = box["y"] + box["height"] / 2
    live.page.mouse.move(box["x"] + 0.25 * box["width"], y)
    live.page.mouse.down()
    live.page.mouse.move(box["x"] + 0.5 * box["width"], y, steps=4)
    live.page.mouse.up()
    from_s, to_s = live.shown()

    assert from_s == pytest.approx(1.0, abs=0.01)
    assert to_s == pytest.approx(2.0, abs=0.01)
    assert live.cell("A-time") == "not set"


def test_cursors_read_time_angle_and_difference(live: Any) -> None:
    """A rotor at 1000 rpm turns 42 electrical degrees a millisecond, from 10 degrees at power-on."""
    box = live.page.locator('[data-lane="speed"] .u-over').bounding_box()
    live.page.locator('[data-lane="speed"] .u-over').click(position={"x": 0.25 * box["width"], "y": 20})
    live.page.keyboard.down("Shift")
    live.page.locator('[data-lane="speed"] .u-over').click(position={"x": 0.75 * box["width"], "y": 20})
    live.page.keyboard.up("Shift")
    a_s, b_s = (float(live.cell(f"{name}-time").removesuffix(" s")) for name in "AB")
    # the model's own conversion is not used: 1000 rpm = 100/6 turns a second
    turned_deg = 360.0 * 7.0 * 100.0 / 6.0 * (b_s - a_s)

    assert a_s == pytest.approx(1.0, abs=0.01)
    assert b_s == pytest.approx(3.0, abs=0.01)
    assert float(live.cell("A-angle").removesuffix("°")) == pytest.approx(
        (10.0 + 42000.0 * a_s) % 360.0, abs=0.1
    )
    assert float(live.cell("difference-angle").removesuffix("°")) == pytest.approx(turned_deg, abs=0.1)
    assert float(live.cell("difference-time").split(" s")[0]) == pytest.approx(b_s - a_s, abs=1e-6)
    assert live.page.text_content('[data-lane="speed"] output') == "1000 rpm"


def test_values_beside_the_lanes_are_of_a_cursor_that_is_shown(live: Any) -> None:
    """Moved away from it, they would be taken for those of what is seen; back again they are there."""
    value, when = '[data-lane="speed"] output', '[data-lane="ruler"] output'
    box = live.page.locator('[data-lane="speed"] .u-over').bounding_box()
    live.page.locator('[data-lane="speed"] .u-over').click(position={"x": 0.75 * box["width"], "y": 20})
    a = live.cell("A-time")
    assert (live.page.text_content(value), live.page.text_content(when)) == ("1000 rpm", f"at A, {a}")
    live.press("m")
    assert (live.page.text_content(value), live.page.text_content(when)) == ("", "A is not shown")
    assert live.cell("A-time") == f"{a}, outside of what is shown"
    live.press("w")
    assert live.page.text_content(value) == "1000 rpm"
    assert live.cell("A-time") == a


def test_a_cursor_is_set_where_the_mouse_is_after_a_zoom(live: Any) -> None:
    """The time below a mouse that rests changes with the zoom: 30 % of 4 s, then 30 % of what is shown."""
    plot = live.page.locator('[data-lane="speed"] .u-over')
    plot.hover(position={"x": 0.3 * plot.bounding_box()["width"], "y": 20})
    live.press("+")
    live.press("a")
    from_s, to_s = live.shown()

    assert to_s - from_s == pytest.approx(2.0)
    assert float(live.cell("A-time").removesuffix(" s")) == pytest.approx(from_s + 0.6, abs=0.01)


def test_a_cursor_reads_the_last_crossing_true_and_taken(live: Any) -> None:
    """In the sample V was taken at cycle 220 000 of 16 MHz, waiting for its rise; true ones follow."""
    live.page.select_option("select", "crossings")
    live.press("w")
    live.press("a")
    for _ in range(3):
        live.press(".")
    said = live.page.text_content('[data-lane="crossings"] output')

    assert re.fullmatch(r"true [UVW][↑↓] 0 us before, taken V↑ [0-9.]+ m?s before", said)


def test_a_cursor_goes_from_edge_to_edge(live: Any) -> None:
    """To a pulse of a microsecond, which nobody could hit by hand, and to its end; with the line of each."""
    # in the sample, line k caused edge k
    edges = spiked().edges
    (began,) = np.flatnonzero((edges["signal"] == Signal.GATE_V) & (edges["value"] == 1))
    live.page.select_option("select", "gates_v")
    live.press("a")
    live.page.click("text=edge after")
    assert live.cell("A-time") == f"{PULSE_S:.7f} s"
    assert live.page.text_content('[data-lane="gates_v"] output') == f"high, main.c:{began}"
    live.page.click("text=edge after")
    assert live.cell("A-time") == f"{PULSE_S + 1e-6:.7f} s"
    assert live.page.text_content('[data-lane="gates_v"] output') == f"off, main.c:{began + 1}"
    live.page.click("text=edge before")
    live.press("p")
    assert ink(live, "gates_v").max() > 8


def test_all_of_it_can_be_reached_by_keyboard(live: Any) -> None:
    """Tab goes through buttons, choices and the lanes themselves; the focus can be seen."""
    reached = set()
    live.page.locator('[data-act="whole"]').focus()
    who = "(({dataset, className, tagName}) => dataset.act || className || tagName)(document.activeElement)"
    reached.add(live.run(who))
    for _ in range(40):
        live.page.keyboard.press("Tab")
        reached.add(live.run(who))
        if "lanes" in reached:
            break

    assert {
        "whole",
        "near",
        "turn",
        "period",
        "moment",
        "closer",
        "wider",
        "fit",
        "before",
        "after",
        "lanes",
    } <= reached
    assert live.run("getComputedStyle(document.activeElement).outlineStyle") == "solid"


def test_a_wrapped_source_line_goes_on_at_its_indent(open_page: Any, tmp_path: Path) -> None:
    """At the border it would read as a line of its own, of another block. Four spaces and eight letters."""
    path = tmp_path / "long.html"
    source = f"int main(void)\n    act({', '.join(['argument'] * 40)});\n".encode()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("dryspin.report.sheet.described.still", lambda *_: "")
        path.write_text(case_page(case(sources={"main.c": source})), encoding="utf-8")
    lefts, letter = open_page(path).run("""(() => {
      const code = document.querySelector(".source .acted").firstChild, range = document.createRange();
      const begins = code.data.indexOf("act(");
      range.setStart(code, begins);
      range.setEnd(code, code.data.length - 1);
      /* a space at the end of a row has a rectangle of its own */
      const rows = [...range.getClientRects()].filter((row) => row.width > 20);
      range.setEnd(code, begins + 1);
      return [rows.map((row) => row.left), range.getBoundingClientRect().width];
    })()""")

    assert len(lefts) >= 3
    # two letters farther in than where the code begins; the mark before it may be wider than a letter
    assert np.array(lefts[1:]) - lefts[0] == pytest.approx(2.0 * letter, abs=letter)


def test_what_the_firmware_did_last_leads_to_its_moment(live: Any) -> None:
    """The legs at 225 000 of 16 MHz: ten milliseconds around them, cursor A there; by key and by their row.

    The table says 0.014062: half a microsecond earlier they are not commanded yet.
    """
    at_s = 225_000 / 16e6
    row = live.page.locator(".acts tr", has_text="commands the legs")
    for reach in (lambda: row.locator("button").press("Enter"), lambda: row.locator("td").nth(1).click()):
        live.press("w")
        live.press("x")
        reach()

        assert live.shown() == (pytest.approx(at_s - 0.005), pytest.approx(at_s + 0.005))
        assert live.cell("A-time") == f"{at_s:.7f} s"
        assert live.run("document.activeElement.className") == "lanes"
        assert "main.c:24" in live.page.text_content('[data-lane="step"] output')
        assert 0.0 <= live.run("document.querySelector('.lanes').getBoundingClientRect().top") < 900.0
    assert live.page.locator(".acts tr", has_text="never").locator("button").count() == 0


def test_the_page_fits_its_window(live: Any) -> None:
    """Nothing sticks out sideways, lanes are redrawn as wide as they can be, their names are whole."""
    for width in (1280, 700, 380):
        live.page.set_viewport_size({"width": width, "height": 900})
        # two frames: the page is told of its new width in the first, lanes are drawn by the second
        live.run("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")

        assert live.run("document.documentElement.scrollWidth") <= width
        assert live.run("document.querySelector('[data-lane=bus] canvas').clientWidth") > 0.75 * width - 100
        names = "[...document.querySelectorAll('.name b')]"
        assert live.run(f"{names}.every((b) => b.scrollWidth <= b.clientWidth + 1)")
        assert len(ink(live, "bus")) > 0.5 * width


def test_each_line_of_a_lane_is_named_beside_it_and_nothing_lies_over_it(live: Any) -> None:
    """Terminal and neutral, told apart by line style, in the lane's own name cell at every width."""
    for width in (1280, 700, 380):
        live.page.set_viewport_size({"width": width, "height": 900})
        live.run("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        live.press("a")
        parts = live.run("""[...document.querySelectorAll('[data-lane=voltage_u] .name > *')].map((part) => {
            const {left, right, top, bottom} = part.getBoundingClientRect();
            return [part.className || part.tagName, left, right, top, bottom, part.textContent];
        })""")
        styles = live.run("[...document.querySelectorAll('[data-lane=voltage_u] .key i')].map("
                          "(piece) => getComputedStyle(piece).borderTopStyle)")  # fmt: skip

        assert [part[0] for part in parts] == ["B", "SMALL", "key", "OUTPUT"]
        assert parts[2][5] == "UN"
        assert styles == ["solid", "dashed"]
        for one in range(4):
            for other in range(one + 1, 4):
                _, left, right, top, bottom, _ = parts[one]
                _, left2, right2, top2, bottom2, _ = parts[other]
                assert right <= left2 + 1 or bottom <= top2 + 1 or right2 <= left + 1 or bottom2 <= top + 1


def test_edges_that_a_page_does_not_keep_are_hatched(
    open_page: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither levels nor nothing: the lane says so there, and so does the cursor; curves go on."""
    monkeypatch.setattr("dryspin.report.sheet.described.MOST_EDGES", 200)
    monkeypatch.setattr("dryspin.report.sheet.described.still", lambda *_: "")
    path = tmp_path / "long.html"
    path.write_text(case_page(case()), encoding="utf-8")
    long = open_page(path).lanes()
    long.press("w")
    columns = ink(long, "throttle")
    far, near = (
        columns[int(0.8 * len(columns)) :],
        columns[int(0.23 * len(columns)) : int(0.27 * len(columns))],
    )
    box = long.page.locator('[data-lane="speed"] .u-over').bounding_box()
    long.page.locator('[data-lane="speed"] .u-over').click(position={"x": 0.9 * box["width"], "y": 20})

    # a hatch stroke every 9 pixels crosses each column a few times; a level is one line
    assert far.min() > near.min()
    assert long.page.text_content('[data-lane="throttle"] output') == "edges not kept here"
    assert long.page.text_content('[data-lane="speed"] output') == "1000 rpm"
    assert "edges before" in long.page.text_content(".missing")
    assert long.said == []


def test_verdicts_of_a_check_can_be_read_on_a_narrow_window(open_page: Any, tmp_path: Path) -> None:
    """Nothing to scroll to sideways for a verdict and its figures, and each figure says what it is."""
    worst = Outcome(
        "gates.dead_time", "broken", -0.5, 1.0, 500.0, 250.0, "ns", "leg V changes FETs after 250 ns"
    )
    claims = (ClaimResult("gates.dead_time", "broken", 43, worst, "", (-0.5,), {"gates": 43}),)
    path = tmp_path / "check.html"
    path.write_text(check_page(result(claims=claims), [], thruster())[0], encoding="utf-8")
    page = open_page(path, width=380)
    cells = page.run("""[...document.querySelectorAll('.whole tbody td')].map((cell) => {
        const box = cell.getBoundingClientRect();
        return [cell.textContent, box.left, box.right, getComputedStyle(cell, "::before").content];
    })""")

    assert [text for text, *_ in cells[:7]] == [
        *("broken", "gates.dead_time", "between the two FETs of a leg lies the dead time"),
        *("43", "-0.5", "500 ns", "250 ns"),
    ]
    assert all(0 <= left < right <= 380 for _, left, right, _ in cells)
    assert ["limit" in before for *_, before in cells[5:7]] == [True, False]
    assert page.run("document.documentElement.scrollWidth") <= 380


def test_dark_and_light_follow_the_readers_setting(open_page: Any, sheet: Path) -> None:
    """The ground is light or dark, and lanes are drawn in the other."""
    grounds = {}
    for scheme in ("light", "dark"):
        live = open_page(sheet, scheme=scheme).lanes()
        ground = live.run("getComputedStyle(document.body).backgroundColor")
        grounds[scheme] = sum(map(int, re.findall(r"\d+", ground)[:3])) / 3.0

    assert grounds["light"] > 200.0
    assert grounds["dark"] < 60.0


def test_hostile_names_do_nothing(open_page: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No dialog, no error, no element of theirs, in a finding's page and in that of a check."""
    one = case(spiked(0.1, HOSTILE), text=HOSTILE, name=HOSTILE, kept_as=HOSTILE)
    pages = {"finding.html": case_page(one)}
    monkeypatch.setattr("dryspin.report.sheet.described.still", lambda *_: "")
    pages["check.html"] = check_page(result(), [one], replace(thruster(), name=HOSTILE))[0]
    for name, text in pages.items():
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        opened = open_page(path)
        opened.run("document.querySelector('.case').scrollIntoView()")
        opened.lanes()

        assert opened.said == []
        assert opened.asked == [path.as_uri()]
        assert opened.page.locator("img").count() == 0


def test_a_browser_that_cannot_unpack_keeps_the_drawings(open_page: Any, sheet: Path, tmp_path: Path) -> None:
    """It says so, instead of showing empty lanes."""
    path = tmp_path / "old.html"
    text = sheet.read_text(encoding="utf-8").replace("DecompressionStream", "NoSuchStream")
    path.write_text(text, encoding="utf-8")
    opened = open_page(path)
    opened.page.wait_for_selector(".problem:not(:empty)")

    assert opened.page.locator("svg.drawing").first.is_visible()
    assert not opened.page.locator(".lanes").is_visible()
