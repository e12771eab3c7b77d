"""Ranges: the same digits from the same seed, and inputs that are read as they are said to be."""

import numpy as np
import pytest

from rigcheck.errors import ArgumentError
from rigcheck.files import rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.reading import read_prop
from rigcheck.studies.uncertainty import (
    Input,
    first_order_shares,
    inputs_of,
    perturbed,
    quantile_range,
    ranges,
    sample,
)

RIG = """
[camera]
field_width = "420 mm"
image_width = 3840
{extra}
[[prop]]
name = "ink bottle"
mass = "{mass}"
shape = "cylinder"
size = ["45 mm", "60 mm", "45 mm"]
centre_of_mass = ["0 mm", "0 mm", "12 mm"]
[[prop.support]]
material = "music-wire"
diameter = "{diameter}"
length = "160 mm"
clamp = "collet"
[[prop.move]]
slide = "150 mm"
along = "up"
duration = "{duration}"
"""


def rig(mass="120 g", diameter="3 mm", duration="2 s", extra=""):
    return rig_from_text(RIG.format(mass=mass, diameter=diameter, duration=duration, extra=extra))


def test_the_seed_fixes_every_digit():
    shot = rig()
    one, same, other = (ranges(shot, shot.prop[0], points=32, seed=seed) for seed in (5, 5, 6))
    assert dict(one.ranges) == dict(same.ranges)
    assert one.chance_of_pass == same.chance_of_pass
    assert one.shares == same.shares
    assert dict(one.ranges) != dict(other.ranges)


def test_the_middle_of_the_inputs_is_the_check():
    shot = rig()
    task = read_prop(shot, shot.prop[0]).task
    inputs = inputs_of(shot, shot.prop[0])
    middle = perturbed(task, inputs, np.zeros((1, len(inputs)))).evaluate()
    found = check(shot).props[0]
    assert middle.sag[0] == pytest.approx(found.static.sag.m_as("m"), rel=1e-12)
    result = ranges(shot, shot.prop[0])
    low, high = result.ranges["sag_mm"]
    assert low < found.static.sag.m_as("mm") < high
    low, high = result.ranges["frequency_Hz"]
    assert low < found.modes[0].frequency.m_as("Hz") < high
    assert set(result.ranges) == {"sag_mm", "frequency_Hz", "residual_wobble_px", "settle_s", "yield_factor"}


@pytest.mark.parametrize("is_positive", [True, False])
def test_ends_are_beyond_one_in_twenty_each(is_positive):
    item = Input(
        label="x",
        kind="mass",
        value=1.0,
        low=0.8,
        high=1.5,
        is_positive=is_positive,
        source="given",
        target=("mass", 0),
    )
    values = item.at(sample(1, 4096, 1)[:, 0])
    assert np.mean(values < 0.8) == pytest.approx(0.05, abs=0.001)
    assert np.mean(values > 1.5) == pytest.approx(0.05, abs=0.001)
    assert np.median(values) == pytest.approx(1.0, abs=2e-3)


def test_given_ranges_take_the_place_of_usual_ones():
    shot = rig("120 g +/- 20 g", "3 mm +/- 0.2 mm", "2 s +/- 0.1 s")
    inputs = {item.label: item for item in inputs_of(shot, shot.prop[0])}
    assert inputs["mass of the prop"].source == "given"
    assert inputs["mass of the prop"].high == pytest.approx(0.140)
    assert inputs["diameter"].low == pytest.approx(2.8e-3)
    assert inputs["duration of move 1"].kind == "move"
    assert inputs["free length"].source == "usual"
    assert "duration of move 1" not in {item.label for item in inputs_of(rig(), rig().prop[0])}
    wide, narrow = ranges(shot, shot.prop[0]), ranges(rig(), rig().prop[0])
    assert np.diff(wide.ranges["sag_mm"]) > 2 * np.diff(narrow.ranges["sag_mm"])


def test_what_matters_most_is_named_with_its_measurement():
    shot = rig("120 g +/- 40 g")
    result = ranges(shot, shot.prop[0])
    first = result.shares["sag_mm"][0]
    assert first.label == "mass of the prop"
    assert first.share > 0.8
    assert "weigh the prop" in first.measure
    # d^4 against m: 10 % of the diameter outweighs 2 % of the mass.
    shot = rig(diameter="3 mm +/- 0.3 mm")
    assert ranges(shot, shot.prop[0]).shares["frequency_Hz"][0].label == "diameter"


def test_shares_of_an_additive_function():
    """y = 3 a + 2 b + (c^2 - 1) has variance 9 + 4 + 2 (derived here)."""
    z = sample(4, 256, 3)
    y = 3 * z[:, 0] + 2 * z[:, 1] + z[:, 2] ** 2 - 1
    assert first_order_shares(z, y) == pytest.approx([9 / 15, 4 / 15, 2 / 15, 0], abs=0.03)
    assert first_order_shares(z, np.ones(256)).tolist() == [0, 0, 0, 0]


def test_a_product_has_no_share_of_its_own():
    z = sample(2, 512, 3)
    assert first_order_shares(z, z[:, 0] * z[:, 1]).max() < 0.05


def test_chances():
    sure = ranges(rig("5 g"), rig("5 g").prop[0])
    assert sure.chance_of_pass == 1.0
    shot = rig(extra='[limits]\nhazard = "overhead"')
    assert ranges(shot, shot.prop[0]).chance_of_pass == 0.0
    middle = check(rig()).props[0].static.sag.m_as("mm")
    shot = rig(extra=f'[limits]\nsag = "{middle:.6f} mm"')
    # The limit is the middle value, so about half the variants keep it.
    assert 0.3 < ranges(shot, shot.prop[0]).chances["sag"] < 0.7


def test_an_endless_settling_leaves_the_range_open():
    assert quantile_range(np.array([0.5] * 60 + [np.inf] * 40)) == (0.5, np.inf)


@pytest.mark.parametrize("points", [0, 16, 100])
def test_points_must_be_a_power_of_two(points):
    with pytest.raises(ArgumentError, match="power of two"):
        sample(3, points, 1)
