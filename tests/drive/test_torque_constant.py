"""kv and kt of one motor, held against published data sheets.

Rows: A1-A3 a 13 mm, 6 W brushless sheet (scribd 30713692); C a 43 mm flat 30 W motor (scribd
629363718, kn from memory); D a public parameter file of a 40 mm 120 W motor.
"""

import warnings

import pytest

from dryspin.drive import load_drive
from dryspin.errors import DriveError, DriveWarning
from dryspin.units import kt_from_kv, kv_from_kt, rad_s_from_rpm, rpm_from_rad_s

from .sheet import ABSENT, write_sheet

SHEETS = {
    "A1": (4950, 1.93e-3),
    "A2": (3480, 2.74e-3),
    "A3": (2360, 4.05e-3),
    "C": (374, 25.5e-3),
    "D, digits put right": (213, 44.8e-3),
}


def both(kv: float, kt: float) -> dict[str, object]:
    """Both constants as a motor's keys, kv in rpm/V and kt in Nm/A."""
    return {"kv_rpm_per_v": kv, "kv_from": "data sheet", "kt_nm_per_a": kt, "kt_from": "data sheet"}


@pytest.mark.parametrize("row", SHEETS)
def test_consistent_data_sheets_are_taken_without_a_word(row, tmp_path):
    """kt kv = 30000/pi mNm/A rpm/V in any consistent table; these are within 0.15 %."""
    kv, kt = SHEETS[row]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        drive = load_drive(write_sheet(tmp_path, motor=both(kv, kt)))

    assert drive.motor.kv_rpm_per_v.nominal == kv
    assert kt_from_kv(kv) == pytest.approx(kt, rel=0.005)


def test_copy_error_of_a_public_table_is_refused(tmp_path):
    """Row D as copied has kn 231 for 213 (digits swapped): 8.4 % apart."""
    path = write_sheet(tmp_path, motor=both(231, 44.8e-3))
    with pytest.raises(DriveError) as refusal:
        load_drive(path)

    assert str(refusal.value) == (
        f"{path}:7: [motor] kt_nm_per_a = 0.0448 Nm/A and kv_rpm_per_v = 231 rpm/V are +8.4% apart "
        "(kt kv = 60 / 2 pi): this kt belongs to kv 213.2, this kv to kt 0.04134. "
        "More than 4% is a slip: correct one, or give only one."
    )


def test_exercise_that_does_not_close_its_energy_is_refused(tmp_path):
    """Kt 0.12 Nm/A with Ke 12 V/krpm, 4.7 % apart (transtutors q. 13716611, as published)."""
    with pytest.raises(DriveError, match=r"\+4\.7% apart"):
        load_drive(write_sheet(tmp_path, motor=both(1000 / 12, 0.12)))


@pytest.mark.parametrize("apart", [-0.039, -0.011, 0.011, 0.039])
def test_one_to_four_percent_apart_warns_and_uses_kv(apart, tmp_path):
    """Measuring can explain this much, but only one of the two can be right."""
    path = write_sheet(tmp_path, motor=both(1000, kt_from_kv(1000) * (1 + apart)))
    with pytest.warns(DriveWarning, match="kv is used; give only the one you trust more") as caught:
        drive = load_drive(path)

    assert drive.motor.kv_rpm_per_v.nominal == 1000
    assert f"{path}:" in str(caught[0].message)


@pytest.mark.parametrize("apart", [-0.041, 0.041])
def test_just_over_four_percent_is_refused_either_way(apart, tmp_path):
    """The limit holds for a kt too small as for one too large."""
    with pytest.raises(DriveError, match=r"More than 4% is a slip"):
        load_drive(write_sheet(tmp_path, motor=both(1000, kt_from_kv(1000) * (1 + apart))))


@pytest.mark.parametrize("apart", [-0.009, 0.009])
def test_under_one_percent_is_rounding(apart, tmp_path):
    """Data sheets give three digits."""
    assert load_drive(write_sheet(tmp_path, motor=both(1000, kt_from_kv(1000) * (1 + apart))))


def test_kt_alone_gives_kv_with_its_range_turned_over(tmp_path):
    """The strongest magnet gives the largest kt and the smallest kv."""
    kt = {"low": 0.009, "nominal": 0.01, "high": 0.011}
    changes = {"kv_rpm_per_v": ABSENT, "kv_from": ABSENT, "kt_nm_per_a": kt, "kt_from": "torque arm"}
    motor = load_drive(write_sheet(tmp_path, motor=changes)).motor

    assert motor.kv_rpm_per_v.low == pytest.approx(9.5493 / 0.011, rel=1e-5)
    assert motor.kv_rpm_per_v.nominal == pytest.approx(954.93, rel=1e-5)
    assert motor.kv_rpm_per_v.high == pytest.approx(9.5493 / 0.009, rel=1e-5)
    assert motor.kt_nm_per_a == pytest.approx(0.01)
    assert motor.kv_from == "kt, torque arm"


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (
            {"kv_rpm_per_v": ABSENT, "kv_from": ABSENT},
            "kv_rpm_per_v is missing. Give kv_rpm_per_v with kv_from, or kt_nm_per_a with kt_from.",
        ),
        (
            {"kv_from": ABSENT},
            'kv_from is missing beside kv_rpm_per_v. Say how it was obtained, such as "data sheet".',
        ),
        (
            {"kt_nm_per_a": 0.00955},
            'kt_from is missing beside kt_nm_per_a. Say how it was obtained, such as "data sheet".',
        ),
        ({"kt_from": "guess"}, "kt_from is given without kt_nm_per_a. Give kt_nm_per_a, or remove kt_from."),
    ],
)
def test_number_and_origin_come_together(changes, message, tmp_path):
    """A constant of unknown origin cannot be weighed against another."""
    with pytest.raises(DriveError) as refusal:
        load_drive(write_sheet(tmp_path, motor=changes))

    assert str(refusal.value).endswith(f": [motor] {message}")


def test_speed_conversions_undo_each_other():
    """60 rpm is one turn, 2 pi rad, a second."""
    assert rad_s_from_rpm(60.0) == pytest.approx(6.283185307179586, rel=1e-15)
    assert rpm_from_rad_s(rad_s_from_rpm(1234.5)) == pytest.approx(1234.5, rel=1e-15)
    assert kv_from_kt(kt_from_kv(231.0)) == pytest.approx(231.0, rel=1e-15)
