"""Plastic bending: identities, limits, flags, batching and messages. Independent models: tests/evidence."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uniform_bends import uniform_set

from rigcheck.errors import ArgumentError
from rigcheck.mechanics.plasticity import (
    bending_moment,
    curvature,
    lasting_set,
    plastic_round,
    plastic_strip,
    set_at_offset,
    shared_curvature,
)

ALUMINIUM = {"youngs_modulus": 68.9e9, "yield_strength": 34e6}
BRASS = {"youngs_modulus": 110e9, "yield_strength": 300e6}


def wire(**more):
    return plastic_round(outer_diameter=2e-3, **ALUMINIUM, **more)


def test_below_the_onset_nothing_stays():
    section = wire(onset_fraction=0.5)
    moment = np.linspace(-1, 1, 41) * section.onset_moment_y
    stays, collapses = uniform_set(section, moment)
    np.testing.assert_array_equal(stays, 0.0)
    assert not collapses.any()
    loaded, _ = curvature(section, moment)
    np.testing.assert_allclose(loaded, moment / section.bending_stiffness_y, rtol=1e-15)


def test_perfectly_plastic_residual_is_curvature_less_moment_over_stiffness():
    section = wire()
    moment = np.linspace(0.2, 0.999, 40) * section.plastic_moment_y
    stays, _ = uniform_set(section, moment)
    loaded, _ = curvature(section, moment)
    np.testing.assert_allclose(stays, loaded - moment / section.bending_stiffness_y, rtol=1e-9, atol=1e-15)


@given(
    ratio=st.floats(0.01, 200.0),
    onset=st.floats(0.3, 1.0),
    wall=st.floats(0.02, 0.5),
    hardening=st.floats(0.0, 1e-3),
)
def test_moment_and_curvature_undo_each_other(ratio, onset, wall, hardening):
    section = plastic_round(
        outer_diameter=4e-3,
        wall_thickness=wall * 4e-3,
        onset_fraction=onset,
        # Slack keeps the last line no steeper than the one before where the onset nears the proof stress.
        hardening_ratio=hardening * (onset < 0.95),
        **ALUMINIUM,
    )
    kappa = ratio * section.onset_moment_y / section.bending_stiffness_y
    moment = bending_moment(section, kappa)
    back, collapses = curvature(section, moment)
    assert not collapses
    # dM/dkappa falls with the cube of the ratio: 200^3 rounding steps of 1e-15 at worst.
    np.testing.assert_allclose(back, kappa, rtol=1e-14 * max(ratio, 10) ** 3)


@pytest.mark.parametrize("share", [0.3, 0.9, 0.999])
def test_a_rod_and_the_tube_around_it_bend_as_the_solid_they_make(share):
    solid = plastic_round(outer_diameter=4e-3, onset_fraction=0.5, **ALUMINIUM)
    core = plastic_round(outer_diameter=2.4e-3, onset_fraction=0.5, **ALUMINIUM)
    tube = plastic_round(outer_diameter=4e-3, wall_thickness=0.8e-3, onset_fraction=0.5, **ALUMINIUM)
    # Every fibre follows the same law, whichever layer it is counted with.
    moment = share * solid.plastic_moment_y
    found = shared_curvature([core, tube], moment)
    expected, _ = curvature(solid, moment)
    assert float(found) == pytest.approx(float(expected), rel=1e-9)


@given(
    loads=st.lists(st.floats(0.0, 1.0 - 1e-6), min_size=1, max_size=4),
    onset=st.floats(0.3, 1.0),
    wall=st.floats(0.05, 0.45),
    elastic=st.sampled_from([0.0, 0.05]),
)
def test_bonded_layers_hold_at_their_curvature_what_they_are_given(loads, onset, wall, elastic):
    laws = [
        plastic_round(outer_diameter=2e-3, onset_fraction=onset, **ALUMINIUM),
        plastic_round(outer_diameter=3e-3, wall_thickness=wall * 3e-3, **BRASS),
    ]
    moment = np.array(loads) * float(sum(law.plastic_moment_y for law in laws))
    kappa = shared_curvature(laws, moment, elastic=elastic)
    held = sum(bending_moment(law, kappa) for law in laws) + elastic * kappa
    np.testing.assert_allclose(held, moment, rtol=1e-13, atol=1e-15)


def test_moment_is_odd_rises_and_its_slope_is_continuous():
    section = wire(onset_fraction=0.5)
    kappa = np.linspace(-20, 20, 20001) * section.onset_moment_y / section.bending_stiffness_y
    moment = bending_moment(section, kappa)
    np.testing.assert_allclose(moment, -moment[::-1], atol=1e-18)
    slope = np.diff(moment) / np.diff(kappa) / section.bending_stiffness_y
    assert (slope > 0).all()
    # Steps of 0.002 in the ratio; the slope falls by no more than a few times that a step.
    assert np.abs(np.diff(slope)).max() < 0.02


def test_far_beyond_yield_the_moment_is_the_plastic_moment():
    for section in (wire(), plastic_strip(width=8e-3, thickness=1e-3, **ALUMINIUM)):
        kappa = 1e4 * section.yield_moment_y / section.bending_stiffness_y
        # Short of it by a share of order 1e-8.
        np.testing.assert_allclose(bending_moment(section, kappa), section.plastic_moment_y, rtol=2e-8)


def test_plastic_moment_does_not_depend_on_the_onset():
    fractions = np.array([0.3, 0.5, 0.8, 1.0])
    section = wire(onset_fraction=fractions)
    np.testing.assert_allclose(section.plastic_moment_y, wire().plastic_moment_y)
    kappa = 1e6 * section.yield_moment_y / section.bending_stiffness_y
    np.testing.assert_allclose(bending_moment(section, kappa), wire().plastic_moment_y, rtol=1e-6)


def test_proof_stress_has_its_proof_strain():
    section = wire(onset_fraction=0.5)
    elastic = 34e6 / 68.9e9
    np.testing.assert_allclose(section.onset_strain * section.proof_strain_ratio, elastic + 0.002, rtol=1e-12)
    np.testing.assert_allclose(section.onset_strain, elastic / 2, rtol=1e-12)
    # Shares of E times the strain where each stops add to the proof stress.
    reached = section.first_share * section.onset_strain + section.second_share * (elastic + 0.002)
    np.testing.assert_allclose(reached * 68.9e9, 34e6, rtol=1e-12)


def test_collapse_is_flagged_and_never_a_number():
    section = wire()
    moment = np.array([0.5, 0.9999, 1.0, 1.5]) * section.plastic_moment_y
    for answer in (curvature, uniform_set):
        values, collapses = answer(section, moment)
        np.testing.assert_array_equal(collapses, [False, False, True, True])
        np.testing.assert_array_equal(np.isnan(values), collapses)


def test_hardening_never_collapses():
    values, collapses = curvature(wire(hardening_ratio=0.01), 3 * wire().plastic_moment_y)
    assert not collapses
    assert np.isfinite(values)


def test_collapse_of_one_member_leaves_the_others_alone():
    section = plastic_round(outer_diameter=np.array([1e-3, 2e-3, 3e-3]), **ALUMINIUM)
    stations = np.linspace(0, 0.2, 9)
    moment = -0.1 * (0.2 - stations)
    result = lasting_set(section, stations=stations, moment_y=moment)
    np.testing.assert_array_equal(result.collapses, [True, False, False])
    np.testing.assert_array_equal(result.sets, [True, False, False])
    assert np.isnan(result.displacement_z[0]).all()
    assert np.isnan(result.peak_strain[0])
    # The others stay elastic: M over E times pi d^3/32, at the root.
    elastic = 0.02 / (ALUMINIUM["youngs_modulus"] * np.pi * np.array([2e-3, 3e-3]) ** 3 / 32)
    np.testing.assert_allclose(result.peak_strain[1:], elastic, rtol=1e-9)
    np.testing.assert_array_equal(result.displacement_z[1:], 0.0)


def test_signs_a_moment_about_y_moves_the_tip_along_minus_z():
    section = wire()
    stations = np.linspace(0, 0.1, 5)
    steady = np.full(5, 1.4 * section.yield_moment_y)
    about_y = lasting_set(section, stations=stations, moment_y=steady)
    about_z = lasting_set(section, stations=stations, moment_y=0.0, moment_z=steady)
    assert about_y.displacement_z[-1] < 0 < about_y.rotation_y[-1]
    assert about_z.displacement_y[-1] > 0
    assert about_z.rotation_z[-1] > 0
    np.testing.assert_allclose(about_y.tip_displacement, about_z.tip_displacement)
    # Constant curvature: an arc, rise kappa L^2 / 2, end slope kappa L.
    kappa, _ = uniform_set(section, steady[0])
    np.testing.assert_allclose(about_y.displacement_z, -kappa * stations**2 / 2, rtol=1e-12)
    np.testing.assert_allclose(about_y.rotation_y[-1], kappa * 0.1, rtol=1e-12)


def test_round_set_follows_the_direction_of_the_moment():
    section = wire()
    stations = np.linspace(0, 0.2, 7)
    size = 1.3 * section.yield_moment_y * (1 - stations / 0.2)
    plain = lasting_set(section, stations=stations, moment_y=size)
    turned = lasting_set(section, stations=stations, moment_y=0.6 * size, moment_z=0.8 * size)
    np.testing.assert_allclose(turned.tip_displacement, plain.tip_displacement, rtol=1e-12)
    np.testing.assert_allclose(turned.displacement_z, 0.6 * plain.displacement_z, rtol=1e-12)


def test_flat_section_bent_both_ways_sets_before_either_alone():
    strip = plastic_strip(width=8e-3, thickness=2e-3, **ALUMINIUM)
    stations = np.linspace(0, 0.1, 4)
    alone = 0.8 * np.ones(4)
    for y, z, sets in ((0.8, 0.0, False), (0.0, 0.8, False), (0.8, 0.8, True)):
        result = lasting_set(
            strip,
            stations=stations,
            moment_y=y / 0.8 * alone * strip.yield_moment_y,
            moment_z=z / 0.8 * alone * strip.yield_moment_z,
        )
        assert bool(result.sets) is sets


def test_stations_may_be_coarse_or_fine():
    section = wire(onset_fraction=0.5)
    answers = []
    for count in (2, 5, 40):
        stations = np.linspace(0, 0.2, count)
        moment = 1.5 * section.yield_moment_y * (1 - stations / 0.2)
        answers.append(lasting_set(section, stations=stations, moment_y=moment).tip_displacement)
    # One span over all holds the corner at the proof stress to 1e-4.
    np.testing.assert_allclose(answers, answers[-1], rtol=1e-4)


def test_point_on_the_prop_moves_with_the_tip():
    section = wire()
    stations = np.linspace(0, 0.2, 5)
    result = lasting_set(section, stations=stations, moment_y=1.4 * section.yield_moment_y * np.ones(5))
    moved = set_at_offset(result, [0.05, 0.0, 0.01])
    tilt = result.rotation_y[-1]
    np.testing.assert_allclose(moved, [tilt * 0.01, 0.0, result.displacement_z[-1] - tilt * 0.05])


def test_slipping_wires_share_the_moment():
    three, one = wire(wires=3), wire()
    moment = 1.3 * one.yield_moment_y
    np.testing.assert_allclose(uniform_set(three, 3 * moment)[0], uniform_set(one, moment)[0])


def test_ten_thousand_members_in_one_call():
    diameter = np.linspace(1.2e-3, 4e-3, 10_000)
    section = plastic_round(outer_diameter=diameter, onset_fraction=0.5, **ALUMINIUM)
    stations = np.linspace(0, 0.2, 9)
    result = lasting_set(section, stations=stations, moment_y=0.04 * (1 - stations / 0.2))
    assert result.displacement_z.shape == (10_000, 9)
    tip = result.tip_displacement[~result.collapses]
    # A thicker wire never sets more.
    assert (np.diff(tip) <= 0).all()
    assert result.collapses.any()
    assert (~result.sets).any()


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: plastic_round(outer_diameter=0.0, **ALUMINIUM), "outer_diameter is 0.0"),
        (lambda: plastic_round(outer_diameter=2e-3, wall_thickness=2e-3, **ALUMINIUM), "at most half"),
        (lambda: wire(onset_fraction=1.5), "onset_fraction is 1.5"),
        (lambda: wire(hardening_ratio=-0.1), "hardening_ratio is -0.1"),
        (lambda: wire(onset_fraction=0.5, hardening_ratio=0.5), "no steeper than"),
        (lambda: plastic_strip(width=-1.0, thickness=1e-3, **ALUMINIUM), "width is -1.0"),
        (lambda: curvature(wire(), np.nan), "moment is nan"),
        (lambda: curvature(wire(), 1.0, about="x"), "must be 'y' or 'z'"),
        (lambda: lasting_set(wire(), stations=[0, 0], moment_y=[1, 1]), "rising distances"),
        (lambda: lasting_set(wire(), stations=[0, 1], moment_y=[1, 1, 1]), "each of the 2 stations"),
        (
            lambda: plastic_round(outer_diameter=2e-3, youngs_modulus=1e9, yield_strength=-1.0),
            "yield_strength is -1",
        ),
    ],
)
def test_wrong_input_says_what_is_allowed(call, says):
    with pytest.raises(ArgumentError, match=says):
        call()


def test_offset_needs_three_values():
    result = lasting_set(wire(), stations=[0, 1], moment_y=[0.0, 0.0])
    with pytest.raises(ArgumentError, match="must hold x, y, z"):
        set_at_offset(result, [0.1, 0.2])
