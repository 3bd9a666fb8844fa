"""Functions of the bow thruster one by one, against tables and arithmetic from elsewhere."""

import binascii

import pytest

from dryspin.call import CallableFirmware, load_firmware

from ..small_firmware import BOW_THRUSTER

FORWARD, REVERSE = 1, 2
U, V, W = 0, 1, 2
OPEN, LOW, CHOPPED = 0, 1, 3
FALLING, RISING = 0, 1

SIX_STATES = (
    # driven high, driven low, open, how the open phase's EMF crosses when turning forward
    (U, V, W, FALLING),
    (U, W, V, RISING),
    (V, W, U, FALLING),
    (V, U, W, RISING),
    (W, U, V, FALLING),
    (W, V, U, RISING),
)
"""Six-step commutation, A+B-, A+C-, B+C-, B+A-, C+A-, C+B-, crossings alternating falling and rising.

The floating phase of each state: run-mode table of a vendor's data sheet (onlinedocs.microchip.com,
GUID-75463A18, section 13.21.1.6).
"""


@pytest.fixture(scope="module")
def loaded() -> CallableFirmware:
    """Built once."""
    return load_firmware(BOW_THRUSTER)


@pytest.fixture
def firmware(loaded) -> CallableFirmware:
    """As after power-on."""
    loaded.reset()
    return loaded


@pytest.mark.parametrize("step", range(6))
def test_each_step_drives_and_senses_as_the_six_state_table_says(firmware, step):
    """Turning forward; backwards the EMF crosses the other way in every step."""
    high, low, idle, edge = SIX_STATES[step]
    legs = firmware.call.steps_pattern(step)[0:3]

    assert (legs[high], legs[low], legs[idle]) == (CHOPPED, LOW, OPEN)
    assert firmware.call.steps_open_leg(step) == idle
    assert firmware.call.steps_edge(step, FORWARD) == edge
    assert firmware.call.steps_edge(step, REVERSE) == 1 - edge
    assert firmware.call.steps_next(step, FORWARD) == (step + 1) % 6
    assert firmware.call.steps_next(step, REVERSE) == (step - 1) % 6


STICK = {"low_ticks": 2200, "neutral_ticks": 3000, "high_ticks": 3800}
"""1100, 1500 and 1900 us in ticks of 0.5 us."""


def duties(firmware, widths_ticks):
    """(direction, duty) for each pulse, the demand before being neutral."""
    asked = [firmware.call.throttle_map(width, {"direction": 0, "duty": 0}) for width in widths_ticks]
    return [(demand.direction, demand.duty) for demand in asked]


def test_throttle_scaling_rises_from_neutral_to_full_either_way_alike(firmware):
    """255 counts are all of the carrier period (drive_port.h), wanted at the ends of the stick."""
    firmware.call.throttle_range(STICK)
    forward = duties(firmware, range(3000, 3801))
    reverse = duties(firmware, range(3000, 2199, -1))

    assert forward[0] == (0, 0)
    assert forward[-1] == (FORWARD, 255)
    assert [duty for _, duty in reverse] == [duty for _, duty in forward]
    assert {way for way, duty in reverse if duty} == {REVERSE}
    counts = [duty for _, duty in forward]
    assert counts == sorted(counts)


@pytest.mark.parametrize("start", [1000, 65300, 65535, 32767])
def test_delays_are_the_same_across_a_wrap_of_the_timer(firmware, start):
    """Ticks wrap at 65536: the delay after evenly spaced crossings does not depend on when they come."""

    def delay_after_four(first):
        firmware.call.timing_begin(400)
        delays = [firmware.call.timing_crossing((first + 400 * k) % 65536) for k in range(4)]
        assert firmware.call.timing_is_plausible() == 1
        assert firmware.call.timing_interval() == 400
        return delays[-1]

    assert delay_after_four(start) == delay_after_four(100)
    # half a step, 30 electrical degrees, less the ticks that seeing and acting take: 11 us by its object code
    assert 175 <= delay_after_four(start) <= 200


def test_the_record_carries_the_checksum_that_a_library_computes(firmware):
    """CRC-16, polynomial 0x1021 from 0xFFFF, against binascii.crc_hqx of Python's standard library."""
    firmware.call.record_write_begin({"low_ticks": 2210, "neutral_ticks": 3010, "high_ticks": 3790})
    while (answer := firmware.call.record_write()) == 0:
        firmware.wait(ms=3.5)
    record = firmware.store[:10]

    assert answer == 1
    assert record[2:8] == b"".join(ticks.to_bytes(2, "little") for ticks in (2210, 3010, 3790))
    assert int.from_bytes(record[8:10], "little") == binascii.crc_hqx(record[:8], 0xFFFF)


def test_a_record_with_any_bit_turned_is_not_loaded(firmware):
    """A CRC finds every single wrong bit (W. W. Peterson, D. T. Brown, Proc. IRE 49, 1961)."""
    firmware.call.record_write_begin(STICK)
    while firmware.call.record_write() == 0:
        firmware.wait(ms=3.5)
    good = firmware.store[:10]
    stick = firmware.new("stick_range")
    loaded = {None: firmware.call.record_load(stick)}
    for bit in range(8, 80):
        at, turned = bit // 8, good[bit // 8] ^ (1 << bit % 8)
        firmware.call.port_store_write(at, turned)
        firmware.wait(ms=3.5)
        loaded[bit] = firmware.call.record_load(stick)
        firmware.call.port_store_write(at, good[at])
        firmware.wait(ms=3.5)

    assert loaded == {None: 1} | dict.fromkeys(range(8, 80), 0)


NOTES_HZ = {"C6": 1046.502, "E6": 1318.510, "G6": 1567.982}
"""Equal temperament on A4 = 440 Hz, ISO 16:1975: 440 * 2 ** (n / 12) at n = 15, 19, 22."""


def test_the_rising_tune_steps_through_its_notes(firmware):
    """Ticks between two pulses against the notes' frequencies, one tick of 0.5 us being the limit."""
    stored = 35
    firmware.call.tone_begin(stored)
    every = []
    while ticks := firmware.call.tone_next():
        if not every or every[-1] != ticks:
            every.append(ticks)
        # the pulse itself is 19 us long, and a handler ends it
        firmware.wait(ms=0.1)

    assert every == [pytest.approx(2e6 / hz, abs=1.0) for hz in NOTES_HZ.values()]
