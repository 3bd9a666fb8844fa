"""A recording that leaves as a value change dump and comes back as a capture is judged as before."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dryspin.capture import CaptureVerdict, Reading, figures_of, judge_capture
from dryspin.capture.rebuilt import as_recording
from dryspin.drive import Drive
from dryspin.monitors import FAMILIES, Needs, claims_of, judge
from dryspin.recording import EDGE, GATES, STATE, Recording, Signal
from dryspin.waveforms import Window, save_csv, save_vcd

from .conftest import EXPORT_MAP, taken
from .conftest import GATES as GATE_NAMES

PINS_ONLY = [
    f"{family}.{claim.name}"
    for family in FAMILIES
    for claim in claims_of(family)
    if claim.needs == Needs.PINS
]


def test_there_are_claims_that_need_pins_only() -> None:
    """Else the round trip would show nothing."""
    assert PINS_ONLY == ["gates.both_fets", "gates.dead_time", "gates.high_on_time", "gates.reset_opens"]


def test_claims_that_need_pins_only_come_back_the_same(export: Reading, voyage: Recording) -> None:
    """Status, margin and moment, to the nanosecond of the file; the voyage has a reset while it drives."""
    before = {verdict.name: verdict for verdict in judge(voyage)}
    after = {verdict.claim: verdict for verdict in judge_capture(export)}

    assert before["gates.reset_opens"].status == "held"
    for name in PINS_ONLY:
        assert after[name].status == before[name].status, name
        assert after[name].margin == pytest.approx(before[name].margin, abs=3e-3), name
        assert after[name].estimate is False


def test_every_gate_edge_comes_back(export: Reading, voyage: Recording) -> None:
    """The monitors would not notice a lost edge that broke nothing."""
    back = as_recording(export)
    for signal in (*GATES, Signal.THROTTLE):
        cycles, values, _ = voyage.of(signal)
        # Of several edges in one cycle the last one stands, and a pulse of no length is none.
        last = np.append(cycles[1:] != cycles[:-1], True)
        cycles, values = cycles[last], values[last]
        new = np.append(True, values[1:] != values[:-1])
        seen_ns, seen, _ = back.of(signal)
        changed = np.append(True, seen[1:] != seen[:-1])
        assert np.round(seen_ns[changed] * 0.016).astype(int).tolist() == cycles[new].tolist()
        assert seen[changed].tolist() == values[new].tolist()


def test_steps_are_those_of_the_commands(export: Reading, voyage: Recording) -> None:
    """The gates show the patterns; alignment, tones and transients are no steps of a run."""
    order = next(v for v in judge_capture(export) if v.claim == "commutation.order")
    commanded = voyage.steps
    run = (commanded.cycles > 1.4 * 16e6) & (commanded.cycles < 1.64 * 16e6)
    seen = (export.steps.start_ns > 1.4e9) & (export.steps.start_ns < 1.64e9)

    assert order.status == "held"
    assert export.steps.step[seen].tolist() == commanded.step[run].tolist()


def test_the_throttle_is_measured(export: Reading) -> None:
    """1500 us, then 1800 us, as the scenario sends them."""
    figure = next(f for f in figures_of(export) if f.name == "throttle pulse")

    assert figure.least == pytest.approx(1500.0, abs=0.1)
    assert figure.most == pytest.approx(1800.0, abs=0.1)


def test_edges_of_the_comparator_are_counted_in_each_step(voyage: Recording, thruster: Drive) -> None:
    """As many as the recording has between two steps."""
    from dryspin.capture import read
    from dryspin.capture.from_recording import capture_of

    reading = read(capture_of(voyage, Path("a.npz")), thruster)
    figure = next(f for f in figures_of(reading) if f.name == "comparator edges in a step")
    first, last = np.round(reading.steps.start_ns[[-6, -5]] * 0.016).astype(np.int64)
    cycles, values, _ = voyage.of(Signal.COMPARATOR)
    within = (cycles > first) & (cycles <= last) & np.append(False, values[1:] != values[:-1])

    assert figure.least <= np.count_nonzero(within) <= figure.most
    assert figure.count > 500


def test_a_table_of_changes_comes_back_too(voyage: Recording, thruster: Drive, tmp_path: Path) -> None:
    """A CSV with a row for each change, and no even grid."""
    save_csv(voyage, tmp_path / "tug.csv", Window(1.5, 1.7))
    text = EXPORT_MAP.replace('begins = "power-on"', 'begins = "mid-run"')
    (tmp_path / "map.toml").write_text(text)
    reading = taken((tmp_path / "tug.csv", tmp_path / "map.toml"), thruster)
    verdicts = {verdict.claim: verdict for verdict in judge_capture(reading)}

    assert [verdicts[name].status for name in PINS_ONLY] == ["held"] * 4
    assert verdicts["gates.reset_opens"].moment_s is None


def shorted(voyage: Recording, gap_cycles: int) -> Recording:
    """The voyage with the low FET of U on `gap_cycles` after one of its high pulses (before, if negative)."""
    cycles, values, rows = voyage.of(Signal.GATE_U)
    falls = np.flatnonzero((values[:-1] == 1) & (values[1:] == 0) & (cycles[1:] > 1.6 * 16e6)) + 1
    k = next(k for k in falls if cycles[k + 1] - cycles[k] > 400)
    edges = voyage.edges.copy()
    at = int(cycles[k])
    extra = np.zeros(2, EDGE)
    extra["signal"] = int(Signal.GATE_U)
    extra["cycle"] = at + gap_cycles, at + 200
    extra["value"] = (2 if gap_cycles >= 0 else 3), 0
    if gap_cycles < 0:
        edges["value"][rows[k]] = 2
    edges = np.concatenate([edges, extra])
    order = np.argsort(edges["cycle"], kind="stable")
    # Without plant states the dump has pins only, and is written in a blink.
    return replace(voyage, edges=edges[order], states=np.zeros(0, STATE))


def planted(
    voyage: Recording, gap_cycles: int, folder: Path, drive: Drive, map_text: str
) -> dict[str, CaptureVerdict]:
    """Verdicts on the voyage with one short dead time, captured with a map."""
    save_vcd(shorted(voyage, gap_cycles), folder / "bad.vcd", Window(1.58, 1.64))
    (folder / "map.toml").write_text(map_text)
    return {v.claim: v for v in judge_capture(taken((folder / "bad.vcd", folder / "map.toml"), drive))}


def test_a_short_dead_time_is_broken(voyage: Recording, thruster: Drive, tmp_path: Path) -> None:
    """250 ns where the drive needs 500."""
    verdict = planted(voyage, 4, tmp_path, thruster, EXPORT_MAP)["gates.dead_time"]

    assert verdict.status == "broken"
    assert verdict.seen == pytest.approx(250.0, abs=2.0)


def test_an_overlap_is_broken(voyage: Recording, thruster: Drive, tmp_path: Path) -> None:
    """Both FETs of U on for 125 ns."""
    verdicts = planted(voyage, -2, tmp_path, thruster, EXPORT_MAP)

    assert verdicts["gates.both_fets"].status == "broken"
    assert "leg U" in verdicts["gates.both_fets"].text


@pytest.mark.parametrize(("gap_cycles", "seen_ns"), [(4, 250.0), (12, 750.0)])
def test_a_margin_within_sample_and_skew_cannot_be_told(
    voyage: Recording, thruster: Drive, tmp_path: Path, gap_cycles: int, seen_ns: float
) -> None:
    """At 250 ns a sample and 50 ns of skew, 250 ns from the limit is neither held nor broken."""
    coarse = EXPORT_MAP.replace("skew_ns = 0\nsample_ns = 1", "skew_ns = 50\nsample_ns = 250")
    verdict = planted(voyage, gap_cycles, tmp_path, thruster, coarse)["gates.dead_time"]

    assert verdict.status == "cannot tell"
    assert verdict.seen == pytest.approx(seen_ns, rel=5e-3)
    assert "the capture resolves 300 ns" in verdict.text


def test_an_overlap_shorter_than_a_sample_cannot_be_told(
    voyage: Recording, thruster: Drive, tmp_path: Path
) -> None:
    """It may be the skew of two channels."""
    coarse = EXPORT_MAP.replace("skew_ns = 0\nsample_ns = 1", "skew_ns = 50\nsample_ns = 125")

    assert planted(voyage, -2, tmp_path, thruster, coarse)["gates.both_fets"].status == "cannot tell"


def test_with_a_part_of_the_gates_nothing_is_called_held(
    voyage: Recording, thruster: Drive, tmp_path: Path
) -> None:
    """Leg W unseen: an objection counts, its absence does not."""
    lines = EXPORT_MAP.split("\n[[channel]]")
    part = "\n[[channel]]".join(line for line in lines if "gate_w" not in line)
    good = planted(voyage, 40, tmp_path, thruster, part)
    bad = planted(voyage, 4, tmp_path, thruster, part)

    assert good["gates.dead_time"].status == "not seen"
    assert "gate W high, gate W low" in good["gates.dead_time"].text
    assert bad["gates.dead_time"].status == "broken"
    assert len(GATE_NAMES) == 6


def test_inverting_shifters_and_their_delay_are_taken_back(
    voyage: Recording, thruster: Drive, tmp_path: Path
) -> None:
    """Gates probed before an inverting driver that is 200 ns late at its low inputs only: mapped without
    the delay the dead time of 250 ns would look like 50; with it, as it is."""
    from dryspin.recording.signals import LOW_FET

    bad = shorted(voyage, 4)
    edges = bad.edges.copy()
    for signal in GATES:
        mine = edges["signal"] == int(signal)
        edges["value"][mine] ^= LOW_FET  # the low inputs are inverted
    save_vcd(replace(bad, edges=edges), tmp_path / "inv.vcd", Window(1.58, 1.64))
    text = EXPORT_MAP
    for leg in "UVW":
        old = f'signal = "gate {leg} low"\n'
        text = text.replace(old, old + 'active = "low"\ndelay_ns = 200\n')
    (tmp_path / "map.toml").write_text(text)
    verdicts = {
        v.claim: v for v in judge_capture(taken((tmp_path / "inv.vcd", tmp_path / "map.toml"), thruster))
    }

    assert verdicts["gates.both_fets"].status == "held"
    assert verdicts["gates.dead_time"].seen == pytest.approx(450.0, abs=2.0)
