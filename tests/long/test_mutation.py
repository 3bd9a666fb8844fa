"""The campaign of `.ci/long` without its runs: what counts as what, and that it goes on where it was."""

import json

import pytest

from dryspin.mutate import Campaign, Mutant, Mutation
from dryspin.mutate.campaign import KILLED, SAME_CODE, SURVIVED, TWIN

from . import mutation as long
from .mutation import FILES, FIRMWARE, SUBJECTS, Journal, Reason, reviewed, summary


def change(line: int, file: str = "arming.c", function: str = "f") -> Mutation:
    """One change."""
    return Mutation(
        file, line, line + 1, "comparison", "<", "<=", function, line, 0, f"a < {line}", f"a <= {line}"
    )


def campaign(*mutants: Mutant) -> Campaign:
    """Of these mutants."""
    return Campaign(mutants, (), len(mutants), 0, 8, 0, 1.0)


REASON = Reason("arming.c", "f", "never equal", (("a < 2", "a <= 2"),))


def test_reviewed_survivors_leave_the_share_and_keep_their_reason():
    """Else either the goal could never be met, or nobody could see what was taken out of it."""
    mutants = [
        Mutant(change(1), KILLED, "gates.pattern"),
        Mutant(change(2), SURVIVED),
        Mutant(change(3), SURVIVED, reached=False, differs=False),
        Mutant(change(4), SAME_CODE),
        Mutant(change(5), TWIN),
    ]
    lines, share = summary(campaign(*mutants), [REASON])
    rows = {line.split()[0]: line.split()[1:] for line in lines if line and line.split()[-1] == "%"}

    assert share == 0.5
    # changes, dropped, equivalent, killed, not reached, survived, share
    assert rows["arming.c"] == rows["arming"] == rows["all"] == ["5", "1", "2", "1", "1", "1", "50.0", "%"]
    assert "survived  arming.c:3 in f: comparison; not reached" in lines
    assert lines[lines.index("equivalent  arming.c:2 in f: comparison") + 3] == "    never equal"


def test_a_killed_change_is_not_taken_out_by_a_reason():
    """A reason that turns out wrong must not hide it."""
    lines, share = summary(campaign(Mutant(change(2), KILLED, "gates.pattern")), [REASON])

    assert share == 1.0
    assert not any("never equal" in line for line in lines)


def test_every_reason_speaks_of_lines_that_are_there():
    """A line of the firmware that changes takes its reason with it."""
    for reason in reviewed():
        lines = {line.strip() for line in (FIRMWARE / reason.file).read_text(encoding="utf-8").splitlines()}

        assert reason.why
        assert [old for old, _ in reason.changes if old not in lines] == []


def test_files_are_those_of_the_firmware():
    """And each belongs to one subject."""
    assert len(FILES) == len(set(FILES)) == sum(map(len, SUBJECTS.values()))
    assert [name for name in FILES if not (FIRMWARE / name).is_file()] == []


def test_a_journal_goes_on_where_it_was(tmp_path):
    """Also where the last line was cut off; that of another firmware is refused."""
    path = tmp_path / "journal.jsonl"
    first, second = Mutant(change(1), KILLED, "gates.pattern", 3, 2.5), Mutant(change(2), SURVIVED)
    journal = Journal(path, "this firmware")
    assert journal.read() == {}
    journal.add(first)
    journal.add(second)
    with path.open("a", encoding="utf-8") as file:
        file.write('{"mutation": {"fi')

    assert Journal(path, "this firmware").read() == {first.mutation: first, second.mutation: second}
    with pytest.raises(SystemExit, match="another firmware"):
        Journal(path, "another one").read()


@pytest.mark.parametrize(("verdict", "code"), [(KILLED, 0), (SURVIVED, 1)])
def test_result_file_is_dated_and_the_exit_code_tells(tmp_path, monkeypatch, capsys, verdict, code):
    """A script must see a missed goal without reading it."""
    told = []

    def one(subject, known, done, **options):
        told.append(len(known))
        mutant = known.get(change(1), Mutant(change(1), verdict))
        if not known:
            done(mutant)
        return campaign(mutant)

    monkeypatch.setattr(long, "mutate", one)
    arguments = ["--each", "1", "--journal", str(tmp_path / "j.jsonl"), "--results", str(tmp_path)]

    assert [long.main(arguments), long.main(arguments)] == [code, code]
    assert told == [0, 1]
    (path,) = tmp_path.glob("20??-??-??-mutation-sample.txt")
    assert path.read_text() in capsys.readouterr().out
    assert json.loads((tmp_path / "j.jsonl").read_text().splitlines()[0])["scenarios"] == 440
