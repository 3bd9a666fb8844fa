"""Which lines of firmware a sheet shows: the one that acted, its caller, what was done last of each kind."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from dryspin.findings import Outcome
from dryspin.recording import Signal
from dryspin.report.sheet import case_page
from dryspin.report.sheet.acted import acting, last_acts, places
from dryspin.report.sheet.source import excerpt

from .sheet_samples import case, spiked


@pytest.fixture
def _undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """A drawing takes half a second of a core; none is looked at here."""
    monkeypatch.setattr("dryspin.report.sheet.described.still", lambda *_: "")


@pytest.mark.usefixtures("_undrawn")
def test_the_line_that_called_it_is_shown_below() -> None:
    """Of two acts of one line the last before the moment: a helper that writes to legs says little alone."""
    edges = spiked(0.1).edges.copy()
    legs = np.flatnonzero(edges["signal"] == Signal.LEG_V)
    edges["pc"][legs], edges["caller"][legs] = 0x200, 0x300 + np.arange(len(legs))
    lines = {0x200: "bridge.c:2", 0x300: "start.c:1", 0x301: "stop.c:1"}
    one = replace(spiked(0.1), edges=edges, lines=lambda pc: lines.get(pc, ""))
    sources = {"bridge.c": b"a\nport_leg(V);\n", "start.c": b"first();\n", "stop.c": b"second();\n"}
    before_s, after_s = 0.0, 0.05

    for moment_s, caller, text in ((before_s, "start.c:1", "first();"), (after_s, "stop.c:1", "second();")):
        acted, called = acting(one, sources, "bridge.c:2", moment_s)
        assert acted.line == "bridge.c:2"
        assert [text for _, text, own in acted.excerpt if own] == ["port_leg(V);"]
        assert called == (caller, [(1, text, True)])
    page = case_page(case(one, sources=sources, outcome=Outcome("a.b", "broken", -1.0, 0.05,
                                                                source_line="bridge.c:2")))  # fmt: skip
    assert page.count('class="acted"') == page.count('class="called"') == 1
    assert acting(one, sources, "", 0.05) == []


@pytest.mark.parametrize("line", ["", "gone.c:7", "main.c", "main.c:seven"])
def test_a_line_without_source_is_no_error(line: str) -> None:
    """A capture has none; a source may have been left out."""
    assert excerpt({"main.c": b"int main(void);"}, line) == []


BRACES = """void beat(void)
{
    if (state == COASTING
        && ticks > REST)
    {
        prepare();

        start();
    } else {
        wait();
    }
}
"""


@pytest.mark.parametrize(
    ("number", "first", "text"),
    [
        (8, 3, "    if (state == COASTING"),
        (10, 3, "    if (state == COASTING"),  # an else alone says nothing
        (3, 3, "    if (state == COASTING"),  # what decided on it is who called
    ],
)
def test_an_excerpt_begins_with_what_decided(number: int, first: int, text: str) -> None:
    """A call says what was done; the condition around it says why."""
    shown = excerpt({"beat.c": BRACES.encode()}, f"beat.c:{number}", around=0)

    assert (shown[0][0], shown[0][1]) == (first, text)
    assert [k for k, _, own in shown if own] == [shown[-1][0]] == [number]


def test_what_the_firmware_did_last_of_each_kind_is_said() -> None:
    """The latest first; what it never did stands last. In the sample line k caused edge k."""
    one = spiked(0.1)

    def line(signal: Signal, value: int) -> tuple[str]:
        mine = (one.edges["signal"] == signal) & (one.edges["value"] == value)
        return (f"main.c:{np.flatnonzero(mine)[-1]}",)

    assert [(act.text, act.at_s, act.by) for act in last_acts(one, 0.05, 0.0)] == [
        ("begins to wait for U, rising", 230_000 / 16e6, line(Signal.SENSE_IRQ, 1)),
        ("commands the legs to “U low, V low, W high”", 225_000 / 16e6, line(Signal.LEG_V, 1)),
        ("sets the comparator to U, rising", 220_010 / 16e6, line(Signal.SENSE_LEG, 0)),
        ("takes a crossing of V, rising", 220_000 / 16e6, line(Signal.MARK, 16)),
        ("says “off”", 0.0, line(Signal.MARK, 0)),
        ("stops waiting", 0.0, line(Signal.SENSE_IRQ, 0)),
    ]
    never = last_acts(one, 0.001, 0.0)[-1]
    assert (never.text, never.at_s, never.times, never.by) == ("takes a crossing", None, 0, ())
    assert last_acts(replace(one, lines=None), 0.05, 0.0) == []


def test_acts_are_counted_from_where_the_clock_starts() -> None:
    """Two legs within microseconds are one act; what came before the clock started is not counted.

    The first of them is told: where a clock starts, what went wrong may have gone wrong at once.
    """
    one = spiked(0.1)
    since = (0.0, 0.014, 0.02)
    acts = [next(act for act in last_acts(one, 0.05, s) if act.kind.startswith("commands")) for s in since]

    # at power-on, W and U at 212 000 and 212 008 of 16 MHz, V at 225 000
    assert [act.times for act in acts] == [3, 1, 0]
    assert [act.first_s for act in acts] == [0.0, 225_000 / 16e6, None]
    assert len({act.at_s for act in acts}) == 1


@pytest.mark.usefixtures("_undrawn")
def test_a_missed_deadline_shows_what_was_done_meanwhile_and_not_the_first_answer() -> None:
    """The monitor names line 2; what acted between the clock's start and the moment stands in its source."""
    outcome = Outcome("startup.in_time", "broken", -0.1, 0.05, 0.04, 0.044, "s", "late", "main.c:2")
    source = "".join(f"line_{k}();\n" for k in range(1, 60)).encode()
    page = case_page(case(spiked(0.1), outcome=outcome, sources={"main.c": source}))

    assert 'class="acted"' not in page
    # the wait, the legs, the comparator and the crossing: edges 25, 24, 23 and 22
    (place,) = [line for line in page.splitlines() if "; begins to wait for U, rising" in line]
    marked = [line for line in page.splitlines() if 'class="called"' in line]
    assert "<p>commands the legs to" in place
    assert [line.split()[-1] for line in marked] == [f"line_{k}();" for k in (22, 23, 24, 25)]
    assert (
        "0.014375</span></td><td>begins to wait for U, rising</td><td>1</td><td></td><td>main.c:25</td>"
        in page
    )
    assert "since 0.0100 s" in page
    # the legs at 212 000 and 225 000 of 16 MHz
    assert '<td>2</td><td><span data-at="0.01325">0.013250</span></td>' in page
    assert "first at, s" in page


@pytest.mark.usefixtures("_undrawn")
@pytest.mark.parametrize(
    ("moment_s", "seen_s", "around"),
    [
        (0.25, 0.24, [[0.0, 225_000 / 16e6 + 0.05], [0.2, 0.3]]),
        (0.25, 0.235, [[0.0, 0.065], [0.2, 0.3]]),
        (0.25, None, [[0.2, 0.3]]),
    ],
    ids=["what was done last", "the clock's start", "no clock"],
)
def test_curves_are_complete_where_the_firmware_acted_too(
    moment_s: float, seen_s: float | None, around: list[list[float]]
) -> None:
    """The legs at 225 000 of 16 MHz, if that is after the clock's start; a wait 0.3 ms later is no act."""
    outcome = Outcome("startup.in_time", "broken", -0.1, moment_s, seen_s, seen_s, "s", "late")
    page = case_page(case(spiked(0.3), outcome=outcome))
    (described,) = re.findall(r'class="described">(.*?)</script>', page, re.DOTALL)

    assert json.loads(described)["complete"] == [pytest.approx(ends) for ends in around]


def test_places_far_apart_stand_apart_and_those_before_the_clock_not_at_all() -> None:
    """Lines 20 and 45 of one file; an act before the clock's start led to nothing that it timed.

    The wait came last, but the legs lead to more.
    """
    one = replace(spiked(0.1), lines=lambda pc: f"main.c:{45 if pc - 0x100 > 24 else 20}")
    text = {"main.c": b"\n" * 60}
    acts = last_acts(one, 0.05, 0.014)

    assert [place.lines for place in places(acts, text, 0.014)] == ["main.c:20", "main.c:45"]
    assert [place.words for place in places(acts, text, 0.0143)] == ["begins to wait for U, rising"]
    assert places(acts, text, 0.03) == []


def test_who_wanted_it_said_stands_beside_what_was_said() -> None:
    """A line that says what is handed to it is called from many places."""
    edges = spiked(0.1).edges.copy()
    (said,) = np.flatnonzero((edges["signal"] == Signal.MARK) & (edges["value"] == 0))
    edges["caller"][said] = 0x400
    lines = {0x400: "stop.c:7"}
    one = replace(spiked(0.1), edges=edges, lines=lambda pc: lines.get(pc, "say.c:1"))
    told = {place.lines: place.words for place in places(last_acts(one, 0.005, 0.0), {}, 0.0)}

    assert told["stop.c:7"] == "called so that it says “off”"


def test_who_called_what_waits_stands_behind_who_called_what_said() -> None:
    """Said first, waited last: the order is not that of time alone, and the callers stay with their acts."""
    edges = spiked(0.1).edges.copy()
    for signal in (Signal.MARK, Signal.SENSE_IRQ):
        edges["caller"][edges["signal"] == signal] = 0x400 + signal
    lines = {0x400 + Signal.MARK: "say.c:40", 0x400 + Signal.SENSE_IRQ: "wait.c:40"}
    one = replace(spiked(0.1), edges=edges, lines=lambda pc: lines.get(pc, f"main.c:{100 * (pc - 0x100)}"))
    words = [place.words for place in places(last_acts(one, 0.05, 0.0), {}, 0.0)]

    begun = [next(k for k, text in enumerate(words) if text.startswith(start)) for start in (
        "commands the legs", "takes a crossing", "called so that it takes", "begins to wait",
        "called so that it begins to wait",
    )]  # fmt: skip
    assert begun == sorted(begun)
