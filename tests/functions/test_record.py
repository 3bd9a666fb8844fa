"""The stick's range in the byte store: two places in turn, the old range or the new one at any instant."""

import binascii
from dataclasses import replace

import pytest

from dryspin.call.firmware import QUIET
from dryspin.recording import Signal

WRITING, WRITTEN, FAILED = 0, 1, 2
PLACE_BYTES, RECORD_BYTES = 16, 10
VOID, VERSION = 0x00, 0x01
BYTE_MS = 3.4
"""A write of one byte takes 3.3 ms (data sheet DS40002011A, "EEPROM Data Registers")."""

OLD = (2200, 3000, 3800)
NEW = (2410, 3110, 3590)


def record(sequence, ticks, version=VERSION):
    """The bytes of a record, its checksum by Python's standard library."""
    body = bytes([version, sequence]) + b"".join(width.to_bytes(2, "little") for width in ticks)
    return body + binascii.crc_hqx(body, 0xFFFF).to_bytes(2, "little")


def places(first=b"", second=b""):
    """A store with these records."""
    return first.ljust(PLACE_BYTES, b"\xff") + second.ljust(PLACE_BYTES, b"\xff")


def power_on(firmware, store):
    """Begin anew with that store."""
    firmware.reset(replace(QUIET, store=store.hex()))


def stick(ticks):
    """A range from low to high as the header names them."""
    return dict(zip(("low_ticks", "neutral_ticks", "high_ticks"), ticks, strict=True))


def load(firmware):
    """What is found in the store, None where nothing is."""
    found = firmware.new("stick_range", stick((1, 2, 3)))
    answer = firmware.call.record_load(found)
    ticks = tuple(vars(found.value).values())
    assert (answer, ticks) == (0, (1, 2, 3)) or answer == 1, "left alone where nothing is found"
    return ticks if answer else None


def write(firmware, ticks, calls=20):
    """Write until something comes of it or after so many calls; that answer."""
    firmware.call.record_write_begin(stick(ticks))
    answer = WRITING
    while answer == WRITING and calls:
        answer = firmware.call.record_write()
        firmware.wait(ms=BYTE_MS)
        calls -= 1
    return answer


def written(firmware):
    """Every write that was begun: (address, value)."""
    return [divmod(int(value), 256) for value in firmware.recording().of(Signal.STORE)[1]]


def test_an_erased_store_holds_no_range(firmware):
    """Every byte 0xFF, as the part is delivered."""
    assert load(firmware) is None


def test_a_store_full_of_zeros_holds_no_range(firmware):
    """As some programmers leave it."""
    power_on(firmware, bytes(2 * PLACE_BYTES))

    assert load(firmware) is None


@pytest.mark.parametrize("place", [0, 1])
@pytest.mark.parametrize("sequence", [0, 1, 127, 128, 255])
def test_a_record_is_found_in_either_place_whatever_its_number(firmware, place, sequence):
    """The other place holds nothing."""
    kept = record(sequence, OLD)
    power_on(firmware, places(kept) if place == 0 else places(b"", kept))

    assert load(firmware) == OLD


def test_of_two_records_the_newer_is_found_wherever_numbers_wrap(firmware):
    """They are neighbours, and 0 follows 255."""
    found = {}
    for older in (0, 1, 63, 126, 127, 128, 129, 254, 255):
        pair = record(older, OLD), record((older + 1) % 256, NEW)
        for order in (pair, pair[::-1]):
            power_on(firmware, places(*order))
            found[older, order == pair] = load(firmware)

    assert set(found.values()) == {NEW}


@pytest.mark.parametrize("order", [1, -1], ids=["old first", "new first"])
def test_beside_a_damaged_record_the_other_one_is_found(firmware, order):
    """One wrong bit in the newer, and the older is still there; in both, and nothing is."""
    old, new = bytearray(record(7, OLD)), bytearray(record(8, NEW))
    new[5] ^= 0x20
    power_on(firmware, places(*[old, new][::order]))
    assert load(firmware) == OLD
    old[8] ^= 0x01
    power_on(firmware, places(*[old, new][::order]))

    assert load(firmware) is None


@pytest.mark.parametrize("version", [0x00, 0x02, 0x03, 0x81, 0xFF])
def test_a_record_of_another_version_is_none_though_its_checksum_fits(firmware, version):
    """It may hold something else."""
    power_on(firmware, places(record(1, OLD, version)))

    assert load(firmware) is None


@pytest.mark.parametrize("ticks", [(2200, 3000, 3300), (3800, 3000, 2200), (1000, 3000, 3800), (0, 0, 0)])
def test_a_record_of_no_sane_range_is_none_though_its_checksum_fits(firmware, ticks):
    """Whoever wrote it, the thruster must not obey it."""
    power_on(firmware, places(record(1, ticks)))

    assert load(firmware) is None


@pytest.mark.parametrize("place", [0, 1])
def test_loading_waits_for_a_write_under_way(firmware, place):
    """A reset lets it finish, and until then the byte being written is all that can be read."""
    kept = record(1, OLD)
    power_on(firmware, places(kept) if place == 0 else places(b"", kept))
    firmware.call.port_store_write(place * PLACE_BYTES + 2, kept[2])

    assert firmware.call.port_store_busy() == 1
    assert load(firmware) == OLD
    assert firmware.call.port_store_busy() == 0


def test_each_byte_is_read_eight_times_before_it_is_believed(firmware):
    """One cut off may waver: it passes eight readings once in 128 times. A reading costs six cycles."""
    power_on(firmware, places(record(1, OLD)))
    begun_s = firmware.now_s
    assert load(firmware) == OLD
    cycles = (firmware.now_s - begun_s) * 16e6

    assert cycles == pytest.approx(2 * RECORD_BYTES * 8 * 6, abs=10)


@pytest.mark.parametrize(("before", "place", "sequence"), [
    (places(), 0, 1),
    (places(record(1, OLD)), 1, 2),
    (places(record(1, OLD), record(2, OLD)), 0, 3),
    (places(record(3, OLD), record(2, OLD)), 1, 4),
    (places(record(255, OLD)), 1, 0),
    (places(record(0, OLD), record(255, OLD)), 1, 1),
    (places(b"", record(9, OLD)), 0, 10),
])  # fmt: skip
def test_a_range_goes_to_the_place_that_does_not_hold_the_newest(firmware, before, place, sequence):
    """Byte by byte, the version made void first and written last; nothing else is touched."""
    power_on(firmware, before)
    assert write(firmware, NEW) == WRITTEN
    made = record(sequence, NEW)
    from_at = place * PLACE_BYTES
    in_order = [(0, VOID), *enumerate(made[1:], 1), (0, VERSION)]

    assert written(firmware) == [(from_at + at, value) for at, value in in_order]
    assert load(firmware) == NEW
    kept = bytearray(before.ljust(512, b"\xff"))
    kept[from_at : from_at + RECORD_BYTES] = made
    assert firmware.store == bytes(kept)


@pytest.mark.parametrize("ticks", [(1600, 2300, 3000), (3000, 3700, 4400), (2511, 3333, 4095)])
def test_the_checksum_is_the_one_that_a_library_computes(firmware, ticks):
    """CRC-16, polynomial 0x1021 from 0xFFFF: binascii.crc_hqx."""
    assert write(firmware, ticks) == WRITTEN

    assert firmware.store[:RECORD_BYTES] == record(1, ticks)


def test_a_writing_is_over_after_eleven_bytes_and_a_look(firmware):
    """Until then the answer is that it is under way; a call while the store is busy begins nothing."""
    firmware.call.record_write_begin(stick(NEW))
    answers = []
    for count in range(1, 12):
        answers += [firmware.call.record_write() for _ in range(3)]
        assert len(written(firmware)) == count
        firmware.wait(ms=BYTE_MS)

    assert answers == [WRITING] * 33
    assert firmware.call.record_write() == WRITTEN


@pytest.mark.parametrize(
    "before", [places(record(1, OLD)), places(record(1, NEW), record(2, OLD))], ids=["first", "second"]
)
def test_a_power_cut_between_two_bytes_leaves_the_old_range_or_the_new_one(firmware, before):
    """The old one until the last byte; and what is cut off is void, whatever its checksum says."""
    found, versions = [], []
    for begun in range(12):
        power_on(firmware, before)
        firmware.call.record_write_begin(stick(NEW))
        for _ in range(begun):
            firmware.call.record_write()
            firmware.wait(ms=BYTE_MS)
        place = written(firmware)[0][0] if begun else 0
        versions.append(firmware.store[place])
        power_on(firmware, firmware.store)
        found.append(load(firmware))

    assert found == [OLD] * 11 + [NEW]
    assert versions[1:] == [VOID] * 10 + [VERSION]


@pytest.mark.parametrize("cut_off", range(11))
def test_a_byte_cut_off_leaves_the_old_range_or_the_new_one(firmware, cut_off):
    """It may be old, erased or anything between the erased one and the new."""
    before = places(record(1, NEW), record(2, OLD))
    found = set()
    for left in (0xFF, 0xF0, 0x7F, 0x55, 0x01, 0x00):
        power_on(firmware, before)
        firmware.call.record_write_begin(stick(NEW))
        for _ in range(cut_off + 1):
            firmware.call.record_write()
            firmware.wait(ms=BYTE_MS)
        at, _ = written(firmware)[-1]
        store = bytearray(firmware.store)
        store[at] = left
        power_on(firmware, bytes(store))
        found.add(load(firmware))

    assert found == ({OLD, NEW} if cut_off == 10 else {OLD})


@pytest.mark.parametrize("at", range(RECORD_BYTES))
def test_a_byte_that_reads_back_wrong_is_a_failure(firmware, at):
    """Worn out: the range before is still there, and stays the newest."""
    power_on(firmware, places(record(4, OLD)))
    assert write(firmware, NEW, calls=11) == WRITING
    firmware.call.port_store_write(PLACE_BYTES + at, firmware.store[PLACE_BYTES + at] ^ 0x10)
    firmware.wait(ms=BYTE_MS)

    assert firmware.call.record_write() == FAILED
    power_on(firmware, firmware.store)
    assert load(firmware) == OLD


@pytest.mark.parametrize("other", [record(5, OLD), record(6, NEW)], ids=["range", "number"])
def test_a_record_that_reads_back_as_another_is_a_failure(firmware, other):
    """Its checksum fits, and yet it is not what was written."""
    power_on(firmware, places(record(4, OLD)))
    assert write(firmware, NEW, calls=11) == WRITING
    for at, value in enumerate(other, PLACE_BYTES):
        firmware.call.port_store_write(at, value)
        firmware.wait(ms=BYTE_MS)

    assert firmware.call.record_write() == FAILED


@pytest.mark.parametrize("were_on", [0, 1])
def test_each_byte_is_begun_with_interrupts_off_and_leaves_them_as_they_were(firmware, were_on):
    """A handler between the two unlock steps would undo the write in silence."""
    firmware.call.port_interrupts_restore(were_on)
    firmware.call.record_write_begin(stick(NEW))
    firmware.call.record_write()

    assert firmware.call.port_store_busy() == 1
    assert firmware.call.port_interrupts_off() == were_on
