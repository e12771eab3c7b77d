"""Plates: limits, scaling, inverse, flags and messages. Independent solutions are in tests/evidence."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.mechanics.clamps import bed_root
from rigcheck.mechanics.plates import (
    choose_sheets,
    disc_droop,
    droop_over_insert,
    insert_moments,
    joint_stiffness,
    rigidity_from_droop_test,
)

# A notebook cover 210 x 150 mm, 600 g/m^2, on 60 mm of wire: scenario of the desk set.
COVER = {
    "prop_length": 0.21,
    "prop_width": 0.15,
    "embed_length": 0.06,
    "prop_weight_per_area": 0.6 * 9.80665,
    "prop_rigidity_along": 0.02,
}
# 2 mm grey board (materials data): 1.29 kg/m^2, E 2.5 and 1.3 GPa.
BOARD = {
    "insert_weight_per_area": 1.29 * 9.80665,
    "insert_rigidity_along": 2.5e9 * 8e-9 / 12,
    "insert_rigidity_across": 1.3e9 * 8e-9 / 12,
}


def test_small_droop_gives_the_rigidity_by_the_cantilever_formula():
    found = rigidity_from_droop_test(weight_per_area=8.0, overhang=0.1, droop=[1.25e-5, 5e-5])
    # D = w L^4 / (8 d), whose error is the square of the droop's share of the length: 2.5e-7.
    np.testing.assert_allclose(found, [8.0, 2.0], rtol=1e-6)


@given(ratio=st.floats(2e-4, 0.96), scale=st.floats(0.01, 2.0), weight=st.floats(0.5, 50.0))
def test_rigidity_goes_as_weight_and_cube_of_the_overhang(ratio, scale, weight):
    found = rigidity_from_droop_test(weight_per_area=weight, overhang=scale, droop=ratio * scale)
    unit = rigidity_from_droop_test(weight_per_area=1.0, overhang=1.0, droop=ratio)
    # The stored curve is good to 1e-12 of the length; at the limp end a droop tells 100 times less of D.
    np.testing.assert_allclose(found, weight * scale**3 * unit, rtol=1e-8)


def test_the_more_it_droops_the_limper_it_is():
    droop = np.linspace(1e-3, 0.96, 60)
    rigidity = rigidity_from_droop_test(weight_per_area=10.0, overhang=1.0, droop=droop)
    assert (np.diff(rigidity) < 0).all()


def test_disc_without_a_hub_is_the_limit_of_a_small_hub():
    hub = np.array([0.0, 1e-6, 0.05])
    droop = disc_droop(weight_per_area=5.0, outer_radius=0.1, hub_radius=hub * 0.1, flexural_rigidity=0.3)
    np.testing.assert_allclose(droop[1], droop[0], rtol=1e-9)
    assert droop[2] < droop[0]


def test_disc_with_a_wide_hub_is_a_narrow_cantilever():
    gap = 1e-3
    droop = disc_droop(weight_per_area=5.0, outer_radius=1.0, hub_radius=1 - gap, flexural_rigidity=0.3)
    # A rim of width gap: strip w L^4 / 8 D to first order in gap / radius.
    np.testing.assert_allclose(droop, 5.0 * gap**4 / (8 * 0.3), rtol=2e-3)


def test_scaling_of_the_plate():
    """Droop goes with weight, one over rigidity, and the fourth power of size."""
    base = droop_over_insert(**COVER)
    large = droop_over_insert(
        prop_length=2 * 0.21,
        prop_width=2 * 0.15,
        embed_length=2 * 0.06,
        prop_weight_per_area=3 * COVER["prop_weight_per_area"],
        prop_rigidity_along=5 * 0.02,
    )
    for name in ("linear_along", "linear_across", "linear_corner"):
        np.testing.assert_allclose(getattr(large, name), getattr(base, name) * 16 * 3 / 5, rtol=1e-8)


def test_insert_cures_the_droop_and_a_longer_support_too():
    bare = droop_over_insert(**COVER)
    carried = droop_over_insert(**COVER, **BOARD, insert_length=0.18, insert_width=0.12)
    further = droop_over_insert(**{**COVER, "embed_length": 0.18})
    assert carried.largest < 0.2 * bare.largest
    assert further.along < 0.1 * bare.along
    assert bare.is_large


def test_insert_of_no_stiffness_and_no_weight_changes_nothing():
    with_nothing = droop_over_insert(**COVER, insert_length=0.1, insert_width=0.08)
    bare = droop_over_insert(**COVER)
    # The same plate on a slightly other grid.
    np.testing.assert_allclose(with_nothing.linear_corner, bare.linear_corner, rtol=3e-3)


def test_edges_that_fall_together_are_no_special_case():
    """Insert as long as the support, as wide as the prop, and beginning at its edge."""
    sizes = np.array([0.06, 0.06 + 1e-9, 0.0601, 0.059])
    droop = droop_over_insert(**COVER, **BOARD, insert_length=sizes, insert_width=0.15, insert_start=0.0)
    np.testing.assert_allclose(droop.linear_corner, droop.linear_corner[0], rtol=0.03)
    over = droop_over_insert(**{**COVER, "embed_length": 0.5}, **BOARD, insert_length=0.21, insert_width=0.15)
    assert abs(over.along) < 1e-6
    assert over.across > 0


def test_large_droop_never_passes_the_overhang():
    limp = droop_over_insert(**{**COVER, "prop_rigidity_along": 1e-5})
    assert limp.is_large
    assert limp.linear_corner > np.hypot(0.15, 0.075)
    assert limp.corner < np.hypot(0.15, 0.075)
    assert limp.across < 0.075


def test_small_droop_keeps_its_linear_value():
    stiff = droop_over_insert(**{**COVER, "prop_rigidity_along": 5.0})
    assert not stiff.is_large
    np.testing.assert_allclose(stiff.corner, stiff.linear_corner, rtol=1e-3)


def test_droop_is_batched_across_its_chunks():
    rigidity = np.linspace(0.02, 1.0, 70).reshape(7, 10)
    batch = droop_over_insert(**{**COVER, "prop_rigidity_along": rigidity})
    assert batch.corner.shape == (7, 10)
    one = droop_over_insert(**{**COVER, "prop_rigidity_along": rigidity[6, 3]})
    np.testing.assert_allclose(batch.linear_corner[6, 3], one.linear_corner, rtol=1e-9)
    assert (np.diff(batch.linear_corner.ravel()) < 0).all()


def test_insert_moments_by_hand():
    along, across = insert_moments(
        prop_length=0.2,
        prop_width=0.1,
        embed_length=0.05,
        weight_per_area=20.0,
        insert_length=0.16,
        insert_width=0.08,
        peak_factor=1.0,
    )
    # Derived here: weight past the tip 20 * 0.15 * 0.1 at 75 mm, over 80 mm; one side 20 * 0.2 * 0.05 at
    # 25 mm over the 30 mm of support that lie under the insert.
    np.testing.assert_allclose(along, 20 * 0.15 * 0.1 * 0.075 / 0.08)
    np.testing.assert_allclose(across, 20 * 0.2 * 0.05 * 0.025 / 0.03)


def test_support_past_the_insert_leaves_no_moment_along():
    along, _ = insert_moments(
        prop_length=0.2,
        prop_width=0.1,
        embed_length=0.19,
        weight_per_area=20.0,
        insert_length=0.16,
        insert_width=0.08,
    )
    assert along == 0


def test_choice_puts_the_lightest_cure_first():
    choice = choose_sheets(
        limit=3e-3,
        insert_weight_per_area=np.array([0.5, 2.64, 1.29, 0.6]) * 9.80665,
        insert_rigidity_along=np.array([1e-3, 7.9, 1.7, 10.0]),
        insert_rigidity_across=np.array([1e-3, 7.9, 0.87, 10.0]),
        insert_length=0.19,
        insert_width=0.13,
        **COVER,
    )
    np.testing.assert_array_equal(choice.cures, choice.droop <= 3e-3)
    np.testing.assert_array_equal(choice.cures, [False, True, True, True])
    np.testing.assert_array_equal(choice.order, [3, 2, 1, 0])
    np.testing.assert_allclose(choice.insert_mass, np.array([0.5, 2.64, 1.29, 0.6]) * 0.19 * 0.13)


def test_joint_limits():
    common = {"insert_width": 0.1, "insert_rigidity_across": 2.0, "wire_torsional_stiffness": 0.5}
    long = joint_stiffness(embed_length=10.0, wire_bending_stiffness=0.8, **common)
    k = 40 * 2.0 / 0.05**3
    np.testing.assert_allclose(long.pitch, 0.8 * (k / 3.2) ** 0.25)
    np.testing.assert_allclose(long.roll, np.sqrt(0.5 * 280 / 33 * 2.0 / 0.05))
    # A short stiff wire: the bed alone, k l^3 / 12 about its middle; 280 D l / (33 h).
    stiff = {**common, "wire_torsional_stiffness": 1e6}
    short = joint_stiffness(embed_length=0.01, wire_bending_stiffness=1e3, **stiff)
    np.testing.assert_allclose(short.pitch, k * 1e-6 / 12, rtol=1e-6)
    np.testing.assert_allclose(short.roll, 280 / 33 * 2.0 / 0.05 * 0.01, rtol=1e-6)


def test_soft_glue_governs_the_joint():
    arguments = {
        "embed_length": 0.04,
        "insert_width": 0.07,
        "insert_rigidity_across": 1.7,
        "wire_bending_stiffness": 0.8,
        "wire_torsional_stiffness": 0.6,
    }
    firm = joint_stiffness(**arguments)
    np.testing.assert_allclose(joint_stiffness(**arguments, glue_modulus=1e18).pitch, firm.pitch)
    soft = joint_stiffness(**arguments, glue_modulus=1e3).pitch
    alone = bed_root(bending_stiffness=0.8, bed_modulus=1e3, grip_length=0.04).rotational_stiffness
    np.testing.assert_allclose(soft, alone, rtol=0.01)
    assert soft < firm.pitch


def test_an_insert_without_weight_and_stiffness_is_none():
    """What is left out of an insert is zero: only the grid is another, and its error is under 0.1 %."""
    bare = droop_over_insert(**COVER)
    ghost = droop_over_insert(**COVER, insert_length=0.1, insert_width=0.08)
    for name in ("linear_along", "linear_across", "linear_corner"):
        np.testing.assert_allclose(getattr(ghost, name), getattr(bare, name), rtol=1e-3)


def test_insert_moments_balance_the_weight():
    """Past the tip 0.1 m x 0.1 m of 20 N/m^2 hang at 0.05 m: 10 mN m over 0.08 m, doubled; each side 0.2 m x 0.05 m
    at 0.025 m: 5 mN m over the 0.05 m of support under the insert, doubled. Statics, derived here."""
    sizes = {"prop_length": 0.2, "prop_width": 0.1, "embed_length": 0.1, "insert_length": 0.1}
    given = {**sizes, "insert_width": 0.08, "weight_per_area": 20.0}
    np.testing.assert_allclose(insert_moments(**given), (2 * 0.01 / 0.08, 2 * 0.005 / 0.05))
    np.testing.assert_allclose(insert_moments(**given, peak_factor=1.0), (0.01 / 0.08, 0.005 / 0.05))
    # A support through to the far edge of the insert, or past the prop: nothing bends along it.
    np.testing.assert_allclose(insert_moments(**{**given, "embed_length": 0.15}), (0.0, 2 * 0.005 / 0.1))
    np.testing.assert_allclose(insert_moments(**{**given, "embed_length": 0.3}), (0.0, 2 * 0.005 / 0.1))
    np.testing.assert_array_equal(insert_moments(**{**given, "weight_per_area": 0.0}), 0.0)


@pytest.mark.parametrize(
    ("call", "error", "says"),
    [
        (
            lambda: rigidity_from_droop_test(weight_per_area=10.0, overhang=0.0, droop=1e-3),
            ArgumentError,
            "overhang is 0.0",
        ),
        (
            lambda: rigidity_from_droop_test(weight_per_area=5.0, overhang=0.08, droop=0.079),
            ValidityError,
            "shorter overhang for a limp sheet",
        ),
        (
            lambda: rigidity_from_droop_test(weight_per_area=5.0, overhang=0.08, droop=1e-6),
            ValidityError,
            "longer one for a stiff one",
        ),
        (
            lambda: rigidity_from_droop_test(weight_per_area=0.0, overhang=0.08, droop=0.01),
            ArgumentError,
            "weight_per_area is 0.0",
        ),
        (
            lambda: disc_droop(weight_per_area=5.0, outer_radius=0.1, hub_radius=0.1, flexural_rigidity=1.0),
            ArgumentError,
            "must be the smaller one",
        ),
        (
            lambda: disc_droop(
                weight_per_area=5.0,
                outer_radius=0.1,
                hub_radius=0.0,
                flexural_rigidity=1.0,
                poissons_ratio=0.7,
            ),
            ArgumentError,
            "from 0 to 0.5",
        ),
        (lambda: droop_over_insert(**COVER, insert_length=0.3), ArgumentError, "must lie inside the prop"),
        (lambda: droop_over_insert(**COVER, insert_width=0.3), ArgumentError, "must lie inside the prop"),
        (lambda: droop_over_insert(**COVER, poissons_ratio=0.6), ArgumentError, "from 0 to 0.5"),
        (
            lambda: droop_over_insert(**{**COVER, "embed_length": 0.0}),
            ArgumentError,
            "embed_length is 0.0",
        ),
        (
            lambda: insert_moments(
                prop_length=0.2,
                prop_width=0.1,
                embed_length=0.01,
                weight_per_area=20.0,
                insert_length=0.1,
                insert_width=0.08,
            ),
            ValidityError,
            "does not reach the insert",
        ),
    ],
)
def test_wrong_input_says_what_is_allowed(call, error, says):
    with pytest.raises(error, match=says):
        call()


def test_a_kept_plate_is_not_spoilt_by_who_asked_first():
    given = {
        "prop_length": 0.2,
        "prop_width": 0.15,
        "embed_length": 0.08,
        "prop_weight_per_area": 6.0,
        "prop_rigidity_along": np.array([0.02, 0.2]),
    }
    first = droop_over_insert(**given)
    kept = first.corner.copy(), first.linear_corner.copy()
    first.corner[:], first.linear_corner[:] = 1.0, 1.0
    again = droop_over_insert(**given)
    np.testing.assert_array_equal((again.corner, again.linear_corner), kept)
    other = droop_over_insert(**{**given, "prop_weight_per_area": 12.0})
    np.testing.assert_allclose(other.linear_corner, 2 * kept[1], rtol=1e-9)
