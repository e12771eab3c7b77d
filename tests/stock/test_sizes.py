"""Stock sizes and tolerances."""

import math

import pytest

from rigcheck.errors import UnknownNameError, ValidityError
from rigcheck.stock import find_material, names, own_material, stock_sizes, tolerance
from rigcheck.stock.sizes import _sizes

INCH = 0.0254


def labels(name, section=None):
    return [size.label for size in stock_sizes(name) if section in (None, size.section)]


def test_hobby_sizes():
    assert "3 mm" in labels("music-wire")
    assert "1/8 in" in labels("music-wire")
    assert "6 x 1 mm" in labels("carbon-tube")  # sold as 6x4
    assert labels("threaded-rod-4.8") == ["M3", "M4", "M5", "M6", "M8", "M10", "M12"]
    assert labels("aluminium-1100-o") == [
        f"{d} mm" for d in ("0.8", "1", "1.5", "2", "2.5", "3", "4", "5", "6")
    ]


def test_the_inch_tube_run():
    # 1/16 to 21/32 in by 1/32 in: 20 sizes, wall 0.014 in (S76).
    run = [size for size in stock_sizes("brass-c260") if "in" in size.label]
    assert len(run) == 20
    assert run[0].label == "1/16 x 0.014 in"
    assert run[-1].label == "21/32 x 0.014 in"
    assert run[-1].diameter == pytest.approx(21 / 32 * INCH)
    assert all(size.wall_thickness == pytest.approx(0.3556e-3) for size in run)


def test_sizes_are_sorted_once_each_and_inside_the_data():
    for name in names():
        sizes = stock_sizes(name)
        keys = [
            (size.section, size.diameter, size.wall_thickness, size.width, size.thickness) for size in sizes
        ]
        assert len(set(keys)) == len(keys), name
        rounds = [size.diameter for size in sizes if size.section == "round"]
        assert rounds == sorted(rounds), name
        material = find_material(name)
        for size in sizes:
            if size.diameter is not None:
                material.at(size.diameter)  # raises where the strength is not known
            if size.wall_thickness is not None:
                assert 0 < size.wall_thickness < size.diameter / 2, (name, size.label)
    assert labels("spring-steel-dh") == ["0.2 mm", "0.25 mm", "0.3 mm"]


def test_stress_areas_of_threads():
    # Published areas (S38b, ISO 898-1 as-tensile areas) against (pi/4)(d - 0.9382 p)^2 with coarse pitches
    # of ISO 261 (from memory). The areas are printed to three digits: half a unit of the last one.
    pitches = {3: 0.5, 4: 0.7, 5: 0.8, 6: 1.0, 8: 1.25, 10: 1.5, 12: 1.75}
    seen = 0
    for size in stock_sizes("threaded-rod-4.8"):
        nominal = round(size.diameter * 1e3)
        area = math.pi / 4 * (nominal - 0.9382 * pitches[nominal]) ** 2
        digits = 2 if area < 10 else 1
        assert size.stress_area * 1e6 == pytest.approx(area, abs=0.6 * 10**-digits)
        seen += 1
    assert seen == 7


def test_stress_areas_of_camera_threads():
    # (pi/4)(D - 0.9743/n)^2 in inches, the unified thread's stress area (from memory, Machinery's Handbook).
    quarter, three_eighths = _sizes("camera-thread")
    for size, diameter, per_inch in ((quarter, 0.25, 20), (three_eighths, 0.375, 16)):
        area = math.pi / 4 * ((diameter - 0.9743 / per_inch) * 25.4) ** 2
        assert size.stress_area * 1e6 == pytest.approx(area, abs=0.06)


@pytest.mark.parametrize(
    ("name", "diameter", "low", "high"),
    [
        ("music-wire", 0.25e-3, -5e-6, 5e-6),
        ("music-wire", 0.5e-3, -7.6e-6, 7.6e-6),
        ("music-wire", 2.0e-3, -13e-6, 13e-6),
        ("music-wire", 3.0e-3, -25e-6, 25e-6),
        ("music-wire", 6.35e-3, -25e-6, 25e-6),
        ("carbon-rod", 3e-3, -76e-6, 0),
        ("glass-rod", 5e-3, -200e-6, 200e-6),
        ("brass-c260", 3e-3, -25e-6, 0),
        ("brass-c260", 6e-3, -30e-6, 0),
        ("brass-c260", 6.1e-3, -36e-6, 0),
        ("aluminium-6063-t6", 8e-3, -90e-6, 0),
    ],
)
def test_tolerance_of_the_diameter(name, diameter, low, high):
    limits = tolerance(name, diameter)
    assert limits.low - diameter == pytest.approx(low, abs=1e-12)
    assert limits.high - diameter == pytest.approx(high, abs=1e-12)
    assert limits.wall_low is None
    assert limits.source


def test_tolerance_of_a_stainless_tube_wall():
    # ISO 1127 class T3: 10 % of the wall, at least 0.2 mm (from memory).
    limits = tolerance("stainless-316l-annealed", 6e-3, wall_thickness=1e-3)
    assert (limits.wall_low, limits.wall_high) == pytest.approx((0.8e-3, 1.2e-3))
    thick = tolerance("stainless-316l-annealed", 25e-3, wall_thickness=3e-3)
    assert (thick.wall_low, thick.wall_high) == pytest.approx((2.7e-3, 3.3e-3))
    assert tolerance("brass-c260", 4e-3, wall_thickness=0.45e-3).wall_low is None


def test_every_stock_size_has_a_tolerance_that_leaves_something():
    for name in names():
        for size in stock_sizes(name):
            if size.diameter is not None:
                limits = tolerance(name, size.diameter, wall_thickness=size.wall_thickness)
                assert 0 < limits.low <= size.diameter <= limits.high, (name, size.label)


def test_no_tolerance_known():
    with pytest.raises(ValidityError) as caught:
        tolerance("carbon-rod", 50e-3)
    assert str(caught.value) == (
        "The tolerance Pultruded carbon, outer diameter of carbon-rod is known from 0.1 to 20 mm diameter; "
        "50 mm was given. Measure the piece."
    )
    with pytest.raises(UnknownNameError, match='Did you mean "carbon-rod"'):
        tolerance("carbonrod", 3e-3)
    with pytest.raises(UnknownNameError, match='Did you mean "carbon-rod"'):
        stock_sizes("carbonrod")


def test_own_material_has_no_stock_sizes():
    own = own_material(name="shop-rod", density=2700.0, youngs_modulus=69e9)
    assert stock_sizes(own) == ()
    assert tolerance(own, 3e-3).mark == "common-practice"
