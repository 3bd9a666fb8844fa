"""The value change dump: read back by pyvcd's reader, it says what the recording says."""

from pathlib import Path

import numpy as np
import pytest
from vcd.reader import TokenKind, tokenize

from dryspin.errors import UsageError
from dryspin.recording import Recording, Signal
from dryspin.waveforms import Window, channels_of, save_vcd

from ..recording import samples


@pytest.fixture(scope="session")
def dump(voyage: Recording, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The last tenth of the voyage."""
    path = tmp_path_factory.mktemp("vcd") / "voyage.vcd"
    save_vcd(voyage, path, Window(1.6, 1.7))
    return path


def read(path: Path) -> tuple[dict[str, list[tuple[int, float]]], list[str], dict[str, str]]:
    """(changes by name, scopes in order, type by name) through a reader that is not ours."""
    names: dict[str, str] = {}
    types: dict[str, str] = {}
    scopes: list[str] = []
    changes: dict[str, list[tuple[int, float]]] = {}
    now = 0
    with path.open("rb") as file:
        for token in tokenize(file):
            match token.kind:
                case TokenKind.SCOPE:
                    scopes.append(token.scope.ident)
                case TokenKind.VAR:
                    names[token.var.id_code] = token.var.reference
                    types[token.var.reference] = token.var.type_.value
                case TokenKind.CHANGE_TIME:
                    now = token.time_change
                case TokenKind.CHANGE_SCALAR | TokenKind.CHANGE_VECTOR | TokenKind.CHANGE_REAL:
                    changes.setdefault(names[token.data.id_code], []).append((now, float(token.data.value)))
    return changes, scopes, types


Parts = tuple[dict[str, list[tuple[int, float]]], list[str], dict[str, str]]


@pytest.fixture(scope="module")
def parts(dump: Path) -> Parts:
    """The dump, read once."""
    return read(dump)


def test_scopes_and_types_are_as_a_reader_expects(parts: Parts) -> None:
    """IEEE 1364-2005 clause 18: wires for levels, reals for analog values, scopes to find them in."""
    _, scopes, types = parts

    assert scopes == ["bow_thruster_pack", "analog", "firmware", "pins", "rotor"]
    assert types["gate_u_high"] == "wire"
    assert types["v_u_v"] == "real"
    assert types["speed_rpm"] == "real"


def test_every_gate_edge_is_in_the_dump_at_its_cycle(parts: Parts, voyage: Recording) -> None:
    """From a time in whole ns the cycle comes back exactly, so nothing is lost on the way."""
    changes, _, _ = parts
    cycles, values, _ = voyage.of(Signal.GATE_V)
    for bit, name in ((1, "gate_v_high"), (2, "gate_v_low")):
        levels = (values & bit != 0).astype(int)
        new = np.append(True, levels[1:] != levels[:-1]) & (cycles > 1.6 * 16e6)
        wanted = list(zip(cycles[new].tolist(), levels[new].tolist(), strict=True))
        back = [(round(t * 16e6 / 1e9), int(level)) for t, level in changes[name] if t > 1_600_000_000]

        assert len(wanted) > 50
        assert back == wanted


def test_the_window_begins_with_the_values_in_force(parts: Parts, voyage: Recording) -> None:
    """A viewer must not show unknown levels where the run had known ones."""
    changes, _, _ = parts

    assert all(moments[0][0] == 1_600_000_000 for moments in changes.values())
    assert changes["mark"][0][1] == 6.0  # run
    assert changes["duty"][0][1] == voyage.value_at(Signal.DUTY, voyage.cycle_of(1.6))


def test_the_same_run_gives_the_same_file(dump: Path, voyage: Recording, tmp_path: Path) -> None:
    """No date in it: it can be compared and kept."""
    save_vcd(voyage, tmp_path / "again.vcd", Window(1.6, 1.7))

    assert (tmp_path / "again.vcd").read_bytes() == dump.read_bytes()


def test_a_name_cannot_end_the_header(tmp_path: Path) -> None:
    """A drive may be called anything; its name must not become a section of the file."""
    from dataclasses import replace

    odd = replace(samples.thruster(), name="$end $enddefinitions <b>tug</b>\n#5")
    plain = samples.recording([(0, Signal.GATE_U, 1), (160, Signal.GATE_U, 0)], drive=odd)
    save_vcd(plain, tmp_path / "odd.vcd")
    changes, scopes, _ = read(tmp_path / "odd.vcd")

    assert scopes[0] == "end_enddefinitions_b_tug_b_5"
    assert changes["gate_u_high"] == [(0, 1.0), (10_000, 0.0)]


def test_a_place_that_cannot_be_written_is_refused_and_nothing_is_left(
    voyage: Recording, tmp_path: Path
) -> None:
    """Half a dump would be read as a whole one."""
    with pytest.raises(UsageError, match="cannot be written"):
        save_vcd(voyage, tmp_path / "nowhere" / "a.vcd", Window(1.69, 1.7))

    assert list(tmp_path.iterdir()) == []


def test_names_are_unique_and_say_their_unit(voyage: Recording) -> None:
    """A table has one column a name."""
    channels = channels_of(voyage)
    names = [channel.name for channel in channels]

    assert len(set(names)) == len(names)
    assert all(name.rsplit("_", 1)[-1] in ("a", "v", "rpm", "deg") for name in names[-10:])


def test_two_resets_of_one_cause_are_two_changes(tmp_path: Path) -> None:
    """The cause alone would not change, and the second reset would be lost."""
    rows = [(0, Signal.GATE_U, 0), (0, Signal.RESET, 1), (1600, Signal.RESET, 2), (3200, Signal.RESET, 2)]
    save_vcd(samples.recording(rows), tmp_path / "a.vcd")

    assert read(tmp_path / "a.vcd")[0]["restart"] == [(0, 0.0), (100_000, 1.0), (200_000, 0.0)]
