"""Shapes of the back-EMF: sine, table, third harmonic, and what each leaves visible at a terminal."""

import math

import pytest

from dryspin.plant.emf import shape_of, sine, trapezoid
from dryspin.plant.equations import EquationPlant

from . import golden
from .bench_motor import MOTOR, at, go, motor, rpm

TWELVE = (0.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.0, -1.0, -1.0, -1.0, -1.0, -1.0)
"""The trapezoid at steps of 30 degrees, which meet all its corners."""


def test_table_of_the_trapezoid_is_the_trapezoid() -> None:
    """Twelve points, straight between: the same currents and crossings as the shape written as formula."""
    plants = [
        EquationPlant(params, at(rpm(7000.0), 31.0))
        for params in (MOTOR, motor(shape="table", shape_table=TWELVE))
    ]
    for theta in (n * 0.0917 for n in range(-100, 100)):
        expected = [golden.trapezoid(theta - n * 2.0 * math.pi / 3.0) for n in range(3)]
        assert shape_of(plants[1].params)[0](theta) == pytest.approx(expected, abs=1e-12)

    for plant in plants:
        plant.sense_leg = 2
    edges = [go(plant, 1e-3, (1, 2, 0)) for plant in plants]

    assert len(edges[0]) == len(edges[1]) > 0
    assert [t for t, _ in edges[0]] == pytest.approx([t for t, _ in edges[1]], abs=1e-10)
    assert plants[0].state.i_u_a == pytest.approx(plants[1].state.i_u_a, abs=1e-7)


@pytest.mark.parametrize("points", [100, 360])
def test_fine_table_of_a_sine_comes_close_to_the_sine(points: int) -> None:
    """Straight lines miss it by at most (2 pi / n)^2 / 8; 100 points are no multiple of three."""
    values = tuple(math.sin(2.0 * math.pi * n / points) for n in range(points))
    shape, _ = shape_of(motor(shape="table", shape_table=values))

    worst = max(
        abs(one - two)
        for n in range(1000)
        for one, two in zip(shape(n * 0.0173), sine(n * 0.0173), strict=True)
    )

    assert worst <= (2.0 * math.pi / points) ** 2 / 8.0 * (1.0 + 1e-6)
    assert worst > 0.5 * (2.0 * math.pi / points) ** 2 / 8.0


def test_third_harmonic_moves_the_neutral_and_nothing_at_the_terminals() -> None:
    """In phase in all three: star point lower by h k w sin(3 theta), terminals and crossings as before."""
    w, h = rpm(6000.0), 0.2
    plain = EquationPlant(motor(shape="sine"), at(w, 40.0))
    rich = EquationPlant(motor(shape="sine", third_harmonic=h), at(w, 40.0))

    for plant in (plain, rich):
        go(plant, 30e-6, (1, 2, 0))

    assert rich.terminal_voltages() == pytest.approx(plain.terminal_voltages(), abs=1e-9)
    assert rich.state.i_u_a == pytest.approx(plain.state.i_u_a, abs=1e-9)
    assert rich.torque_nm(rich.vector) == pytest.approx(plain.torque_nm(plain.vector), abs=1e-12)
    theta = rich.state.theta_rad
    star_v = [
        plant.terminal_voltages()[2] - MOTOR.k_v_s * w * shape_of(plant.params)[0](theta)[2]
        for plant in (plain, rich)
    ]
    assert star_v[1] - star_v[0] == pytest.approx(-h * MOTOR.k_v_s * w * math.sin(3.0 * theta), abs=1e-9)
    assert abs(star_v[1] - star_v[0]) > 0.1


def test_third_harmonic_leaves_the_crossing_where_it_is() -> None:
    """Sensed against the mean of the terminals, of a driven and of a coasting machine."""
    w = rpm(6000.0)
    for gates in ((1, 2, 0), (0, 0, 0)):
        crossings = []
        for h in (0.0, 0.25):
            plant = EquationPlant(motor(shape="sine", third_harmonic=h), at(w, 35.0))
            plant.sense_leg = 2
            crossings += [t for t, level in go(plant, 150e-6, gates) if level == 0]
        assert len(crossings) == 2
        assert crossings[1] == pytest.approx(crossings[0], abs=1e-10)
        assert math.degrees(MOTOR.pole_pairs * w * crossings[0]) + 35.0 == pytest.approx(60.0, abs=1e-4)


def test_trapezoid_without_its_third_harmonic_is_not_a_trapezoid_at_the_terminals() -> None:
    """Coasting, v_x = e_x - mean(e): what all three share is gone, so 2/3 of the ramp are left."""
    w = rpm(1000.0)  # faster, and a diode would hold the lowest terminal
    plant = EquationPlant(MOTOR, at(w, 50.0))

    e_u, e_v, e_w = (MOTOR.k_v_s * w * f for f in trapezoid(math.radians(50.0)))
    assert plant.terminal_voltages()[2] == pytest.approx(e_w - (e_u + e_v + e_w) / 3.0, abs=1e-9)
    assert plant.terminal_voltages()[2] == pytest.approx(2.0 / 3.0 * e_w, abs=1e-9)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"shape": "square"}, "no back-EMF shape is called 'square'; use 'trapezoid', 'sine' or 'table'"),
        ({"shape": "table", "shape_table": (0.0, 1.0)}, "needs at least 3 values over one turn, got 2"),
    ],
)
def test_unusable_shape_is_refused(changes: dict[str, object], message: str) -> None:
    """The message names what was given and what would do."""
    with pytest.raises(ValueError, match=message):
        EquationPlant(motor(**changes), at())
