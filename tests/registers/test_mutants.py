"""Mutants of firmware written for registers: made, built by one source, judged, told with their lines."""

import json
from pathlib import Path
from textwrap import dedent

import pytest

from dryspin.cli.command import exit_code
from dryspin.findings import load_subject
from dryspin.mutate import mutate
from dryspin.mutate.campaign import KILLED
from dryspin.mutate.mutations import REMOVED, mutations, parse_source

from ..small_firmware import BOW_THRUSTER

ONE_LEG = """\
#include <avr/io.h>
#include <util/delay.h>
int main(void)
{
    DDRD = _BV(PD5) | _BV(PD4);
    for (;;) {
        PORTD = _BV(PD5);
        _delay_ms(5);
        PORTD = 0;
        _delay_us(5);
        PORTD = _BV(PD4);
        _delay_ms(5);
        PORTD = 0;
        _delay_us(5);
    }
}
"""
"""One leg, high and low in turn, 5 us open between them."""

TWO_WAYS = BOW_THRUSTER.parent / "two_way_interrupts"


def firmware(folder: Path, name: str, text: str, claims: str) -> Path:
    """A directory with one source, the wiring of the two-way thruster and those claims."""
    folder.mkdir()
    (folder / name).write_text(text, encoding="utf-8")
    drive = (TWO_WAYS / "drive.toml").read_text(encoding="utf-8")
    drive = drive[: drive.index("[timekeeping]")].replace("thruster.cpp", name)
    drive = drive.replace("../bow_thruster", str(BOW_THRUSTER))
    (folder / "drive.toml").write_text(drive, encoding="utf-8")
    (folder / "claims.toml").write_text(f"declared = {claims}\n", encoding="utf-8")
    return folder


@pytest.mark.slow
def test_a_lost_dead_time_is_killed_and_the_rest_survives_with_its_line(tmp_path: Path) -> None:
    """Without PORTD = 0 one FET is told off as the other is told on. How long each is on nothing says."""
    subject = load_subject(firmware(tmp_path / "leg", "main.c", ONE_LEG, '["gates.dead_time"]'))
    campaign = mutate(
        subject,
        which=lambda mutation: mutation.kind == REMOVED and mutation.before != "DDRD = _BV(PD5) | _BV(PD4);",
        scenarios=1,
        workers=1,
    )
    killed = {(mutant.mutation.line, mutant.by) for mutant in campaign.mutants if mutant.verdict == KILLED}

    assert {(9, "gates.dead_time"), (13, "gates.dead_time")} <= killed
    assert {mutant.mutation.line for mutant in campaign.mutants} == set(range(7, 15))
    assert {"main"} == {mutant.mutation.function for mutant in campaign.mutants}


@pytest.mark.slow
def test_a_sample_of_a_thruster_in_cpp_is_judged_from_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It has handlers, constexpr functions, atomic blocks; its gates alone are declared, so some survive."""
    text = (TWO_WAYS / "thruster.cpp").read_text(encoding="utf-8")
    folder = firmware(tmp_path / "two", "thruster.cpp", text, '["gates"]')
    told = tmp_path / "told.json"
    options = ["--sample", "5", "--scenarios", "1", "--workers", "1", "--json", str(told)]
    code = exit_code(["mutate", str(folder), *options])
    mutants = json.loads(told.read_text(encoding="utf-8"))["mutants"]

    assert code == 1
    assert len(mutants) == 5
    assert "survived  thruster.cpp:" in capsys.readouterr().out


def test_a_handler_is_named_by_its_vector_and_an_atomic_block_by_what_it_stands_in() -> None:
    """--function takes these names."""
    text = dedent("""\
        ISR(TIMER1_OVF_vect) { a = 1; }
        void f() { ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { b = 2; } }
        constexpr int g(int x) { return x + 3; }
    """)
    made = list(mutations(parse_source("main.cpp", text.encode()), {}))

    assert list(dict.fromkeys(each.function for each in made)) == ["TIMER1_OVF_vect", "f", "g"]
    assert all(each.block == -1 for each in made if each.function == "g")
