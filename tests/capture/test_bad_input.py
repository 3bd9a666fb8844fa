"""Captures and maps as they should not be: a message that helps and exit code 2, or the right answer."""

import re
from pathlib import Path

import numpy as np
import pytest

from dryspin.cli.command import exit_code

from ..search.subject import BOW_THRUSTER
from .conftest import EXPORT_MAP, SCOPE_MAP

DRIVE = BOW_THRUSTER / "drive.toml"

VCD = """\
$date today $end
$timescale 10 ns $end
$scope module board $end
$var wire 1 ! gate_u_high $end
$var wire 1 " gate_u_low $end
$var wire 4 # group $end
$var real 64 % volts $end
$upscope $end
$enddefinitions $end
#0
$dumpvars
x!
0"
b0000 #
r0 %
$end
#100
1!
#200
0!
#300
1"
b0010 #
#400
0"
"""

VCD_MAP = """\
dryspin_map = 1
[capture]
skew_ns = 5
[[channel]]
channel = "gate_u_high"
signal = "gate U high"
[[channel]]
channel = "board.gate_u_low"
signal = "gate U low"
"""

CSV_MAP = """\
dryspin_map = 1
[capture]
skew_ns = 5
[[channel]]
channel = "D0"
signal = "gate U high"
[[channel]]
channel = "D1"
signal = "gate U low"
"""

CSV = "Time,D0,D1\n0,0,0\n1e-6,1,0\n2e-6,0,0\n3e-6,0,1\n4e-6,0,0\n"


@pytest.fixture
def judged(tmp_path, capsys):
    """Runs `judge` on the texts of a capture and a map; returns (exit code, what it said)."""

    def run(capture: str | bytes, map_text: str, name: str = "a.csv", *more: str) -> tuple[int, str]:
        path = tmp_path / name
        path.write_bytes(capture if isinstance(capture, bytes) else capture.encode())
        (tmp_path / "map.toml").write_text(map_text)
        arguments = ["judge", str(path), "--map", str(tmp_path / "map.toml"), "--drive", str(DRIVE), *more]
        code = exit_code(arguments)
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        assert "defect" not in err
        return code, err if code == 2 and err else out

    return run


def test_a_part_of_the_gates_tells_nothing_and_says_so(judged):
    """Read without complaint, but nothing is held: exit code 2 and what to probe."""
    code, text = judged(VCD, VCD_MAP, "a.vcd")

    assert code == 2
    assert re.search(r"^0 of \d+ declared claims judged, 0 broken", text, re.MULTILINE)
    assert "nothing was judged: probe all six gates, or two terminals" in text
    assert judged(CSV, CSV_MAP)[0] == 2


@pytest.mark.parametrize(
    ("before", "after", "message"),
    [
        (
            "$enddefinitions $end\n",
            "",
            "a.vcd: has no $enddefinitions, so it is no value change dump or is cut",
        ),
        ("$timescale 10 ns $end\n", "", "a.vcd: has no $timescale"),
        ("10 ns", "10 fortnights", "a.vcd:2: not a value change dump"),
        ("gate_u_low $end", "gate_u_high $end", 'a.vcd:5: two variables are called "board.gate_u_high"'),
        ("gate_u_low $end", "other $end", 'has no variable "board.gate_u_low". It has "board.gate_u_high"'),
        ("#300", "#30", 'a.vcd:21: "#30" goes back in time, from #200'),
        ("#300", "#3e2", 'a.vcd:21: "#3e2" is no time'),
        ('1"\n', "1\n", 'a.vcd:22: "1" is a level without a variable'),
        ('1"\n', 'x"\n', 'makes "board.gate_u_low" unknown in the middle'),
        ('1"\n', "?\n", 'a.vcd:22: "?" is neither a time nor a change'),
        ('#400\n0"\n', "#400\n0", 'a.vcd: ends with "0" and no end of line, so it may be cut off'),
        ('#400\n0"\n', "#400\nb01\n", "ends in the middle of a change"),
        ("#400\n0", "$scope module x $end\n0", 'a.vcd:24: "$scope" is not expected among the changes'),
    ],
)
def test_a_damaged_dump_is_refused(judged, before, after, message):
    """With the line, where one is to blame."""
    assert before in VCD
    code, text = judged(VCD.replace(before, after, 1), VCD_MAP, "a.vcd")

    assert code == 2
    assert message in text


def test_a_time_scale_beyond_reason_is_refused(judged):
    """A hundred times a second instead of ten nanoseconds."""
    code, text = judged(VCD.replace("10 ns", "100 s"), VCD_MAP, "a.vcd")

    assert code == 2
    assert "lasts 4e+04 s by its time scale; 600 s are the most. Is its $timescale right?" in text


def test_a_dump_that_is_cut_anywhere_is_refused_or_read_as_far_as_it_goes(judged):
    """Every length of the file: an answer or a message, never a traceback."""
    codes = {judged(VCD[:length], VCD_MAP, "a.vcd")[0] for length in range(0, len(VCD), 7)}

    assert codes == {2}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "a.csv: is empty"),
        ("Time,D0,D1\n", "a.csv: none of the first 1 lines holds nothing but numbers"),
        ("Time,D0,D1\n0,0,0\n", "a.csv: holds 1 rows of numbers; a capture needs at least two"),
        (CSV.replace("3e-6,0,1\n4e-6,0,0\n", "3e-6,0"), "a.csv:5: has fewer columns than the lines above"),
        (CSV.replace("3e-6,0,1", "3e-6,0,on"), 'a.csv:5: holds "on" where a number should stand'),
        (CSV.replace("3e-6,0,1", "3e-6,0,nan"), "a.csv:5: holds a value that is no finite number"),
        (CSV.replace("3e-6,0,1", "0.5e-6,0,1"), "a.csv:5: time goes back from 2e-06 s to 5e-07 s"),
        (
            CSV.replace("3e-6,0,1", "2e-6,0,1").replace("4e-6", "9e-6"),
            "a.csv:5: the same time as the line above",
        ),
        ("Time,D0,D1\n1,0,0\n1,1,0\n1,0,0\n", "time stands still"),
        (CSV.replace("D1", "D0"), 'a.csv calls columns 2 and 3 "D0". Give the number of the one meant'),
        (CSV.replace("D1", "E1"), 'a.csv has no column "D1". It has "Time", "D0", "E1"'),
        (CSV.split("\n", 1)[1], "a.csv has no line of names above its 3 columns. Give the number"),
        (CSV.replace("e-6", "e3"), "lasts 4000 s, 600 s are the most. Is time_unit in"),
        (b"\x89PNG\r\n\0\0\0", "a.csv:2: is no text of columns; was another file given?"),
    ],
)
def test_a_damaged_table_is_refused(judged, text, message):
    """With the line of the file, from 1 on."""
    code, said = judged(text, CSV_MAP)

    assert code == 2
    assert message in said


@pytest.mark.parametrize(
    ("before", "after", "message"),
    [
        ("dryspin_map = 1", "", 'dryspin_map is missing. Begin the file with "dryspin_map = 1"'),
        ("dryspin_map = 1", "dryspin_map = 2", "dryspin_map = 2. Begin the file with"),
        ("skew_ns = 5", "", "skew_ns is missing. Give by how much two channels may disagree"),
        ("skew_ns = 5", "skew_us = 5", "the unit is in the key's name; write skew_ns, in ns"),
        ("skew_ns = 5", "skew_ns = -1", "skew_ns = -1 ns: must be at least 0 ns"),
        (
            '"gate U low"',
            '"gate U high"',
            'map.toml:9: [channel] signal = "gate U high" is mapped already at',
        ),
        ('"gate U low"', '"gate X low"', "Did you mean 'gate W low'?"),
        ('"D1"', '"D0"', 'channel = "D0" is mapped already at'),
        ('"D1"', "9", "column 9 of"),
        ('"D1"', "0", "channel = 0: is not a column; the first is 1"),
        ('"D1"', "1", "column 1 is time and also gate U low"),
        ('"D1"', "true", "channel = true: is neither a name in quotes nor a number"),
        ('signal = "gate U low"', 'signal = "gate U low"\nactive = "either"', "is for reset only"),
        ("skew_ns = 5", 'skew_ns = 5\ntime_from = "row number"', "needs sample_ns"),
        ("skew_ns = 5", 'skew_ns = 5\ntime_unit = "h"', 'time_unit = "h": is not known'),
        ("[capture]", "[kapture]", '"kapture" is not known. A map has [capture] and [[channel]].'),
    ],
)
def test_a_wrong_map_is_refused(judged, before, after, message):
    """With its own file and line."""
    assert before in CSV_MAP
    code, said = judged(CSV, CSV_MAP.replace(before, after))

    assert code == 2
    assert message in said
    assert "map.toml" in said


def test_a_map_without_channels_is_refused(judged):
    """There is nothing to do."""
    assert "no channel is mapped" in judged(CSV, CSV_MAP.split("[[channel]]")[0])[1]


@pytest.mark.parametrize("missing", ["capture", "map", "drive"])
def test_files_that_are_not_there_are_named(tmp_path, capsys, missing):
    """A typing slip."""
    (tmp_path / "a.csv").write_text(CSV)
    (tmp_path / "m.toml").write_text(CSV_MAP)
    files = {"capture": tmp_path / "a.csv", "map": tmp_path / "m.toml", "drive": DRIVE}
    files[missing] = tmp_path / "nowhere.csv"
    code = exit_code(
        ["judge", str(files["capture"]), "--map", str(files["map"]), "--drive", str(files["drive"])]
    )

    assert code == 2
    assert "nowhere.csv: no such file" in capsys.readouterr().err


def test_names_with_markup_and_control_characters_are_shown_harmlessly(judged):
    """A name from a file must not colour, move or hide what a terminal shows."""
    odd = "[red]D0[/red]\x1b[2J<b>"
    said = judged(CSV.replace("D0", odd), CSV_MAP)[1]
    mapped = CSV_MAP.replace('"D0"', '"[red]D0[/red]\\u001b[2J<b>"')
    text = judged(CSV.replace("D0", odd), mapped)[1]

    assert "\x1b" not in said + text
    assert '"[red]D0[/red]\\x1b[2J<b>"' in said
    assert '"[red]D0[/red]\\x1b[2J<b>" is gate U high' in text


def test_names_with_markup_in_a_dump_are_shown_harmlessly(judged):
    """As in a table; control characters are none of IEEE 1364's in a name, and are refused unshown."""
    said = judged(VCD.replace("gate_u_low", "<script>$x"), VCD_MAP, "a.vcd")[1]
    code, refused = judged(VCD.replace("gate_u_low", "low\x1bc"), VCD_MAP, "a.vcd")

    assert '"board.<script>$x"' in said
    assert code == 2
    assert "a.vcd:5: not a value change dump" in refused
    assert "\x1b" not in refused


def test_a_table_without_names_is_mapped_by_numbers(judged):
    """Columns from 1 on."""
    mapped = CSV_MAP.replace('"D0"', "2").replace('"D1"', "3")

    assert "2 is gate U high" in judged(CSV.split("\n", 1)[1], mapped)[1]


def test_instruments_may_write_a_preamble_other_separators_and_decimal_commas(judged):
    """As the European kind does; units under the names, and a separator at the end of each line."""
    body = "Source;CH1;\nModel;x;y;z\nVertical units;V;V;\nTime;D0;D1;\ns;V;V;\n" + "".join(
        f"{t:.6f};{a};{b};\n".replace(".", ",") for t, a, b in [(0, 0.1, 0.1), (1e-6, 4.9, 0), (2e-6, 0, 5.0)]
    )
    code, text = judged(body, CSV_MAP)

    assert code == 2
    assert "2e-06 s, a sample every 1 000 ns" in text


def test_times_printed_with_few_digits_are_put_on_their_grid(judged):
    """1 us a sample from 1 s on, printed to 2 us: the times repeat, the grid is meant."""
    rows = [(round((1.0 + k * 1e-6) / 2e-6) * 2e-6, k % 2, 0) for k in range(1000)]
    text = judged("Time,D0,D1\n" + "".join(f"{t:.6f},{a},{b}\n" for t, a, b in rows), CSV_MAP)[1]

    period_ns = float(re.search(r"a sample every ([0-9 .]+) ns", text)[1].replace(" ", ""))
    assert period_ns == pytest.approx(1000.0, rel=2e-3)


def test_uneven_samples_of_a_voltage_are_put_on_an_even_grid(scope_files, tmp_path, judged):
    """Every tenth sample missing: the steps are still all there, in order."""
    rows = scope_files[0].read_text().splitlines(keepends=True)
    kept = "".join(rows[:2] + [row for k, row in enumerate(rows[100_002:180_002]) if k % 10])
    code, text = judged(kept, SCOPE_MAP)

    assert code == 0
    assert re.search(r"a sample every 1 ?000 ns", text)
    assert "held  commutation.order" in text


def test_rows_may_be_the_time(judged):
    """A logic analyser that writes levels only."""
    mapped = CSV_MAP.replace("skew_ns = 5", 'skew_ns = 5\nsample_ns = 40\ntime_from = "row number"')

    assert "a sample every 40 ns, edges of two channels to 45 ns" in judged(CSV, mapped)[1]


def test_a_bit_of_a_group_is_a_channel(judged):
    """Analysers group their probes."""
    grouped = VCD_MAP.replace('channel = "board.gate_u_low"', 'channel = "group"\nbit = 1')
    whole = VCD_MAP.replace('"board.gate_u_low"', '"group"')

    assert '"group" is gate U low' in judged(VCD, grouped, "a.vcd")[1]
    assert '"board.group" has 4 bits. Say which with bit = 0 or above' in judged(VCD, whole, "a.vcd")[1]
    assert (
        '"board.group" has no bit 4; it has 4'
        in judged(VCD, grouped.replace("bit = 1", "bit = 4"), "a.vcd")[1]
    )


def test_a_wrong_unit_of_time_is_noticed_by_the_chopping(scope_files, judged):
    """Milliseconds taken for seconds: a chop frequency of 31 Hz is no other drive, it is a slip."""
    rows = scope_files[0].read_text().splitlines(keepends=True)[:5002]
    for_seconds = "".join(rows)
    code, text = judged(for_seconds, SCOPE_MAP.replace("skew_ns = 20", 'skew_ns = 20\ntime_unit = "ns"'))

    assert code == 2
    assert "chops at 31373 Hz. Is the unit of time right" in text


def test_a_capture_that_begins_in_the_middle_of_a_pulse_is_read_from_there(judged):
    """The first level is no edge; whoever began it was not seen."""
    text = judged(CSV.replace("0,0,0\n", "0,1,0\n", 1), CSV_MAP, "a.csv", "--json")[1]

    assert '"begins": "mid-run"' in text
    assert '"from FET to FET, leg U"' in text


def test_a_fet_that_is_on_throughout_is_not_called_held(tmp_path, judged):
    """5 ms of a high FET is below its limit of 10 ms, but nobody saw it begin or end."""
    t_s = np.arange(5000) * 1e-6
    names = ["gate_u_high", "gate_u_low", "gate_v_high", "gate_v_low", "gate_w_high", "gate_w_low"]
    table = np.zeros((len(t_s), 7))
    table[:, 0] = t_s
    table[:, 1] = 1.0
    body = (
        ",".join(["Time", *names]) + "\n" + "".join(",".join(f"{x:.6g}" for x in row) + "\n" for row in table)
    )
    mapped = EXPORT_MAP.replace('begins = "power-on"', "").replace("sample_ns = 1\n", "")
    mapped = "\n[[channel]]".join(
        part for part in mapped.split("\n[[channel]]") if "throttle" not in part and "restart" not in part
    )
    text = judged(body, mapped)[1]

    assert "cannot tell  gates.high_on_time" in text
    assert "gate U high is on at the border of the capture; nobody sees for how long" in text


def test_glitches_are_left_out_and_counted(judged):
    """Two disturbances of one sample on a line that stands for three."""
    levels = [0, 0, 0, 1, 0, 0, 1, 1, 1, 0, 1, 1, 1, 0, 0, 0]
    body = "Time,D0,D1\n" + "".join(f"{k * 1e-7:.1e},{level},0\n" for k, level in enumerate(levels))
    text = judged(body, CSV_MAP.replace("skew_ns = 5", "skew_ns = 5\nglitch_ns = 150"))[1]

    assert "2 levels of gate U high shorter than 150 ns are left out" in text


def test_half_a_file_is_never_left_behind(tmp_path, capsys):
    """`judge` writes nothing at all."""
    folder = tmp_path / "work"
    folder.mkdir()
    Path(folder / "a.csv").write_text(CSV)
    (folder / "m.toml").write_text(CSV_MAP)
    exit_code(["judge", str(folder / "a.csv"), "--map", str(folder / "m.toml"), "--drive", str(DRIVE)])

    assert sorted(path.name for path in folder.iterdir()) == ["a.csv", "m.toml"]
