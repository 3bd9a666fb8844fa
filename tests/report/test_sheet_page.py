"""The page: whole in itself, nothing foreign becomes markup, it says what the text report says."""

import base64
import csv
import hashlib
import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

import dryspin.report.sheet
from dryspin.coverage import Coverage, Mark
from dryspin.faults import Code, Fault, Place
from dryspin.findings import Outcome, Trial
from dryspin.recording import STATE
from dryspin.report.code import code_lines
from dryspin.report.coverage import coverage_lines
from dryspin.report.scenario import scenario_lines
from dryspin.report.sheet import Case, case_page, check_page, most_pressing
from dryspin.report.sheet.case import by_urgency
from dryspin.report.sheet.lanes import lanes_of
from dryspin.report.sheet.still import still
from dryspin.report.text import CAUTION, NO_PERMISSION
from dryspin.rig.rig import OffSpan
from dryspin.search.envelope import Visit
from dryspin.search.handlers import HandlerTimes, HandlerUse
from dryspin.search.result import ClaimResult

from ..recording.samples import thruster
from .sheet_samples import HOSTILE, case, spiked
from .test_text import result

ASSETS = Path(dryspin.report.sheet.__file__).parent / "assets"


class Seen(HTMLParser):
    """Elements and attributes as a browser would meet them, and the text between them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.words = ""
        self.scripts = ""
        self._in = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        """Note it."""
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attributes]
        self._in = tag if tag in ("script", "style") else ""

    def handle_endtag(self, tag: str) -> None:
        """Text counts again."""
        self._in = ""

    def handle_data(self, data: str) -> None:
        """Text that a reader sees."""
        if self._in == "script":
            self.scripts += data
        elif not self._in:
            self.words += data


@pytest.fixture(scope="module")
def small() -> Case:
    """A tenth of a second, so that drawing takes no time."""
    return case(spiked(0.1))


@pytest.fixture(scope="module")
def page(small: Case) -> str:
    """Its page."""
    return case_page(small)


@pytest.fixture
def _undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """A drawing takes half a second of a core; not every test looks at one."""
    monkeypatch.setattr("dryspin.report.sheet.described.still", lambda *_: '<svg class="drawing"></svg>')


def test_the_page_asks_for_nothing(page: str) -> None:
    """No address that a browser would load; the policy forbids what might be overlooked."""
    seen = Seen(page)
    addresses = [value for _, name, value in seen.attributes if name in ("src", "href", "xlink:href")]

    assert all(value.startswith(("#", "data:text/csv;base64,")) for value in addresses)
    assert "@import" not in page
    assert "default-src 'none'" in page
    assert not {"link", "img", "iframe", "object", "embed"} & set(seen.tags)


def test_foreign_text_never_becomes_markup() -> None:
    """Names of drive, tone, file, sentence, unit and source line are text, whatever they contain."""
    outcome = Outcome(HOSTILE, "broken", -1.0, 0.05, 1.0, 2.0, HOSTILE, HOSTILE, HOSTILE)
    foreign = case(
        spiked(0.1, HOSTILE),
        name=f"{HOSTILE}.toml",
        outcome=outcome,
        trial=Trial((outcome,), 0.1, HOSTILE),
        replay=f"dryspin replay {HOSTILE}",
        sources={HOSTILE: HOSTILE.encode()},
        kept_as=HOSTILE,
    )
    whole, _ = check_page(
        result(claims=(ClaimResult(HOSTILE, "held", 1, outcome, HOSTILE, (0.5,)),)),
        [],
        replace(thruster(), name=HOSTILE),
    )
    for text, scripts in ((case_page(foreign), 4), (whole, 0)):
        seen = Seen(text)

        assert HOSTILE in " ".join(seen.words.split()) or HOSTILE in seen.words
        assert "img" not in seen.tags
        assert seen.tags.count("script") == scripts
        assert not [name for _, name, _ in seen.attributes if name.startswith("on")]
        assert "alert('run')" not in seen.scripts.replace("\\u003cscript>alert('run')", "")


def test_the_story_is_that_of_the_text_report(page: str, small: Case) -> None:
    """One wording for both."""
    words = Seen(page).words

    for line in scenario_lines(small.scenario, small.drive):
        assert line.strip() in words
    assert f"At {small.moment_s:.4f} s: it broke" in words
    assert small.replay in words


@pytest.mark.usefixtures("_undrawn")
@pytest.mark.parametrize("status", ["held", "broken"])
def test_what_held_means_is_said_where_something_held(status: str) -> None:
    """Above a broken claim it would speak of what is not there; the cautions stand above both."""
    one = case(spiked(0.1))
    pages = {
        "held": (case_page(replace(one, outcome=replace(one.outcome, status="held"))), _whole("held")),
        "broken": (case_page(one), _whole("broken")),
    }
    for text in pages[status]:
        words = Seen(text).words
        assert (CAUTION in words, NO_PERMISSION in words) == (status == "held", status == "broken")
        assert "no permission to spin: propeller off, current-limited supply, eye protection" in words


def _whole(status: str) -> str:
    """A check whose only claim came out as `status`."""
    outcome = Outcome("a.b", status, 0.5 if status == "held" else -0.5, 0.05)
    return check_page(result(claims=(ClaimResult("a.b", status, 1, outcome, "", (0.5,)),)), [], thruster())[0]


def test_the_line_that_acted_is_shown_in_its_source(page: str) -> None:
    """With its neighbours; it alone is marked."""
    acted = re.findall(r'<span class="acted"[^>]*>(.*?)</span>', page, re.DOTALL)

    assert [line.split() for line in acted] == [["▶", "2", "{"]]
    assert "int main(void)" in page


def test_a_battery_is_spoken_of_in_one_way(page: str) -> None:
    """Two rules for one danger, and a reader takes the one that suits him."""
    words = " ".join(Seen(page).words.split())
    told = re.findall(r"[^.;]*batter[^.;]*", words)

    assert len(told) >= 3
    assert all("battery only where it may burn" in sentence for sentence in told)


@pytest.mark.usefixtures("_undrawn")
def test_margins_say_of_what_they_are_a_share() -> None:
    """A bare -0.38 could be amperes."""
    one = case(spiked(0.1))
    words = " ".join(Seen(case_page(one)).words.split())
    whole, _ = check_page(
        result(claims=(ClaimResult("a.b", "held", 1, one.outcome, "", (0.5,)),)), [], thruster()
    )

    assert "margin -0.38 of the limit (0: on it, below: broken)" in words
    assert "marginshare of limit" in words
    assert "least marginshare of limit" in Seen(whole).words


def test_limit_and_seen_stand_on_one_scale(page: str) -> None:
    """40 of 55 is 72.73 %."""
    widths = re.findall(r'class="length" style="width: ([\d.]+)%"', page)

    assert widths == ["72.73", "100.00"]


def test_what_each_handler_took_stands_on_the_page(page: str) -> None:
    """The run calls one, from cycle 200 000 to 200 400 of 16 MHz: 25 us at 0.0125 s."""
    row = page[page.index("<td>on_comparator_edge</td>") :]

    assert row.startswith(
        "<td>on_comparator_edge</td><td>1</td><td>25.0</td><td>0.0125</td><td>25.0</td><td>"
    )


def test_the_pulse_list_can_be_saved(page: str, small: Case) -> None:
    """Without network and without scripts: the file is in the page."""
    (address,) = re.findall(r'href="data:text/csv;base64,([^"]*)"', page)
    rows = list(csv.DictReader(io.StringIO(base64.b64decode(address).decode())))

    assert sum(int(row["pulses"]) for row in rows) == len(small.scenario.pulses())


def test_the_data_hold_no_value_that_json_lacks(page: str) -> None:
    """A browser would refuse the whole block."""
    (described,) = re.findall(r'class="described">(.*?)</script>', page, re.DOTALL)

    assert json.loads(described, parse_constant=pytest.fail)["moment_word"] == "the moment"


def test_two_runs_of_the_report_give_the_same_page(page: str, small: Case) -> None:
    """No date, no address of an object, no random id."""
    again = case_page(case(spiked(0.1)))

    assert hashlib.sha256(again.encode()).digest() == hashlib.sha256(page.encode()).digest()


def test_the_vendored_library_is_the_published_one() -> None:
    """Its digests stand beside it."""
    told = (ASSETS / "vendor" / "README.md").read_text()

    for name in ("uPlot.iife.min.js", "uPlot.min.css"):
        assert f"{hashlib.sha256((ASSETS / 'vendor' / name).read_bytes()).hexdigest()}  {name}" in told
    assert "MIT" in (ASSETS / "vendor" / "LICENSE").read_text()


# ---- colours ---------------------------------------------------------------------------------------


def luminance(colour: str) -> float:
    """Relative luminance of "#rrggbb", W3C WCAG 2.1."""
    channels = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
def test_text_and_lines_can_be_read(scheme: int) -> None:
    """W3C WCAG 2.1: text 4.5 to 1 (1.4.3), what is drawn 3 to 1 (1.4.11), on both grounds, by light alone."""
    rules = re.findall(r":root \{(.*?)\}", (ASSETS / "sheet.css").read_text(), re.DOTALL)[scheme]
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", rules))
    for ground in ("paper", "panel"):
        for name, least in (("ink", 4.5), ("soft", 4.5), ("alarm", 4.5), ("held", 4.5), ("line", 4.5),
                            ("second", 4.5), ("dense", 3.0)):  # fmt: skip
            light, dark = sorted((luminance(colours[ground]), luminance(colours[name])), reverse=True)
            ratio = (light + 0.05) / (dark + 0.05)
            assert ratio >= least, (name, ground, ratio)


# ---- a whole check ---------------------------------------------------------------------------------


def test_a_check_shows_what_exercised_each_claim() -> None:
    """Margins of all scenarios, which families' scenarios, where they went; what was not measured is said."""
    worst = Outcome("gates.both_fets", "held", 1.0, text="no leg ever had both FETs on")
    claims = (
        ClaimResult("gates.both_fets", "held", 43, worst, "", (1.0, 0.5, -2.0), {"gates": 40, "tones": 3}),
    )
    visits = (Visit(11.1, 1.0, (-900.0, 8000.0)), Visit(9.6, 0.5, None))
    text, outside = check_page(result(claims=claims, visits=visits), [], thruster())
    words = Seen(text).words

    assert "gates 40, tones 3; no leg ever had both FETs on" in words
    assert "no leg ever has both FETs on" in words
    assert "reached: not measured" in words
    assert text.count('class="drawing"') == 2
    assert outside == {}


@pytest.mark.usefixtures("_undrawn")
def test_a_run_with_too_many_edges_keeps_those_near_the_moment(
    monkeypatch: pytest.MonkeyPatch, small: Case
) -> None:
    """The page does not become too large to open, and says above the lanes and below what it lacks."""
    monkeypatch.setattr("dryspin.report.sheet.described.MOST_EDGES", 10)
    words = " ".join(Seen(case_page(small)).words.split())

    assert "Not drawn: edges before" in words
    assert "curves and the drawing of the whole run show all of it, and --vcd FILE writes every edge" in words
    assert re.search(r"Edges are complete from 0\.0\d+ to 0\.0\d+ s", words)


def test_a_capture_of_pins_has_a_page() -> None:
    """Without currents and rotor: edges are drawn, the rest is said to be missing."""
    text = case_page(case(replace(spiked(0.1), states=np.zeros(0, STATE))))

    assert "currents, voltages, speed and rotor angle: the recording has none" in text
    assert "not measured: the recording has no currents or voltages here" in text


def test_what_is_broken_or_was_not_exercised_comes_first() -> None:
    """Sixty rows are not searched for the one that matters; the families' order is kept among the others."""
    rows = [("a.held", "held"), ("b.mute", "not exercised"), ("c.broken", "broken"), ("d.held", "held")]
    claims = tuple(
        ClaimResult(
            name, verdict, int(verdict != "not exercised"), Outcome(name, verdict, -24.0), "", (-24.0, 2.0)
        )
        for name, verdict in rows
    )
    text = check_page(result(claims=claims), [], thruster())[0]
    table = text[text.index('id="claims"') : text.index('id="margins"')]

    assert re.findall(r"<td>(\w\.\w+)</td>", table) == ["c.broken", "b.mute", "a.held", "d.held"]
    # what lies beyond the drawing's borders is told
    assert text.count("to -24<") == text.count("to +2<") == 4


def test_code_that_was_measured_is_told() -> None:
    """In the words of the text report: how much, and which lines were not."""
    first, second = Mark("main.c", 3, 1), Mark("main.c", 9, 1)
    coverage = Coverage((first, second), frozenset({first}))
    words = Seen(check_page(result(), [], thruster(), coverage)[0]).words

    for line in coverage_lines(coverage):
        assert line in words
    assert "main.c:9" in words
    assert "not measured" not in words


@pytest.mark.usefixtures("_undrawn")
def test_findings_beyond_the_budget_get_a_page_of_their_own(
    monkeypatch: pytest.MonkeyPatch, small: Case
) -> None:
    """A file of a hundred megabytes opens nowhere; the page says where the rest is."""
    monkeypatch.setattr("dryspin.report.sheet.page.BUDGET_BYTES", 10)
    text, outside = check_page(result(), [small], thruster())

    assert list(outside) == ["reversal-phase-current-1.html"]
    assert 'class="block"' in outside["reversal-phase-current-1.html"]
    assert 'href="reversal-phase-current-1.html"' in text
    assert 'class="block"' not in text
    assert text.count('class="drawing"') == 3


def test_the_claim_looked_at_is_the_most_pressing() -> None:
    """Of a run without finding: what broke first, which may have led to the rest; then the least margin."""
    late, broken = Outcome("i.k", "broken", -7.0, 1.01), Outcome("a.b", "broken", -0.1, 1.0)
    near, mute = Outcome("c.d", "held", 0.01, 1.0), Outcome("e.f", "not exercised")

    assert most_pressing(Trial((near, late, broken, mute), 1.0)) is broken
    assert by_urgency((near, late, broken, mute)) == [broken, late, near, mute]
    assert most_pressing(Trial((Outcome("g.h", "held", 0.5, 1.0), near), 1.0)) is near
    assert most_pressing(Trial((mute,), 1.0)) is None


def test_what_handlers_took_and_what_is_wrong_in_the_c_is_told() -> None:
    """In the words and figures of the text report: it must not need to be read beside the page."""
    used = HandlerUse(12, 2_500, 125_000, 339)
    times = HandlerTimes({12: used}, OffSpan(339, "", 12), 1_000.0, {12: 0.021}, {12: "on_compare_a"})
    fault = Fault("undefined", "", Place("ramp.c:7", "ramp"), "left shift of 1 by 17", moment_s=0.25)
    code = Code((fault,), ("ramp.c:pace",), 3, 1.5)
    text = check_page(result(handlers=times, code=code), [], thruster())[0]
    words = Seen(text).words
    table = text[text.index('id="handlers"') :]

    for line in code_lines(code):
        assert line in words
    assert re.findall(r"<t[dh]>([^<]+)</t[dh]>", table)[:10] == [
        *("handler", "calls", "longest", "mean", "of 9 549 rpm"),
        *("on_compare_a", "2 500", "339 cycles 21.2 us", "50 cycles 3.1 us", "2.1%"),
    ]
    assert "interrupts off for 339 cycles 21.2 us at most: from the begin of on_compare_a" in words
    assert "handlers" not in Seen(check_page(result(), [], thruster())[0]).words.lower()


def test_a_flat_curve_is_labelled_by_its_value_and_not_by_its_last_digits() -> None:
    """Currents of rounding noise once had a scale of their own, with words upon words."""
    run = spiked(0.1)
    states = run.states.copy()
    states["i_u_a"] = 1e-14 * np.sin(np.arange(len(states)))
    states["i_v_a"] = -states["i_u_a"]
    drawing = still(lanes_of(replace(run, states=states), 0.05, []), 0.049, 0.051, "close", "x")

    labels = re.findall(r">([^<]+)</text>", drawing)
    assert labels.count("0") >= 3
    assert not [label for label in labels if re.fullmatch(r".*\de-\d+", label)]
