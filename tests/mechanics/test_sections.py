"""Sections: identities, limits, batching and messages. Published values are in tests/evidence."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigcheck.errors import ArgumentError
from rigcheck.mechanics.sections import (
    Section,
    coarse_pitch,
    combined_stress,
    sleeved,
    solid_round,
    strand,
    strand_pattern,
    strip,
    threaded,
    tube,
)

# Formulas on both sides: only rounding may differ.
ROUNDING = 1e-12

GEOMETRY = (
    "area",
    "second_moment_y",
    "second_moment_z",
    "torsion_constant",
    "polar_moment",
    "shear_coefficient_y",
    "shear_coefficient_z",
    "outer_y",
    "outer_z",
    "torsion_modulus",
    "shear_peak_factor",
)


def assert_same(first: Section, second: Section, rtol: float = ROUNDING) -> None:
    for name in GEOMETRY:
        np.testing.assert_allclose(getattr(first, name), getattr(second, name), rtol=rtol, err_msg=name)


def test_tube_with_the_wall_of_its_radius_is_a_solid_round():
    assert_same(tube(6e-3, 3e-3), solid_round(6e-3))


def test_tube_in_inches_may_be_solid_to_rounding():
    assert_same(tube(0.25 * 0.0254, 0.125 * 0.0254), solid_round(0.25 * 0.0254))


def test_thin_tube_tends_to_the_thin_ring():
    R, t = 5e-3, 1e-7
    thin = tube(2 * R, t)
    # First order in t / R = 2e-5.
    np.testing.assert_allclose(thin.second_moment_y, np.pi * R**3 * t, rtol=5e-5)
    np.testing.assert_allclose(thin.shear_peak_factor, 2.0, rtol=5e-5)


def test_tube_is_the_round_less_its_bore():
    whole, bore, ring = solid_round(6e-3), solid_round(4e-3), tube(6e-3, 1e-3)
    for name in ("area", "second_moment_y", "torsion_constant", "polar_moment"):
        np.testing.assert_allclose(
            getattr(ring, name), getattr(whole, name) - getattr(bore, name), rtol=1e-12
        )


def test_strip_axes_width_along_y_thickness_along_z():
    flat = strip(12e-3, 1e-3)
    # Limber about y (bends along z, through the thickness), stiff about z.
    np.testing.assert_allclose(flat.second_moment_y, 12e-3 * 1e-9 / 12)
    np.testing.assert_allclose(flat.second_moment_z, 1e-3 * (12e-3) ** 3 / 12)
    np.testing.assert_allclose((flat.outer_y, flat.outer_z), (6e-3, 0.5e-3))
    np.testing.assert_allclose(flat.section_modulus_y, 12e-3 * 1e-6 / 6)
    np.testing.assert_allclose(flat.section_modulus_z, 1e-3 * 144e-6 / 6)


def test_strip_turned_on_its_side_swaps_its_axes():
    flat, upright = strip(12e-3, 1e-3), strip(1e-3, 12e-3)
    np.testing.assert_allclose(flat.second_moment_y, upright.second_moment_z)
    np.testing.assert_allclose(flat.torsion_constant, upright.torsion_constant)
    np.testing.assert_allclose(flat.torsion_modulus, upright.torsion_modulus)


@pytest.mark.parametrize("make", [solid_round, lambda d: tube(d, 0.2 * d), lambda d: strip(d, 0.3 * d)])
@given(size=st.floats(1e-4, 1e-1), scale=st.floats(0.01, 100))
def test_scaling_laws(make, size, scale):
    small, large = make(size), make(size * scale)
    power = {"area": 2, "second_moment_y": 4, "torsion_constant": 4, "torsion_modulus": 3, "outer_z": 1}
    for name, exponent in power.items():
        np.testing.assert_allclose(getattr(large, name), getattr(small, name) * scale**exponent, rtol=1e-9)


def test_millimetres_and_inches_agree():
    assert_same(tube(0.25 * 25.4e-3, 0.028 * 25.4e-3), tube(6.35e-3, 0.7112e-3))


def test_strand_pattern_wires_touch_and_do_not_overlap():
    for wires in (2, 3, 4, 5, 6, 7, 12, 19, 37, 169):
        points = np.array(strand_pattern(wires))
        assert points.shape == (wires, 2)
        np.testing.assert_allclose(points.mean(axis=0), 0, atol=1e-12)
        gap = np.linalg.norm(points[:, None] - points[None], axis=-1) + 10 * np.eye(wires)
        np.testing.assert_allclose(gap.min(axis=1), 1.0, rtol=1e-12)


def test_strand_of_one_is_a_wire():
    assert_same(strand(1e-3, 1, 0.0), solid_round(1e-3))
    assert_same(strand(1e-3, 1, 1.0), solid_round(1e-3))


def test_slipping_strand_is_that_many_wires():
    seven, one = strand(1e-3, 7, 0.0), solid_round(1e-3)
    np.testing.assert_allclose(seven.second_moment_y, 7 * one.second_moment_y)
    np.testing.assert_allclose(seven.torsion_constant, 7 * one.torsion_constant)
    # Each wire takes a seventh: the stress at the same moment is a seventh.
    np.testing.assert_allclose(seven.section_modulus_y, 7 * one.section_modulus_y)


def test_bonded_strand_of_seven_by_hand():
    # Derived here: six wires at one diameter: sum of y^2 is 3 d^2. I = 7 pi d^4/64 + 3 d^2 pi d^2/4.
    d = 1e-3
    np.testing.assert_allclose(strand(d, 7, 1.0).second_moment_y, (7 / 64 + 3 / 4) * np.pi * d**4)
    np.testing.assert_allclose(strand(d, 7, 1.0).outer_y, 1.5 * d)


def test_strand_is_linear_in_the_bond_and_its_mass_moment_is_not():
    bonds = np.array([0.0, 0.5, 1.0])
    cable = strand(1e-3, 19, bonds)
    np.testing.assert_allclose(cable.second_moment_y[1], cable.second_moment_y[[0, 2]].mean())
    np.testing.assert_allclose(cable.polar_moment, cable.polar_moment[0])


def test_strand_takes_mixed_counts_in_one_batch():
    both = strand([1e-3, 1e-3], [7, 19], 1.0)
    np.testing.assert_allclose(both.area, [strand(1e-3, n).area for n in (7, 19)])


def test_a_thread_is_known_by_its_caliper_size_too():
    # ISO 965-1, class 6g: M6 measures 5.79 to 5.97 mm (from memory).
    assert coarse_pitch([6e-3, 5.97e-3, 5.79e-3]) == pytest.approx(1e-3)
    assert threaded(5.8e-3).area < threaded(6e-3).area
    with pytest.raises(ArgumentError, match="coarse threads are known"):
        coarse_pitch(6.5e-3)


def test_threaded_with_a_given_pitch_and_without():
    assert_same(threaded(6e-3), threaded(6e-3, pitch=1e-3))
    assert threaded([3e-3, 12e-3]).shape == (2,)
    assert threaded(6e-3).area < solid_round(6e-3).area


def test_batches_broadcast_and_trailing_axes_join_stations():
    tubes = tube(np.linspace(3e-3, 8e-3, 4)[:, None], np.array([0.5e-3, 1e-3]))
    assert tubes.shape == (4, 2)
    assert tubes.is_round.shape == (4, 2)
    per_station = tubes.with_trailing_axes()
    state = combined_stress(per_station, moment_y=np.ones(7))
    assert state.normal.shape == (4, 2, 7)


def test_sleeve_of_the_same_metal_is_the_thicker_rod():
    steel = {"youngs_modulus": 200e9, "shear_modulus": 80e9, "density": 7850.0}
    both = sleeved(
        solid_round(3e-3),
        tube(5e-3, 1e-3),
        **{f"{part}_{key}": value for part in ("core", "sleeve") for key, value in steel.items()},
    )
    rod = solid_round(5e-3)
    np.testing.assert_allclose(both.axial_stiffness, 200e9 * rod.area)
    np.testing.assert_allclose(both.bending_stiffness_y, 200e9 * rod.second_moment_y)
    np.testing.assert_allclose(both.bending_stiffness_z, 200e9 * rod.second_moment_z)
    np.testing.assert_allclose(both.torsional_stiffness, 80e9 * rod.torsion_constant)
    np.testing.assert_allclose(both.mass_per_length, 7850 * rod.area)
    np.testing.assert_allclose(both.polar_inertia_per_length, 7850 * rod.polar_moment)
    core, sleeve = both.combined_stress(axial_force=20.0, moment_y=0.5, moment_z=0.2, torque=0.3)
    whole = combined_stress(rod, axial_force=20.0, moment_y=0.5, moment_z=0.2, torque=0.3)
    np.testing.assert_allclose(sleeve.equivalent, whole.equivalent)
    assert core.equivalent < sleeve.equivalent


def test_sleeve_shares_add_to_one_and_strain_is_shared():
    both = sleeved(
        solid_round(3e-3),
        tube(4e-3, 0.45e-3),
        core_youngs_modulus=200e9,
        sleeve_youngs_modulus=110e9,
        core_shear_modulus=80e9,
        sleeve_shear_modulus=41e9,
        core_density=7850,
        sleeve_density=8530,
    )
    for name in ("axial", "bending_y", "bending_z", "torsion", "shear_y", "shear_z"):
        np.testing.assert_allclose(getattr(both.core_share, name) + getattr(both.sleeve_share, name), 1.0)
    core, sleeve = both.combined_stress(moment_y=0.5)
    # Plane sections: strain over distance from the axis is the same in both.
    np.testing.assert_allclose(core.normal / 200e9 / 1.5e-3, sleeve.normal / 110e9 / 2e-3)


def test_round_stress_does_not_depend_on_the_direction_of_bending():
    angle = np.linspace(0, 2 * np.pi, 13)
    state = combined_stress(solid_round(2e-3), moment_y=np.cos(angle), moment_z=np.sin(angle))
    np.testing.assert_allclose(state.normal, 32 / (np.pi * (2e-3) ** 3), rtol=1e-12)


def test_flat_stress_adds_at_the_corner():
    state = combined_stress(strip(10e-3, 2e-3), axial_force=-100.0, moment_y=0.1, moment_z=-0.2)
    corner = 100 / 20e-6 + 0.1 / (10e-3 * 4e-6 / 6) + 0.2 / (2e-3 * 100e-6 / 6)
    np.testing.assert_allclose(state.normal, corner)


def test_transverse_shear_governs_only_in_a_stub():
    rod = solid_round(4e-3)
    stub = combined_stress(rod, moment_y=1e-3, shear_z=100.0)
    np.testing.assert_allclose(stub.shear, 4 / 3 * 100 / rod.area)
    np.testing.assert_allclose(stub.equivalent, np.sqrt(3) * stub.shear)
    slender = combined_stress(rod, moment_y=10.0, shear_z=100.0)
    np.testing.assert_allclose(slender.equivalent, slender.normal)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: solid_round(-1e-3), "diameter is -0.001"),
        (lambda: solid_round([1e-3, np.nan]), "positive and finite"),
        (lambda: solid_round(1e-3, 0.6), "poissons_ratio is 0.6"),
        (lambda: tube(4e-3, 2.1e-3), "at most half the outer diameter"),
        (lambda: strip(0.0, 1e-3), "width is 0.0"),
        (lambda: strand(1e-3, 7, 1.2), "from 0 .slipping. to 1 .bonded."),
        (lambda: strand(1e-3, 7.5), "whole number of wires"),
        (lambda: strand(1e-3, 0), "1 to 169 wires"),
        (lambda: threaded(9e-3), "coarse threads are known for M1.6, M2"),
        (lambda: threaded(2e-3, pitch=3e-3), "no core is left"),
        (
            lambda: sleeved(
                solid_round(1e-3),
                tube(2e-3, 0.4e-3),
                core_youngs_modulus=0.0,
                sleeve_youngs_modulus=1e9,
                core_shear_modulus=1e9,
                sleeve_shear_modulus=1e9,
                core_density=1e3,
                sleeve_density=1e3,
            ),
            "core_youngs_modulus is 0.0",
        ),
    ],
)
def test_wrong_input_says_what_is_allowed(call, says):
    with pytest.raises(ArgumentError, match=says):
        call()


def test_pull_and_shear_meet_at_the_neutral_axis():
    """Away from bending, sigma = F / A and tau = 4 V / (3 A) in a round section: sqrt(sigma^2 + 3 tau^2)."""
    section = solid_round(3e-3)
    area = np.pi * 3e-3**2 / 4
    pull, shear = 30.0, 90.0
    state = combined_stress(section, axial_force=pull, shear_y=shear)
    expected = np.sqrt((pull / area) ** 2 + 3 * (4 * shear / (3 * area)) ** 2)
    assert state.equivalent == pytest.approx(expected, rel=1e-12)
