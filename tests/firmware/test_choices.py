"""The choices of settings.h, each made by a define of the drive file and tried on the rig."""

import math
from pathlib import Path

import numpy as np
import pytest

from dryspin.build import build_image
from dryspin.call import CallableFirmware, load_firmware
from dryspin.drive import load_drive
from dryspin.recording import Mark, Recording, Signal
from dryspin.recording.signals import LEGS
from dryspin.rig import Rig

from .conftest import THRUSTER
from .rite import first_s, said, settled_counts, story, tone_notes

READY, WAITING, PACK_LOW, GREETING = 32, 33, 39, 40


def folder(tmp_path: Path, **choices: int) -> Path:
    """The bow thruster with these choices."""
    defines = ", ".join(f"{name} = {value}" for name, value in choices.items())
    text = f'[firmware]\nbase = "{THRUSTER}"\ndefines = {{ {defines} }}\n'
    (tmp_path / "drive.toml").write_text(text, encoding="utf-8")
    return tmp_path


def chosen(tmp_path: Path, **choices: int) -> Rig:
    """The same on the rig."""
    where = folder(tmp_path, **choices)
    drive = load_drive(where)
    return Rig(build_image(drive, where), drive)


# ---- one way only ---------------------------------------------------------------------------


def test_forwards_only_the_low_end_is_neutral_and_the_whole_way_counts(tmp_path: Path) -> None:
    """Armed with the stick down; the middle, neutral else, gives the duty of half the way, up gives all."""
    rig = chosen(tmp_path, BOTH_WAYS=0)
    middle, up = (
        settled_counts(rig.run(story(1.6, ((0.0, 1100.0), (0.4, stick))))) for stick in (1500.0, 1900.0)
    )

    # a straight line from 62 counts at 40 us to 255 at 800 us
    assert middle == pytest.approx(62 + 193 * (400 - 40) / (800 - 40), abs=1.5)
    assert up == 255


def test_forwards_only_no_stick_ever_drives_it_backwards(tmp_path: Path) -> None:
    """Not the low end, and not what lies beyond it; a stick in the middle does not arm."""
    rig = chosen(tmp_path, BOTH_WAYS=0)
    run = rig.run(story(2.4, ((0.0, 1100.0), (0.4, 1900.0), (1.4, 1100.0), (1.8, 900.0))))
    middle = rig.run(story(1.2, ((0.0, 1500.0),)))

    turning = run.states_between(first_s(run, Mark.RUN), run.scenario.end_s)
    assert float(np.min(run.states["w_rad_s"][turning])) > -1.0
    assert Mark.ARMED not in said(middle)


# ---- the moment of the step -----------------------------------------------------------------


def step_deg(run: Recording, from_s: float, to_s: float) -> float:
    """Mean electrical angle of the true rotor at the steps, from the middle of -30 to 30 degrees."""
    cycles = np.unique(np.concatenate([run.of(leg)[0] for leg in LEGS]))
    t_s = cycles / run.f_cpu_hz
    t_s = t_s[(t_s > from_s) & (t_s < to_s)]
    deg = np.degrees(np.interp(t_s, run.states["t_s"], run.states["theta_rad"]))
    return float(np.mean((deg - 30.0 + 30.0) % 60.0 - 30.0))


FULL = ((0.0, 1500.0), (0.4, 1900.0))


def test_advance_brings_the_steps_earlier_by_as_many_degrees(tmp_path: Path, pack: Rig) -> None:
    """At full duty, where no carrier dates the crossings; two degrees for the latency of either."""
    plain = pack.run(story(2.0, FULL))
    early = chosen(tmp_path, ADVANCE_DEG=12).run(story(2.0, FULL))

    assert Mark.COAST not in said(early) - said(plain)
    assert step_deg(early, 1.8, 2.0) - step_deg(plain, 1.8, 2.0) == pytest.approx(-12.0, abs=2.0)


def late_deg(firmware: CallableFirmware, change_ticks: float) -> float:
    """How late a step comes on a rotor whose intervals change by so much from step to step."""
    crossings, t, interval = [], 1000.0, 600.0
    for _ in range(30):
        crossings.append(round(t))
        t += interval
        interval += change_ticks
    firmware.call.timing_begin(600)
    for at in crossings[:-1]:
        wait = firmware.call.timing_crossing(at)
    latency_ticks = 22
    ideal = crossings[-2] + (crossings[-1] - crossings[-2]) * (0.5 - change_ticks / 8.0 / interval)
    return (crossings[-2] + wait + latency_ticks - ideal) / interval * 60.0


def test_a_delay_that_follows_the_acceleration_is_not_late_under_it(tmp_path: Path) -> None:
    """A rotor that gains 1.4 % a step: by hand the mean of two gaps is late by 7/8 of that, 0.7 degrees."""
    plain = load_firmware(THRUSTER)
    late = late_deg(plain, -6.0), late_deg(plain, 0.0)
    follows = load_firmware(folder(tmp_path, FOLLOWS_ACCELERATION=1))

    # whole ticks, of which one is 0.14 degrees here
    assert late[0] == pytest.approx(7.0 / 8.0 * 6.0 / 432.0 * 60.0, abs=0.2)
    assert abs(late[1]) < 0.1
    assert abs(late_deg(follows, -6.0)) < 0.5 * late[0]
    assert abs(late_deg(follows, 0.0)) < 0.1


def test_following_the_acceleration_it_still_runs_and_reverses(tmp_path: Path) -> None:
    """Jitter of the crossings enters once more; the steps stay within the 20 degrees of the claim."""
    run = chosen(tmp_path, FOLLOWS_ACCELERATION=1).run(story(3.0, (*FULL, (1.6, 1100.0))))

    assert Mark.GIVEN_UP not in said(run)
    assert settled_counts(run) == -255
    assert abs(step_deg(run, 1.3, 1.6)) < 5.0


# ---- the pack -------------------------------------------------------------------------------


def pack_run(rig: Rig, v_v: float) -> Recording:
    """Armed for six seconds at rest, then full stick."""
    stick = ((0.0, 1500.0), (5.5, 1900.0))
    return rig.run(story(7.0, stick, supply_v=((0.0, v_v),)))


def test_a_low_pack_is_said_and_drives_with_half_of_the_duty(tmp_path: Path) -> None:
    """3.4 V a cell at rest; at 3.7 V nothing of it."""
    rig = chosen(tmp_path, PACK_CELLS=3)
    low, good = pack_run(rig, 10.2), pack_run(rig, 11.1)

    assert PACK_LOW in said(low)
    assert settled_counts(low) == 128
    assert PACK_LOW not in said(good)
    assert WAITING in said(good)
    assert settled_counts(good) == 255


def test_an_empty_pack_starts_nothing(tmp_path: Path) -> None:
    """3.1 V a cell at rest: what is left would be gone in seconds, and the cells with it."""
    run = pack_run(chosen(tmp_path, PACK_CELLS=3), 9.3)

    assert PACK_LOW in said(run)
    assert said(run) & {Mark.ALIGN, Mark.RUN} == set()


def test_conversions_never_blind_a_comparator_that_is_listened_to(tmp_path: Path) -> None:
    """The converter is off whenever a phase is selected, as listening does before every look, or driven."""
    run = pack_run(chosen(tmp_path, PACK_CELLS=3), 11.1)
    cycles, on, _ = run.of(Signal.CONVERTER)
    begins, ends = cycles[on == 1], cycles[1:][on[1:] == 0]
    selects = run.of(Signal.SENSE_LEG)[0]
    driven = np.concatenate([run.of(leg)[0] for leg in LEGS])

    assert len(begins) >= 4
    assert len(ends) == len(begins)
    for begin, end in zip(begins, ends, strict=True):
        assert not np.any((selects > begin) & (selects < end))
        assert not np.any((driven > begin) & (driven < end))


# ---- the greeting ---------------------------------------------------------------------------


def test_the_greeting_is_its_four_notes(tmp_path: Path) -> None:
    """D6 G6 E6 C6 of equal temperament on 440 Hz (ISO 16): 440 2^(n / 12), n = 17, 22, 19, 15."""
    run = chosen(tmp_path, GREETING=1).run(story(1.2, ((0.0, 0.0),)))
    played = tone_notes(run, GREETING)
    wanted = [(440.0 * 2.0 ** (n / 12.0), ms) for n, ms in ((17, 120), (22, 120), (19, 120), (15, 240))]

    assert first_s(run, GREETING) < 0.1
    assert len(played) == 4
    for (hz, length_s), (wanted_hz, ms) in zip(played, wanted, strict=True):
        assert abs(1200.0 * math.log2(hz / wanted_hz)) < 5.0
        assert length_s == pytest.approx(ms / 1000.0, abs=0.005)


# ---- the part's clock -----------------------------------------------------------------------


def test_at_8_mhz_time_is_kept_and_a_motor_of_half_the_speed_per_volt_runs() -> None:
    """The same rite and notes in true time, a start both ways: half the ticks, half the carrier."""
    drive = load_drive(THRUSTER / "drives" / "rc_clock.toml")
    run = Rig(build_image(drive, THRUSTER), drive).run(
        story(3.4, ((0.0, 1500.0), (1.0, 1900.0), (2.0, 1100.0)))
    )

    # 25 pulses 10 ms apart, and the start-up time of the part
    assert first_s(run, Mark.ARMED) == pytest.approx(0.315, abs=0.01)
    (c6, _), (e6, _) = tone_notes(run, READY)
    assert 1200.0 * abs(math.log2(c6 / 1046.50)) < 2.0
    assert 1200.0 * abs(math.log2(e6 / 1318.51)) < 2.0
    ahead, astern = run.w_at(np.array([1.99, 3.39])) * 30.0 / math.pi
    # 500 rpm/V: some 4 500 rpm with its propeller, half of the pack drive's
    assert 3500.0 < ahead < 5500.0
    assert -5500.0 < astern < -3500.0
