"""Plastic bending against handbook results and against a fibre model that knows nothing of the formulas."""

import numpy as np
import pytest
from scipy.integrate import cumulative_simpson, quad
from scipy.optimize import brentq
from uniform_bends import uniform_set

from rigcheck.mechanics.plasticity import (
    bending_moment,
    curvature,
    lasting_set,
    plastic_round,
    plastic_strip,
)

pytestmark = pytest.mark.evidence(
    what="Bend that stays: elastic-plastic sections",
    source="Chakrabarty, Hodge (from memory); an independent fibre model",
    serves="check",
)

E, RP = 70e9, 30e6


def shapes(**law):
    """Section, half depth and width at a distance from the axis."""
    R, r, b, h = 1.5e-3, 1.1e-3, 6e-3, 2e-3
    law = {"youngs_modulus": E, "yield_strength": RP, **law}

    def chord(radius):
        return lambda z: 2 * np.sqrt(np.maximum(radius**2 - z**2, 0.0))

    return {
        "round": (plastic_round(outer_diameter=2 * R, **law), R, chord(R)),
        "tube": (
            plastic_round(outer_diameter=2 * R, wall_thickness=R - r, **law),
            R,
            lambda z: chord(R)(z) - chord(r)(z),
        ),
        "strip": (plastic_strip(width=b, thickness=h, **law), h / 2, lambda z: b + 0 * z),
    }


def trilinear(strain, onset, hardening=0.0):
    """Stress of the law as its docstring tells it, drawn through its corner points."""
    first = onset * RP / E
    second = RP / E + (0.002 if onset < 1 else 0.0)
    far = 10.0
    corners = [0.0, first, second, far]
    stress = [0.0, onset * RP, RP, RP + hardening * E * (far - second)]
    return np.sign(strain) * np.interp(np.abs(strain), corners, stress)


def fibres(half, width, count=40_000):
    edges = np.linspace(-half, half, count + 1)
    z = 0.5 * (edges[1:] + edges[:-1])
    return z, width(z) * np.diff(edges)


def test_shape_factors():
    """16 / (3 pi), (16/3pi)(1 - m^3)/(1 - m^4), 1.5: Chakrabarty, Theory of Plasticity (from memory)."""
    known = shapes()
    np.testing.assert_allclose(known["round"][0].shape_factor, 16 / (3 * np.pi), rtol=1e-14)
    np.testing.assert_allclose(known["strip"][0].shape_factor, 1.5, rtol=1e-14)
    m = 1.1 / 1.5
    tube_factor = 16 / (3 * np.pi) * (1 - m**3) / (1 - m**4)
    np.testing.assert_allclose(known["tube"][0].shape_factor, tube_factor, rtol=1e-14)
    # The materials data, section 1.4: solid 1.70, thin tube 1.27 (4/pi).
    thin = plastic_round(outer_diameter=1.0, wall_thickness=1e-4, youngs_modulus=E, yield_strength=RP)
    np.testing.assert_allclose(thin.shape_factor, 4 / np.pi, rtol=2e-4)


@pytest.mark.parametrize("name", ["round", "tube", "strip"])
@pytest.mark.parametrize(("onset", "hardening"), [(1.0, 0.0), (1.0, 0.02), (0.5, 0.0), (0.5, 0.01)])
def test_moment_against_fibres(name, onset, hardening):
    section, half, width = shapes(onset_fraction=onset, hardening_ratio=hardening)[name]
    z, area = fibres(half, width)
    for ratio in (0.3, 1.0, 1.2, 2.0, 5.0, 20.0, 80.0):
        kappa = ratio * onset * RP / E / half
        expected = np.sum(trilinear(kappa * z, onset, hardening) * z * area)
        # Midpoint fibres of 1/20000 of the half depth, a corner in the stress and a vertical end of a circle.
        np.testing.assert_allclose(bending_moment(section, kappa), expected, rtol=2e-6)


@pytest.mark.parametrize("name", ["round", "tube", "strip"])
@pytest.mark.parametrize("onset", [1.0, 0.5, 0.3])
def test_spring_back_against_unloading_every_fibre(name, onset):
    """Each fibre is two elastic-perfectly-plastic springs side by side; unload until the moment is gone.

    At onset 0.3 and high load the surface yields backwards in unloading, which a plain M / EI would miss.
    """
    section, half, width = shapes(onset_fraction=onset)[name]
    z, area = fibres(half, width, 4000)
    first, second = onset * RP / E, RP / E + (0.002 if onset < 1 else 0.0)
    line = (1 - onset) * RP / ((1 - onset) * RP / E + 0.002) if onset < 1 else 0.0
    springs = [(E - line, first), (line, second)]
    missed = []
    for share in (0.5, 0.7, 0.9, 0.97):
        moment = share * float(section.plastic_moment_y)
        loaded, _ = curvature(section, moment)
        stress_loaded = [k * np.clip(loaded * z, -limit, limit) for k, limit in springs]

        def left_over(kappa, stress_loaded=stress_loaded, loaded=loaded):
            total = np.zeros_like(z)
            for (k, limit), stress in zip(springs, stress_loaded, strict=True):
                total += np.clip(stress + k * (kappa - loaded) * z, -k * limit, k * limit)
            return float(np.sum(total * z * area))

        expected = brentq(left_over, -loaded, loaded, xtol=1e-14)
        stays, _ = uniform_set(section, moment)
        # 4000 fibres carry the moment to 1e-6; the difference of two curvatures magnifies that.
        np.testing.assert_allclose(stays, expected, rtol=2e-4, atol=2e-6 * float(loaded))
        missed.append(abs(loaded - moment / section.bending_stiffness_y - expected) / loaded)
    if onset == 0.3:
        assert max(missed) > 0.02


def test_tip_loaded_rectangle_against_the_closed_form():
    """Elastic-plastic cantilever of rectangular section under a tip load P, first yield at P_y.

    delta / delta_y = (P_y / P)^2 [5 - (3 + P / P_y) sqrt(3 - 2 P / P_y)], up to 20/9 at collapse: Prager and
    Hodge, Theory of Perfectly Plastic Solids (from memory). Set is that less the elastic P / P_y.
    """
    section, _, _ = shapes()["strip"]
    L = 0.2
    load = np.array([1.0, 1.1, 1.25, 1.4, 1.49])
    stations = np.linspace(0, L, 6)
    moment = load[:, None] * section.yield_moment_y * (1 - stations / L)
    result = lasting_set(section, stations=stations, moment_y=moment)
    first = section.yield_moment_y * L**2 / (3 * section.bending_stiffness_y)
    known = (5 - (3 + load) * np.sqrt(3 - 2 * load)) / load**2 - load
    # 16 Gauss points a span: 1e-6 short of the hinge.
    np.testing.assert_allclose(-result.displacement_z[:, -1] / first, known, rtol=1e-6, atol=1e-14)
    # At the hinge itself the loaded deflection is 20/9 of first yield; 1.4999 / 1.5 is near enough for 2 %.
    near = lasting_set(section, stations=stations, moment_y=1.4999 / 1.5 * moment[3] * 1.5 / 1.4)
    np.testing.assert_allclose(near.tip_displacement / first + 1.5, 20 / 9, rtol=0.02)


@pytest.mark.parametrize("onset", [1.0, 0.5])
def test_round_cantilever_against_integrating_the_curve(onset):
    """Permanent shape by Simpson's rule twice over the curvature that stays, moment from weight and tip load."""
    section, _, _ = shapes(onset_fraction=onset)["round"]
    L = 0.25
    stations = np.linspace(0, L, 41)

    def moment(s):
        share = 0.7 * (1 - s / L) + 0.3 * (1 - s / L) ** 2
        return 0.95 * float(section.plastic_moment_y) * share

    result = lasting_set(section, stations=stations, moment_y=moment(stations))

    fine = np.linspace(0, L, 4001)
    kappa, _ = uniform_set(section, moment(fine))
    rotation = cumulative_simpson(kappa, x=fine, initial=0.0)
    rise = cumulative_simpson(rotation, x=fine, initial=0.0)
    np.testing.assert_allclose(result.rotation_y[-1], rotation[-1], rtol=1e-3)
    # Straight moments between 41 stations in place of a parabola: about (1/40)^2 / 8 of the moment, magnified
    # near the hinge.
    np.testing.assert_allclose(-result.displacement_z[-1], rise[-1], rtol=1e-3)


def test_energy_of_a_load_cycle_is_never_negative():
    """Work in less work out over a full cycle is what the metal keeps: the loop area, from the curves."""
    section, _, _ = shapes(onset_fraction=0.5)["tube"]
    top = 0.95 * float(section.plastic_moment_y)
    loaded, _ = curvature(section, top)
    work_in, _ = quad(lambda k: float(bending_moment(section, k)), 0, float(loaded), limit=200)
    stays, _ = uniform_set(section, top)
    # Unloading is the loading curve doubled (Masing): M = top - 2 m((loaded - k) / 2).
    work_out, _ = quad(
        lambda k: top - 2 * float(bending_moment(section, (loaded - k) / 2)),
        float(stays),
        float(loaded),
        limit=200,
    )
    assert 0 < work_out < work_in
    # The unloading curve ends at zero moment at the residual curvature.
    end = top - 2 * bending_moment(section, (loaded - stays) / 2)
    np.testing.assert_allclose(end / top, 0, atol=1e-12)


def test_soft_wire_of_the_materials_data_begins_to_set():
    """1100-O, 2 mm, 200 mm arm: 13.6 g reaches Rp0.2 (materials data 1.4); at onset 0.5 that is 6.8 g."""
    section = plastic_round(
        outer_diameter=2e-3, youngs_modulus=68.9e9, yield_strength=34e6, onset_fraction=0.5
    )
    stations = np.linspace(0, 0.2, 9)
    grams = np.array([6.7, 6.9, 13.6])
    moment = grams[:, None] * 1e-3 * 9.80665 * (0.2 - stations)
    result = lasting_set(section, stations=stations, moment_y=moment)
    np.testing.assert_array_equal(result.sets, [False, True, True])
    assert result.tip_displacement[0] == 0
    assert result.tip_displacement[2] > 1e-3
