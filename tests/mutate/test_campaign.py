"""The whole of it on a firmware held to one family: killed, survived, dropped, the same whoever works."""

import json
import os
import signal
from pathlib import Path

import pytest

from dryspin.cli.command import exit_code
from dryspin.errors import UsageError
from dryspin.findings import load_subject
from dryspin.mutate import Mutant, Mutation, mutate
from dryspin.mutate.campaign import KILLED, NOT_BUILT, SAME_CODE, SURVIVED, TWIN
from dryspin.mutate.judging import CANNOT_RUN, Judgement
from dryspin.report.mutate import campaign_json, campaign_lines

from ..small_firmware import BOW_THRUSTER

pytestmark = pytest.mark.slow

DRIVE = f'name = "thruster held to its gates"\n\n[firmware]\nbase = "{BOW_THRUSTER}"\n'


@pytest.fixture
def firmware(tmp_path) -> Path:
    """The bow thruster, held to the claims about its gates alone."""
    folder = tmp_path / "fw"
    folder.mkdir()
    (folder / "drive.toml").write_text(DRIVE)
    (folder / "claims.toml").write_text('declared = ["gates"]\n')
    return folder


def changed(folder: Path, file: str, before: str, after: str) -> Path:
    """The same firmware with one text replaced."""
    (folder / "drive.toml").write_text(
        DRIVE + f"\n[[firmware.change]]\nfile = '{file}'\nbefore = '''{before}'''\nafter = '''{after}'''\n"
    )
    return folder


def test_a_leg_left_closed_is_killed_and_something_survives(firmware, tmp_path, capsys, monkeypatch):
    """Claims about gates see the one and not the other; the sources stay as they are."""
    monkeypatch.chdir(tmp_path)
    before = {path: path.read_bytes() for path in BOW_THRUSTER.glob("*.[ch]")}
    arguments = ["mutate", "fw", "--function", "bridge_open", "--function", "tone_begin", "--scenarios", "2"]
    code = exit_code([*arguments, "--workers", "2", "--json", "m.json"])
    out = capsys.readouterr().out
    data = json.loads((tmp_path / "m.json").read_text())
    verdicts = {(m["function"], m["before"], m["after"]): m["verdict"] for m in data["mutants"]}

    assert code == 1
    assert verdicts["bridge_open", "port_all_open();", ";"] == KILLED
    assert verdicts["tone_begin", "playing = tunes[tone - PORT_MARK_TONE_FIRST];", ";"] == KILLED
    assert verdicts["tone_begin", "times_left = playing->times;", ";"] == SURVIVED
    assert data["totals"]["judged"] == data["totals"]["killed"] + data["totals"]["survived"]
    assert data["totals"]["tried"] == len(data["mutants"]) == data["totals"]["changes"]
    assert "survived" in out
    assert {path: path.read_bytes() for path in BOW_THRUSTER.glob("*.[ch]")} == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["fw", "m.json"]


@pytest.mark.long
def test_neither_workers_nor_what_is_passed_over_change_a_verdict(firmware, monkeypatch):
    """Order of finishing must not show; a scenario that never gets to a change cannot object to it."""
    subject = load_subject(firmware)
    one, two, all_run = [], [], []
    for found, workers in ((one, 1), (two, 2), (all_run, 2)):
        if found is all_run:
            monkeypatch.setattr("dryspin.mutate.judging.Bench.shows", lambda *_: True)
        found += mutate(subject, files=["bridge.c"], sample=3, scenarios=2, seed=5, workers=workers).mutants

    assert one == two
    assert len(one) == 3
    assert [(m.verdict, m.by) for m in all_run] == [(m.verdict, m.by) for m in one]
    assert sum(m.scenarios for m in all_run) >= sum(m.scenarios for m in one)


def test_a_firmware_that_breaks_its_own_claims_is_refused(firmware):
    """Every mutant of it would seem killed."""
    changed(
        firmware,
        "bridge.c",
        "	port_leg(opens, PORT_OPEN);\n",
        "",
    )
    with pytest.raises(UsageError, match=r"breaks gates\.\w+.* as it stands"):
        mutate(load_subject(firmware), files=["range.c"], sample=1, scenarios=1)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"files": ["brigde.c"]}, "--file brigde.c: no source of the firmware. Did you mean 'bridge.c'?"),
        (
            {"functions": ["brigde_open"]},
            "--function brigde_open: nothing to change in a function of",
        ),
        ({"files": ["conversion.c"]}, "there is nothing to change in these sources"),
    ],
)
def test_names_that_are_not_there_are_refused(firmware, options, message):
    """Before anything is run."""
    with pytest.raises(UsageError) as raised:
        mutate(load_subject(firmware), **options)

    assert message in str(raised.value)


def test_a_mutant_that_kills_its_process_could_not_be_run(firmware, monkeypatch):
    """A wild pointer may hit anything; the campaign goes on."""

    def dies(*_):
        os.kill(os.getpid(), signal.SIGKILL)

    monkeypatch.setattr("dryspin.mutate.campaign.judge_mutant", dies)
    campaign = mutate(load_subject(firmware), files=["range.c"], sample=2, scenarios=1)

    assert {(mutant.verdict, mutant.by) for mutant in campaign.mutants} == {(KILLED, CANNOT_RUN)}


def test_changes_without_effect_are_counted_and_not_run(firmware, monkeypatch):
    """Two ways to write one mistake are one mistake; what is not judged is told."""
    nothing = "static inline void nothing(void) { (void)(1U + 2U); }"
    cases = "case 1: return 1; case 2: return 3; default: return 4;"
    choice = f"static inline int choice(int n) {{ switch (n) {{ {cases} }} }}"
    include = '#include "range.h"'
    changed(firmware, "range.c", include, f"{include}\n{nothing}\n{choice}")
    judged = []

    def survives(workshop, mutation, bench):
        judged.append(mutation)
        return Judgement("", "", 1, 0.0)

    monkeypatch.setattr("dryspin.mutate.campaign.judge_mutant", survives)
    monkeypatch.setattr("dryspin.mutate.campaign.run_tasks", in_this_process)
    campaign = mutate(load_subject(firmware), files=["range.c", "steps.c"], scenarios=1)
    counts = {verdict: len(campaign.of(verdict)) for verdict in (SURVIVED, NOT_BUILT, SAME_CODE, TWIN)}

    assert counts[SURVIVED] == campaign.judged == len(judged) > 30
    assert sum(counts.values()) == len(campaign.mutants)
    assert counts[TWIN] > 0
    # all that can be done to what has no effect, or is never called; two cases alike do not compile
    assert counts[SAME_CODE] >= 10
    assert counts[NOT_BUILT] == 2


def in_this_process(work, tasks, workers, progress=lambda _: None, lost=None, done=lambda *_: None):
    """Stands in for workers, where a test wants to see what they do."""
    results = [work(task, progress) for task in tasks]
    for task, result in zip(tasks, results, strict=True):
        done(task, result)
    return results


def test_the_report_shows_every_survivor_with_both_lines():
    """And says what it means."""
    from dryspin.drive import load_drive
    from dryspin.mutate import Campaign

    mutation = Mutation("a.c", 10, 11, "comparison", "<", "<=", "f", 7, 5, "if (a < b)", "if (a <= b)")
    mutants = (
        Mutant(mutation, SURVIVED, "", 8, 20.0, False, False),
        Mutant(mutation, SURVIVED, "", 8, 20.0, True, False),
        Mutant(mutation, KILLED, "gates.pattern", 1, 2.0),
        Mutant(mutation, KILLED, CANNOT_RUN, 1, 2.0),
        Mutant(mutation, SAME_CODE),
        Mutant(mutation, NOT_BUILT),
    )
    campaign = Campaign(mutants, ("a.c:3",), 9, 2, 8, 0, 12.0)
    lines = campaign_lines(campaign, load_drive(BOW_THRUSTER))

    assert lines[:10] == [
        "bow thruster, pack: 6 of 9 changes, up to 8 scenarios each and 2 kept, seed 0, in 12 s",
        "1 do not build, 1 leave the machine code as it is, 0 make the same machine code as another",
        "a.c:3: not understood by the C parser, left as it is",
        "",
        "file  judged  killed  share",
        "a.c        4       2   50 %",
        "",
        "kind        judged  killed  share",
        "comparison       4       2   50 %",
        "",
    ]
    assert lines[10:13] == [
        "survived  a.c:7 in f(): comparison; no scenario gets there",
        "    - if (a < b)",
        "    + if (a <= b)",
    ]
    assert lines[13] == "survived  a.c:7 in f(): comparison; in no scenario is anything different"
    assert (
        "2 of 4 killed (50 %): 1 by a broken claim, 1 that cannot be run, 0 that leave a claim" in lines[17]
    )
    assert "killed  a.c:7 in f(): comparison by gates.pattern" in campaign_lines(
        campaign, load_drive(BOW_THRUSTER), killed_too=True
    )
    assert campaign_json(campaign)["totals"]["killed_share"] == pytest.approx(2 / 4)


def test_without_the_parser_the_command_says_what_to_install(firmware, monkeypatch, capsys):
    """It is an extra: a compiled wheel that most do without."""
    from dryspin.mutate.mutations import _parser

    _parser.cache_clear()
    monkeypatch.setitem(__import__("sys").modules, "tree_sitter", None)
    try:
        assert exit_code(["mutate", str(firmware)]) == 2
    finally:
        _parser.cache_clear()

    assert "pip install 'dryspin[mutate]'" in capsys.readouterr().err
