"""Sheets by thickness."""

import math
from dataclasses import replace

import pytest

from rigcheck.errors import ArgumentError, UnknownNameError, ValidityError
from rigcheck.stock import find_material, find_sheet

# Rows of the project's data sheet on inserts: sheet, thickness in mm, D in N m, mass in kg/m2, as printed
# there (derived from E and density), so the tolerance is half a unit of the last printed digit.
ROWS = [
    ("corrugated-c", 3.7, 8, 0.5, 0.5, 0.05),
    ("corrugated-b", 2.6, 4, 0.45, 0.5, 0.005),
    ("greyboard", 2, 1.7, 1.29, 0.05, 0.005),
    ("foam-board", 5, 10, 0.6, 0.5, 0.05),
    ("birch-plywood", 3, 37, 2.04, 0.5, 0.005),
    ("mdf", 3, 7.9, 2.64, 0.05, 0.005),
    ("hardboard", 3, 9, 2.9, 0.5, 0.06),
    ("pvc-foam-board", 3, 2.3, 1.8, 0.051, 0.05),
    ("acrylic", 3, 6.5, 3.6, 0.066, 0.05),
    ("polycarbonate", 3, 5.3, 3.6, 0.05, 0.05),
    ("aluminium-sheet-1050-h14", 1, 5.8, 2.7, 0.05, 0.05),
    ("steel-sheet", 1, 17, 7.85, 0.5, 0.005),
    ("carbon-plate", 1, 5.3, 1.6, 0.051, 0.05),
    ("printed-pla", 3, 5.4, 3.7, 0.05, 0.05),
]


@pytest.mark.parametrize(("name", "thickness", "rigidity", "mass", "near_d", "near_m"), ROWS)
def test_rigidity_and_mass_of_every_row(name, thickness, rigidity, mass, near_d, near_m):
    cut = find_sheet(name).at(thickness * 1e-3)
    assert cut.flexural_rigidity_along.value == pytest.approx(rigidity, abs=near_d)
    assert cut.mass_per_area.value == pytest.approx(mass, abs=near_m)


def test_plywood_is_sixteen_to_one():
    cut = find_sheet("plywood").at(3e-3)
    ratio = cut.flexural_rigidity_along.value / cut.flexural_rigidity_across.value
    assert ratio == pytest.approx(16.0, abs=0.1)
    assert cut.moment_strength_along.value == pytest.approx(66e6 * 9e-6 / 6)
    assert cut.moment_strength_across.value == pytest.approx(11e6 * 9e-6 / 6)


def test_a_solid_sheet_grows_with_the_cube_and_a_sandwich_with_the_square():
    board = find_sheet("greyboard")
    assert board.at(2e-3).flexural_rigidity_along.value == pytest.approx(
        8 * board.at(1e-3).flexural_rigidity_along.value
    )
    foam = find_sheet("foam-board")
    thin, thick = foam.at(5e-3), foam.at(10e-3)
    assert thick.flexural_rigidity_along.value == pytest.approx(4 * thin.flexural_rigidity_along.value)
    # Only the core grows: 5 mm of 33 kg/m3 is 0.165 kg/m2.
    assert thick.mass_per_area.value - thin.mass_per_area.value == pytest.approx(0.165)
    assert thin.shear_stiffness.value == pytest.approx(7.5e6 * 5e-3)
    # The data sheet says foam board as a solid would be 0.5 to 1.35 GPa.
    along, across = (
        12 * rigidity.value / thin.thickness**3
        for rigidity in (thin.flexural_rigidity_along, thin.flexural_rigidity_across)
    )
    assert 0.4e9 < across < along < 1.35e9


def test_printed_mass_per_area_between_and_beyond_the_rows():
    board = find_sheet("greyboard")
    assert board.at(1.5e-3).mass_per_area.value == pytest.approx(0.970)
    assert board.at(2.5e-3).mass_per_area.value == pytest.approx((1.290 + 1.845) / 2)
    assert board.at(0.5e-3).mass_per_area.value == pytest.approx(0.615 / 2)
    assert board.at(4e-3).mass_per_area.value == pytest.approx(1.845 * 4 / 3)


def test_a_sheet_of_a_support_material_takes_its_values_from_there():
    sheet, rod = find_sheet("acrylic"), find_material("acrylic")
    assert sheet.density == rod.density
    assert sheet.youngs_modulus_along == rod.youngs_modulus
    assert sheet.bending_strength_along == rod.rupture_strength
    assert sheet.cautions == rod.cautions
    # Polycarbonate yields before it breaks.
    assert find_sheet("polycarbonate").bending_strength_along == find_material("polycarbonate").yield_strength


def test_scatter_is_carried():
    board = find_sheet("greyboard").youngs_modulus_along
    assert board.bounds == pytest.approx((0.6 * 2.5e9, 4e9))
    low, high = find_sheet("greyboard").at(2e-3).flexural_rigidity_along.bounds
    assert low < 1.2 < 1.7 < high


@pytest.mark.parametrize("thickness", [0.0, -1e-3, math.nan, math.inf])
def test_impossible_thickness(thickness):
    with pytest.raises(ArgumentError, match="is not possible: give a positive, finite number"):
        find_sheet("mdf").at(thickness)


def test_thickness_outside_the_data():
    with pytest.raises(ValidityError) as caught:
        find_sheet("birch-plywood").at(9e-3)
    assert str(caught.value) == (
        "birch-plywood is known from 2.5 to 4.5 mm thickness; 9 mm was given. "
        "Choose a thickness in that range."
    )


def test_incomplete_sheet():
    with pytest.raises(ArgumentError, match="The data of the sheet mdf are not complete"):
        replace(find_sheet("mdf"), youngs_modulus_along=None).at(3e-3)


def test_unknown_sheet():
    with pytest.raises(UnknownNameError) as caught:
        find_sheet("grayboard 2")
    assert str(caught.value) == 'There is no sheet "grayboard 2" in stock. Did you mean "greyboard"?'
    assert find_sheet("Gray board").name == "greyboard"
