"""Section properties against published tables, finite elements and direct integration."""

import numpy as np
import pytest

from rigcheck.mechanics.sections import (
    coarse_pitch,
    combined_stress,
    solid_round,
    strand,
    strand_pattern,
    strip,
    threaded,
    tube,
)

pytestmark = pytest.mark.evidence(
    what="Sections: round, tube, strip, strand, thread",
    source="Timoshenko and Goodier, Cowper (1966) (from memory); ISO 898-1 stress areas; scikit-fem",
    serves="check",
)


@pytest.mark.parametrize(
    ("ratio", "stiffness", "strength"),
    # Timoshenko and Goodier, Theory of Elasticity, torsion of rectangular bars: J = k1 a b^3, W = k2 a b^2
    # (from memory, three or four printed digits).
    [
        (1.0, 0.1406, 0.208),
        (1.5, 0.196, 0.231),
        (2.0, 0.229, 0.246),
        (3.0, 0.263, 0.267),
        (4.0, 0.281, 0.282),
        (5.0, 0.291, 0.291),
        (10.0, 0.312, 0.312),
    ],
)
def test_rectangle_torsion_against_the_handbook_table(ratio, stiffness, strength):
    bar = strip(ratio, 1.0)
    # Half a unit of the third printed digit; the table is known to cut 0.1958 and 0.3123 both ways.
    np.testing.assert_allclose(bar.torsion_constant / ratio, stiffness, atol=6e-4)
    np.testing.assert_allclose(bar.torsion_modulus / ratio, strength, atol=6e-4)


@pytest.mark.parametrize("ratio", [1.0, 2.5, 8.0])
def test_rectangle_torsion_against_finite_elements(ratio):
    """Prandtl's stress function by scikit-fem: laplacian = -2, zero on the edge; J = 2 integral."""
    skfem = pytest.importorskip("skfem")
    from skfem.helpers import dot, grad

    mesh = skfem.MeshQuad.init_tensor(np.linspace(-ratio / 2, ratio / 2, 41), np.linspace(-0.5, 0.5, 33))
    basis = skfem.Basis(mesh, skfem.ElementQuad2())
    stiffness = skfem.BilinearForm(lambda u, v, _: dot(grad(u), grad(v))).assemble(basis)
    load = skfem.LinearForm(lambda v, _: 2.0 * v).assemble(basis)
    phi = skfem.solve(*skfem.condense(stiffness, load, D=basis.get_dofs()))
    torsion_constant = float(load @ phi)
    # Quadratic elements, energy converges with h^4: 33 lines give better than 1e-5.
    np.testing.assert_allclose(strip(ratio, 1.0).torsion_constant, torsion_constant, rtol=2e-5)
    # Largest shear per twist is the slope of phi at the middle of the long side.
    probe = basis.probes(np.array([[0.0, 0.0], [0.5 - 1e-3, 0.5 - 1e-9]]))
    inner, edge = probe @ phi
    slope = (inner - edge) / 1e-3
    # One-sided difference over 1e-3 of the thickness: first order in it.
    np.testing.assert_allclose(torsion_constant / slope, strip(ratio, 1.0).torsion_modulus, rtol=3e-3)


def test_shear_coefficients_against_known_limits():
    """Cowper 1966 (from memory): at nu = 0 circle 6/7, rectangle 5/6; thin tube 2 (1 + nu) / (4 + 3 nu)."""
    np.testing.assert_allclose(solid_round(1.0, 0.0).shear_coefficient_y, 6 / 7)
    np.testing.assert_allclose(strip(1.0, 1.0, 0.0).shear_coefficient_z, 5 / 6)
    nu = np.array([0.0, 0.3, 0.5])
    thin = tube(1.0, 1e-6, nu).shear_coefficient_y
    np.testing.assert_allclose(thin, 2 * (1 + nu) / (4 + 3 * nu), rtol=1e-9)
    # The values usually printed at nu = 0.3, to their three digits.
    np.testing.assert_allclose(solid_round(1.0, 0.3).shear_coefficient_y, 0.886, atol=5e-4)
    np.testing.assert_allclose(strip(1.0, 1.0, 0.3).shear_coefficient_y, 0.850, atol=5e-4)
    np.testing.assert_allclose(thin[1], 0.531, atol=5e-4)


@pytest.mark.parametrize(
    ("nominal", "area"),
    # Stress areas of ISO 898-1 as printed in the vendor's table the materials data cite (S38b), mm^2.
    [(3, 5.03), (4, 8.78), (5, 14.2), (6, 20.1), (8, 36.6), (10, 58.0), (12, 84.3)],
)
def test_threaded_rod_stress_areas(nominal, area):
    # Three printed digits.
    np.testing.assert_allclose(
        threaded(nominal * 1e-3).area * 1e6, area, rtol=0, atol=0.005 * 10 ** (area > 10)
    )


def test_threaded_rod_stiffness_is_half_that_of_a_plain_rod():
    # Ratios of the project's materials data, section 1.4: M3 0.51, M4 0.49, M5 0.52, M6 0.51, M8 0.53.
    d = np.array([3, 4, 5, 6, 8]) * 1e-3
    ratio = threaded(d).second_moment_y / solid_round(d).second_moment_y
    np.testing.assert_allclose(ratio, [0.51, 0.49, 0.52, 0.51, 0.53], atol=0.005)
    # ISO 898-1 writes the stress diameter d - 0.9382 p.
    stress_diameter = np.sqrt(4 * threaded(d).area / np.pi)
    np.testing.assert_allclose(stress_diameter, d - 0.9382 * coarse_pitch(d), rtol=5e-6)


@pytest.mark.parametrize("wires", [3, 7, 12])
def test_bonded_strand_against_direct_integration(wires):
    """Area and second moments by counting grid cells inside the wires."""
    centres = np.array(strand_pattern(wires))
    reach = np.abs(centres).max() + 0.5
    line = np.linspace(-reach, reach, 1201)
    y, z = np.meshgrid(line, line)
    inside = np.zeros(y.shape, dtype=bool)
    for cy, cz in centres:
        inside |= (y - cy) ** 2 + (z - cz) ** 2 < 0.25
    cell = (line[1] - line[0]) ** 2
    cable = strand(1.0, wires, 1.0)
    # Cells cut by the rim: 1 part in 1000.
    np.testing.assert_allclose(cable.area, inside.sum() * cell, rtol=2e-3)
    polar = np.sum((y**2 + z**2)[inside]) * cell
    np.testing.assert_allclose(cable.polar_moment, polar, rtol=2e-3)
    np.testing.assert_allclose(cable.second_moment_y + cable.second_moment_z, polar, rtol=2e-3)
    far = np.sqrt((y**2 + z**2)[inside].max())
    np.testing.assert_allclose(cable.outer_y, far, rtol=5e-3)


def test_tube_transverse_shear_against_the_shear_formula():
    """tau = V Q / (I b) at the neutral axis: Q and b of the half ring, from first principles."""
    R, t = 4e-3, 1.1e-3
    r = R - t
    half_moment = 2 / 3 * (R**3 - r**3)
    ring = tube(2 * R, t)
    expected = half_moment / (ring.second_moment_y * 2 * t)
    np.testing.assert_allclose(ring.shear_peak_factor / ring.area, expected, rtol=1e-12)


def test_round_equivalent_stress_against_a_search_of_the_perimeter():
    """Stress tensor at 3600 places of the rim of a shaft under axial force, two moments and torque."""
    shaft = tube(6e-3, 1e-3)
    forces = {"axial_force": 30.0, "moment_y": 0.4, "moment_z": -0.7, "torque": 0.5}
    angle = np.linspace(0, 2 * np.pi, 3600, endpoint=False)
    y, z = 3e-3 * np.cos(angle), 3e-3 * np.sin(angle)
    sigma = 30.0 / shaft.area + 0.4 * z / shaft.second_moment_y - (-0.7) * y / shaft.second_moment_z
    tau = 0.5 * 3e-3 / shaft.torsion_constant
    von_mises = np.sqrt(sigma**2 + 3 * tau**2).max()
    # The search misses the peak by at most half a step: 1 - cos(0.05 deg).
    np.testing.assert_allclose(combined_stress(shaft, **forces).equivalent, von_mises, rtol=1e-6)


def test_worked_numbers_of_the_materials_data():
    """100 g on 300 mm of 2 mm wire is 375 MPa; 1100-O reaches 34 MPa at 5.7, 13.6, 46 g on 200 mm."""
    # Section 1.4 of the materials data, derived there; three printed digits.
    wire = combined_stress(solid_round(2e-3), moment_y=0.1 * 9.80665 * 0.3)
    np.testing.assert_allclose(wire.equivalent / 1e6, 375, rtol=2e-3)
    d = np.array([1.5e-3, 2e-3, 3e-3])
    grams = 34e6 * solid_round(d).section_modulus_y / (9.80665 * 0.2) * 1e3
    np.testing.assert_allclose(grams, [5.7, 13.6, 46], rtol=8e-3)
