"""The checks checked: an error planted on purpose makes them object, and only the error does.

Each error is planted where a programmer would make it (in what the plant makes of its parameters, in
the commutation table, in the controller), and the check is put to the faulty thing as it is to the
true one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest

from dryspin.plant import ideal
from dryspin.plant.conduction import Element
from dryspin.plant.machine import Machine

from . import subjects  # noqa: F401  (registers the checks)
from .check import CHECKS
from .plants import MODELS, Model

pytestmark = pytest.mark.slow


@dataclass(frozen=True)
class Injected:
    """caught_by: checks that must object, each by itself. plant: what becomes of the parameters."""

    error: str
    caught_by: tuple[str, ...]
    plant: Callable[[Any], dict[str, Any]]


IN_THE_PLANT = [
    Injected(
        "2 % too much inductance",
        ("electrical_time_constant", "fall_and_rise_at_commutation", "ripple_of_the_winding", "circuit_g1"),
        lambda p: {"l_h": 1.02 * p.l_h},
    ),
    Injected(
        "2 % too little inductance",
        ("electrical_time_constant", "fall_and_rise_at_commutation", "ripple_of_the_winding", "circuit_g2"),
        lambda p: {"l_h": 0.98 * p.l_h},
    ),
    Injected(
        "ESR dropped",
        ("step_of_the_bus_over_the_esr", "esr_beside_the_source", "circuit_s2"),
        lambda p: {"esr_ohm": 0.0},
    ),
    Injected(
        "offset with the wrong sign",
        ("comparator_offset", "resistor_mismatch"),
        lambda p: {"offset_v": -p.offset_v},
    ),
    Injected(
        "2 % too much resistance",
        ("stall_of_a_small_motor", "hot_ten_ohms", "current_of_a_locked_rotor", "circuit_g5"),
        lambda p: {"r_ohm": 1.02 * p.r_ohm},
    ),
    Injected(
        "EMF constant of a phase taken for that of two",
        ("no_load_speed_of_a_small_motor", "torque_over_the_angle", "fall_and_rise_at_commutation"),
        lambda p: {"k_v_s": 2.0 * p.k_v_s},
    ),
    Injected(
        "supply that sinks though it cannot",
        ("braking_into_a_supply_that_cannot_sink", "circuit_g4"),
        lambda p: {"sinks": True},
    ),
    Injected("diodes without a drop", ("circuit_g1", "freewheeling_current"), lambda p: {"v_f_v": 0.0}),
]

PLANTED = [
    pytest.param(
        injected,
        name,
        model,
        id=f"{injected.error}-{name}-{model.name}",
        # ten times as slow as the compiled one, which is put to the same
        marks=[pytest.mark.long] if model.name == "equations" else [],
    )
    for injected in IN_THE_PLANT
    for name in injected.caught_by
    for model in MODELS.values()
]


def objects(name: str, subject: Any) -> bool:
    """Whether the check has a row beyond its limit; skips where the plant does not model what it needs."""
    rows, missing = CHECKS[name].put_to(subject)
    if missing and not rows:
        pytest.skip(f"not modelled: {missing}")
    assert rows
    return not all(row.holds for row in rows)


@pytest.mark.parametrize(("injected", "name", "model"), PLANTED)
def test_error_in_the_plant_is_caught(injected: Injected, name: str, model: Model) -> None:
    """Of the plant with the error the check thinks otherwise than of the true one."""

    def faulty(params: Any, state: Any) -> Any:
        return model.factory(replace(params, **injected.plant(params)), state)

    assert objects(name, faulty)
    assert not objects(name, model.factory)


@pytest.mark.energy_does_not_close  # the drop that the meter counts is not the one in the circuit
@pytest.mark.parametrize("diode", ["low diode", "high diode"])
def test_sign_of_one_diode_drop_is_caught(diode: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """-Vf of the low diode as +Vf, or +Vf of the high one as -Vf, in the equations."""
    name = "freewheeling_current"
    make = MODELS["equations"].factory
    assert not objects(name, make)
    true_leg = Machine._leg

    def wrong(self: Machine, leg: Element) -> tuple[float, float, float]:
        rail, drop_v, ohm = true_leg(self, leg)
        return rail, -drop_v if leg.name == diode else drop_v, ohm

    monkeypatch.setattr(Machine, "_leg", wrong)

    assert objects(name, make)


@pytest.mark.parametrize("by", [1, -1])
@pytest.mark.parametrize("name", ["sequence_of_pairs", "crossings_in_mid_step"])
@pytest.mark.parametrize("model", MODELS.values(), ids=MODELS)
def test_commutation_table_off_by_one_is_caught(
    by: int, name: str, model: Model, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One sector early or late, the order of the pairs still the published one."""
    assert not objects(name, model.factory)
    table = ideal.SIX_STEP
    monkeypatch.setattr(ideal, "SIX_STEP", table[by:] + table[:by])

    assert objects(name, model.factory)


@pytest.mark.parametrize("model", MODELS.values(), ids=MODELS)
def test_comparator_delay_ignored_is_caught(model: Model) -> None:
    """A controller that hands the comparator's output on at once."""

    def at_once(drive: Any, scenario: Any) -> Any:
        return model.run(drive, replace(scenario, parts={**scenario.parts, "delay_s": 0.0}))

    assert objects("comparator_delay", at_once)
    assert not objects("comparator_delay", model.run)


def test_numbers_that_are_none_are_objected_to() -> None:
    """A check that finds nothing must not hold for want of a difference."""
    row = next(iter(CHECKS["stall_of_a_small_motor"].rows(MODELS["equations"].factory)))

    assert row.holds
    assert not replace(row, seen=float("nan")).holds
    assert not replace(row, seen=float("inf")).holds


@pytest.mark.parametrize(("times", "holds"), [(0.8, True), (1.2, False), (-0.8, True), (-1.2, False)])
def test_limit_of_a_row_is_sharp(times: float, holds: bool) -> None:
    """Either way, as a share and in a unit."""
    row = next(iter(CHECKS["stall_of_a_small_motor"].rows(MODELS["equations"].factory)))
    one_sided = replace(row, expected=10.0, seen=10.0 + times * 0.05)

    assert one_sided.unit == "%"
    assert one_sided.limit == 0.5
    assert one_sided.holds is holds
    assert replace(one_sided, unit="A", seen=10.0 + times * 0.5).holds is holds
