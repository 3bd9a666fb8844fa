"""Recordings longer than the buffer lent to the core."""

from typing import Any

import numpy as np
import pytest

from dryspin.build import build_image
from dryspin.drive import Drive
from dryspin.rig import Rig, chunks, rig
from dryspin.scenario import Fault

from ..small_firmware import BOW_THRUSTER, scenario


@pytest.mark.parametrize(("room", "expected_per_s"), [(20, 0), (1000, 0), (1000, 10_000)])
def test_full_buffers_are_carried_away_without_a_trace(
    monkeypatch: pytest.MonkeyPatch, thruster: Drive, room: int, expected_per_s: int
) -> None:
    """At any edge, in handlers, at a reset, in one block or several: the recording of one large buffer."""
    bench = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    given = scenario(
        1.5,
        throttle_us=((0.0, 1500.0), (0.7, 1900.0)),
        faults=(Fault("reset", 1.3),),
        comparator_noise_mv=((0.0, 5.0),),
    )
    whole = bench.run(given)
    monkeypatch.setattr(rig, "_EDGE_ROOM", room)
    monkeypatch.setattr(rig, "_STATE_ROOM", room)
    monkeypatch.setattr(rig, "_EXPECTED_PER_S", expected_per_s)
    pieces = bench.run(given)

    assert len(whole.edges) > 50 * room
    assert len(whole.states) > 50 * room
    assert pieces.digest() == whole.digest()


def test_progress_tells_the_virtual_time_reached(monkeypatch: pytest.MonkeyPatch, thruster: Drive) -> None:
    """Now and then, in order, never beyond the end."""
    monkeypatch.setattr(rig, "_STATE_ROOM", 40)
    told: list[float] = []
    Rig(build_image(thruster, BOW_THRUSTER), thruster).run(scenario(0.5), progress=told.append)

    assert len(told) > 10
    assert told == sorted(told)
    assert 0.0 < told[0] < told[-1] <= 0.5


def place_of(array: np.ndarray[Any, Any]) -> int:
    """Where its first byte lies."""
    return int(array.__array_interface__["data"][0])


def test_memory_is_lent_again_once_nobody_looks_at_it(
    monkeypatch: pytest.MonkeyPatch, thruster: Drive
) -> None:
    """A recording, or any array derived from one, stays as it is while other runs go on."""
    monkeypatch.setattr(chunks, "_kept", [])
    bench = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    given, other = scenario(0.3), scenario(0.3, throttle_us=((0.0, 1900.0),), rest_deg=10.0)
    first = bench.run(given)
    digest, place = first.digest(), place_of(first.edges)
    angles, derived = first.states["theta_rad"][5:50:3], first.states["theta_rad"][5:50:3].copy()
    second = bench.run(other)
    assert first.digest() == digest != second.digest()

    del first
    third = bench.run(other)
    assert place_of(third.edges) == place
    assert third.digest() == second.digest()
    assert (angles == derived).all()
    assert place_of(second.states) != place_of(third.states)


def test_what_goes_on_from_a_beginning_finds_it_standing_and_no_other_does(
    monkeypatch: pytest.MonkeyPatch, thruster: Drive
) -> None:
    """Copied once for any number of continuations in turn, and again once another run had the memory."""
    monkeypatch.setattr(chunks, "_kept", [])
    bench = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    given, other = scenario(0.3), scenario(0.3, rest_deg=10.0)
    after, of_other = bench.checkpoint(given, 0.2), bench.checkpoint(other, 0.25)
    straight, straight_other = bench.run(given).digest(), bench.run(other).digest()
    assert bench.resume(after).digest() == straight
    copied: list[int] = []
    monkeypatch.setattr(chunks, "ref", lambda rows: copied.append(len(rows)) or (lambda: rows))

    seen = [bench.resume(after).digest(), bench.resume(after).digest()]
    assert (seen, copied) == ([straight] * 2, [])
    for frozen, digest in ((of_other, straight_other), (after, straight)):
        held = [bench.resume(frozen), bench.resume(frozen)]
        assert [recording.digest() for recording in held] == [digest] * 2
        assert bench.run(given).digest() == straight
    assert len(of_other.edges) in copied
