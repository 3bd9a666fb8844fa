"""Faults of the checked build as findings: a scenario for each, shown again by a replay."""

from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.cli.command import exit_code
from dryspin.faults import Code, Evidence, Fault, Inspector, Place
from dryspin.findings import Finding, Inspected, read_finding, replay_on, save_finding
from dryspin.report import check_lines
from dryspin.search import check

from ..findings.samples import finding
from ..search.subject import StandIn, held
from ..small_firmware import BOW_THRUSTER, Bench, scenario

PULSES = """\
#include "say.h"
static const uint16_t step_ticks[8] = {0U, 1U, 2U, 3U, 4U, 5U, 6U, 7U};
static uint8_t history[4];
static volatile uint16_t chosen;
static volatile uint16_t rise;
void on_throttle_edge(void)
{
    uint16_t now = port_throttle_ticks();
    if (port_throttle_level()) {
        rise = now;
        port_throttle_edge(PORT_FALLING);
        return;
    }
    port_throttle_edge(PORT_RISING);
    uint16_t width = (uint16_t)((uint16_t)(now - rise) / 400U);
    uint8_t *at = &history[0];
    chosen = step_ticks[width];    /* undefined */
    at[width / 2U] = 1U;           /* out of bounds */
}
int main(void)
{
    port_throttle_edge(PORT_RISING);
    port_throttle_interrupt(1);
    port_interrupts_restore(1);
    SLEEP_FOREVER
}
"""
"""Ticks are 0.5 us: from 1 600 us on, the step is the ninth of eight, and the history's fifth of four."""


def firmware(bench: Bench, text: str = PULSES) -> StandIn:
    """All claims hold; only the checked build objects."""
    bench.image(text)
    given = StandIn(bench.folder, lambda _: [held("throttle_map.rising")], ("throttle_map.rising",))
    given.drive = replace(bench.drive, path=bench.folder / "drive.toml")
    return given


def test_each_fault_of_a_check_is_kept_as_the_scenario_that_shows_it(bench: Bench, tmp_path: Path) -> None:
    """Two lines at fault at one moment are two findings: each may be mended by itself."""
    given = firmware(bench)
    inspector = Inspector(given.drive, given.directory)
    result = check(given, scenarios=6, workers=1, save=tmp_path / "found", inspector=inspector)
    found = {saved.finding.claim: saved for saved in result.findings}
    undefined, beyond = found["code.undefined"].finding, found["code.out_of_bounds"].finding

    assert not result.passed
    assert undefined.outcome.source_line == bench.place("/* undefined */")
    assert "index 8 is out of bounds" in undefined.outcome.text or "index 9" in undefined.outcome.text
    assert beyond.outcome.source_line == bench.place("/* out of bounds */")
    assert "past the end of history, which has 4" in beyond.outcome.text
    assert max(us for _, us in undefined.scenario.throttle_us) >= 1600.0
    assert undefined.scenario.events <= 2
    lines = check_lines(result, given.drive)
    assert f"replay: dryspin replay {found['code.undefined'].path}" in lines


def test_a_replay_shows_the_fault_again_and_holds_once_it_is_mended(bench: Bench, tmp_path: Path) -> None:
    """By the checked build: the plain one's recording says nothing of it."""
    given = firmware(bench)
    story = scenario(0.2, throttle_us=((0.0, 1900.0),))
    inspector = Inspector(given.drive, given.directory)
    place = bench.place("/* out of bounds */")
    trial = Inspected(inspector, "code.out_of_bounds", place).try_out(story)
    kept = Finding(
        "broken",
        trial.outcomes[0],
        story,
        given.directory,
        given.drive.path,
        given.hashes,
        trial.digest,
    )
    again = replay_on(given, kept)
    assert again.as_expected
    assert again.outcome == kept.outcome
    assert again.same_digest

    moved = replay_on(firmware(bench, "/* moved */\n" + PULSES.replace("/ 2U] = 1U", "/ 2U] = 2U")), kept)
    assert moved.as_expected
    assert moved.outcome.source_line == bench.place("/* out of bounds */") != place

    mended = replay_on(firmware(bench, PULSES.replace("at[width / 2U]", "at[width % 4U]")), kept)
    assert mended.outcome.status == "held"
    assert not mended.as_expected


def test_a_fault_at_another_line_is_not_taken_for_the_one_that_is_shortened(bench: Bench) -> None:
    """Shortening must not slip from one fault to another."""
    given = firmware(bench)
    inspector = Inspector(given.drive, given.directory)
    story = scenario(0.2, throttle_us=((0.0, 1900.0),))
    elsewhere = Inspected(inspector, "code.undefined", "main.c:1", only_there=True)

    assert elsewhere.try_out(story).of("code.undefined").status == "held"
    assert (
        Inspected(inspector, "code.undefined", "main.c:1").try_out(story).of("code.undefined").status
        == "broken"
    )


def test_two_faults_in_one_scenario_have_files_of_their_own(tmp_path: Path) -> None:
    """The same claim and the same scenario: only the line tells them apart."""
    one = finding(tmp_path)
    outcomes = [replace(one.outcome, claim="code.undefined", source_line=line) for line in ("a.c:1", "a.c:2")]
    paths = [save_finding(tmp_path, replace(one, outcome=outcome)) for outcome in (*outcomes, *outcomes)]

    assert [path.name for path in paths] == ["code-undefined-1.toml", "code-undefined-2.toml"] * 2
    assert [read_finding(path).outcome.source_line for path in paths[:2]] == ["a.c:1", "a.c:2"]


class Shown:
    """Stands in for a checked build that shows a race and an overflow in each run."""

    def evidence(self, scenarios, *, widths=True):
        return Evidence(runs=sum(1 for _ in scenarios), digests=["0123"])

    def judge(self, evidence):
        race = Fault(
            "torn read", "width", Place("a.c:3", "get"), "of 2 bytes", against=Place("b.c:4", "on_wrap")
        )
        overflow = Fault("undefined", "", Place("a.c:9", "sum"), "integer overflow: 1 + 2", moment_s=0.25)
        return Code((race, overflow), (), evidence.runs, 1.0)


def test_what_no_single_run_shows_is_told_but_not_kept(tmp_path: Path) -> None:
    """A race depends on which handlers were enabled, not on the story: no scenario is its scenario."""
    given = StandIn(tmp_path, lambda _: [held("arming.idle")], ("arming.idle",))
    result = check(given, scenarios=4, workers=1, save=tmp_path, inspector=Shown())
    (saved,) = result.findings

    assert saved.finding.claim == "code.undefined"
    assert saved.finding.outcome.text == "undefined in sum(): integer overflow: 1 + 2"
    assert saved.finding.outcome.moment_s == 0.25
    assert saved.finding.digest == "0123"
    assert "2 faults in the C" in check_lines(result, given.drive)


def test_a_crash_that_is_mended_is_held(tmp_path: Path) -> None:
    """The run came to its end: no other claim can say more of it."""
    given = StandIn(tmp_path, lambda _: [held("arming.idle")], ("arming.idle",))
    crash = replace(finding(tmp_path).outcome, claim="code.crash")
    replayed = replay_on(given, replace(finding(tmp_path), outcome=crash))

    assert replayed.outcome.status == "held"


@pytest.mark.slow
def test_check_and_replay_agree_on_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The bow thruster with an index one too far from the 61st edge on, by the two commands a user has."""
    folder = tmp_path / "thruster"
    folder.mkdir()
    own = (BOW_THRUSTER / "throttle.c").read_text()
    lines = own.splitlines()
    first = next(k for k, line in enumerate(lines) if line.startswith("void on_throttle_edge"))
    body = next(k for k in range(first, len(lines)) if lines[k].startswith("{"))
    lines[body] += (
        " static uint16_t seen[3]; static volatile uint8_t nth; nth = (uint8_t)(nth + 1U);"
        " seen[nth > 60U ? 3 : 0] = 1U; (void)seen;"
    )
    (folder / "throttle.c").write_text("\n".join(lines) + "\n")
    (folder / "drive.toml").write_text(f'[firmware]\nbase = "{BOW_THRUSTER}"\n')
    (folder / "claims.toml").write_text((BOW_THRUSTER / "claims.toml").read_text())
    code = exit_code(
        [
            "check",
            str(folder),
            "--only",
            "throttle_map",
            "--scenarios",
            "2",
            "--save",
            str(tmp_path / "found"),
        ]
    )
    told, complaint = capsys.readouterr()
    kept = sorted((tmp_path / "found").glob("code-*.toml"))

    assert (code, complaint) == (1, "")
    assert [path.name for path in kept] == ["code-out-of-bounds-1.toml", "code-undefined-1.toml"]
    assert f"replay: dryspin replay {kept[1]}" in told
    for path in kept:
        assert exit_code(["replay", str(path)]) == 1
        shown = capsys.readouterr().out
        assert f"commanded at throttle.c:{body + 1}" in shown
        assert "the recording is the same to the last bit" in shown
    (folder / "throttle.c").write_text(own)
    assert exit_code(["replay", str(kept[1])]) == 0
