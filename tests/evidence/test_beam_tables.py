"""Settled straight supports against the beam tables of the handbooks.

Cantilever and fixed-ended formulas: W. C. Young, R. G. Budynas, Roark's Formulas for Stress and Strain, 7th
edition, Table 8.1 (shear, moment, slope and deflection formulas for straight beams); the formulas and case
numbers are quoted from memory. Goal: 1e-6 of the closed form. What is found is about 1e-12 in slender wires;
the tolerance of 1e-8 leaves room for rounding where EA L^2/EI is 1e7 and more.
"""

from dataclasses import replace

import numpy as np
import pytest
from rig_builders import GRAVITY, make_prop, make_support, round_line, straight

from rigcheck.mechanics.elements import Order
from rigcheck.mechanics.frame import Frame
from rigcheck.mechanics.sections import combined_stress, solid_round
from rigcheck.mechanics.statics import section_forces, settle

pytestmark = pytest.mark.evidence(
    what="Deflection, slope, moment and stress of straight supports",
    source="Roark's Formulas for Stress and Strain, 7th ed., table 8.1 (from memory)",
    serves="check",
)

CLOSE = 1e-8
# Wire to rod, short to long: L/d from 10 to 1000.
SIZES = [(0.5e-3, 0.04), (0.5e-3, 0.5), (1e-3, 1.0), (3e-3, 0.18), (6e-3, 0.06), (10e-3, 0.1), (10e-3, 1.0)]
SLENDER = Order(shear=None)


@pytest.fixture(params=SIZES, ids=lambda size: f"{size[0] * 1e3:g}mm-{size[1] * 1e3:g}mm")
def size(request):
    return request.param


def solved(line, length, *, mass=0.0, reach=0.0, order=SLENDER, own=True, root=np.inf):
    """A horizontal wire along +x under its weight, first-order theory; own=False leaves the wire's mass
    out."""
    line = (
        line
        if own
        else replace(line, mass_per_length=0.0, rotary_inertia_y=0, rotary_inertia_z=0, polar_inertia=0)
    )
    support, prop = straight(line, length, mass=mass, reach=reach, root_stiffness=(np.inf, root, root))
    frame = Frame([support], prop, order)
    settled = settle(frame, frame.inertial_load([0, -GRAVITY, 0]), load_stiffens=False)
    return frame, settled


def test_end_load(size):
    """Case 1a, load at the free end: y = W L^3/3EI, slope W L^2/2EI, M = W L."""
    diameter, L = size
    line = round_line(diameter)
    W, EI = 0.2 * GRAVITY, line.bending_stiffness_z
    frame, settled = solved(line, L, mass=0.2, own=False)
    assert -settled.state[0, 1] == pytest.approx(W * L**3 / (3 * EI), rel=CLOSE)
    assert -settled.state[0, 5] == pytest.approx(W * L**2 / (2 * EI), rel=CLOSE)
    assert settled.root_moment[0][0, 2] == pytest.approx(W * L, rel=CLOSE)
    assert settled.root_force[0][0, 1] == pytest.approx(W, rel=CLOSE)
    along = np.array([0.0, 0.3, 1.0])
    moment = section_forces(frame, settled.state, along)[0].moment_z[0]
    np.testing.assert_allclose(moment, -W * L * (1 - along), rtol=CLOSE, atol=CLOSE * W * L)


def test_uniform_load(size):
    """Case 2a over the whole length: y = w L^4/8EI, slope w L^3/6EI, M = w L^2/2."""
    diameter, L = size
    line = round_line(diameter)
    w, EI = line.mass_per_length * GRAVITY, line.bending_stiffness_z
    _, settled = solved(line, L)
    assert -settled.state[0, 1] == pytest.approx(w * L**4 / (8 * EI), rel=CLOSE)
    assert -settled.state[0, 5] == pytest.approx(w * L**3 / (6 * EI), rel=CLOSE)
    assert settled.root_moment[0][0, 2] == pytest.approx(w * L**2 / 2, rel=CLOSE)


def test_end_couple(size):
    """Cases 1a and 3a together: a weight `a` beyond the tip is a load W and a couple W a at the tip.

    Case 3a: y = M0 L^2/2EI, slope M0 L/EI. The centre of mass moves by the tip's movement and a times its
    slope.
    """
    diameter, L = size
    line, a = round_line(diameter), 0.3 * L
    W, EI = 0.2 * GRAVITY, line.bending_stiffness_z
    _, settled = solved(line, L, mass=0.2, reach=a, own=False)
    tip = W * L**3 / (3 * EI) + W * a * L**2 / (2 * EI)
    slope = W * L**2 / (2 * EI) + W * a * L / EI
    assert -settled.state[0, 5] == pytest.approx(slope, rel=CLOSE)
    assert -settled.state[0, 1] == pytest.approx(tip + a * slope, rel=CLOSE)
    assert settled.root_moment[0][0, 2] == pytest.approx(W * (L + a), rel=CLOSE)


def test_flexible_root(size):
    """A root spring k adds a rigid turn of M/k (derived here)."""
    diameter, L = size
    line = round_line(diameter)
    W, EI = 0.2 * GRAVITY, line.bending_stiffness_z
    k = 2.5 * EI / L
    _, settled = solved(line, L, mass=0.2, own=False, root=k)
    assert -settled.state[0, 1] == pytest.approx(W * L**3 / (3 * EI) + W * L**2 / k, rel=CLOSE)
    assert -settled.state[0, 5] == pytest.approx(W * L**2 / (2 * EI) + W * L / k, rel=CLOSE)


def test_shear_deflection(size):
    """Shear adds W L/kGA for the end load and w L^2/2kGA for the uniform one.

    Roark, 7th edition, section 8.10 (beams of relatively great depth), from memory; there F = 1/k.
    """
    diameter, L = size
    line = round_line(diameter)
    W, w = 0.2 * GRAVITY, line.mass_per_length * GRAVITY
    EI, shear = line.bending_stiffness_z, line.shear_stiffness_y
    expected = W * L**3 / (3 * EI) + w * L**4 / (8 * EI) + W * L / shear + w * L**2 / (2 * shear)
    _, settled = solved(line, L, mass=0.2, order=Order())
    assert -settled.state[0, 1] == pytest.approx(expected, rel=CLOSE)
    # The section's rotation has no part of shear.
    assert -settled.state[0, 5] == pytest.approx(W * L**2 / (2 * EI) + w * L**3 / (6 * EI), rel=CLOSE)


@pytest.mark.parametrize(
    "order", [Order(bending=2, shear=1, axial=1, torsion=1), Order()], ids=["least", "default"]
)
def test_the_least_order_is_exact_under_weight(order):
    """End load and weight together ask for a quartic; the least order named in `Order` has it."""
    line, L = round_line(3e-3), 0.18
    W, w, EI = 0.31 * GRAVITY, line.mass_per_length * GRAVITY, line.bending_stiffness_z
    expected = W * L**3 / (3 * EI) + w * L**4 / (8 * EI)
    expected += (W * L + w * L**2 / 2) / line.shear_stiffness_y
    _, settled = solved(line, L, mass=0.31, order=order)
    assert -settled.state[0, 1] == pytest.approx(expected, rel=CLOSE)


def test_stress_at_the_root(size):
    """Round section in bending: 32 M/(pi d^3), Roark chapter 8 (flexure formula)."""
    diameter, L = size
    line = round_line(diameter)
    frame, settled = solved(line, L, mass=0.05, order=Order())
    forces = section_forces(frame, settled.state, np.array([0.0]))[0]
    stress = combined_stress(
        solid_round(np.array([diameter])), moment_y=forces.moment_y[:, 0], moment_z=forces.moment_z[:, 0]
    )
    moment = 0.05 * GRAVITY * L + line.mass_per_length * GRAVITY * L**2 / 2
    assert stress.equivalent[0] == pytest.approx(32 * moment / (np.pi * diameter**3), rel=1e-6)


def test_stretch_and_twist(size):
    """P L/EA under an end load and rho g L^2/2E by own weight (hanging); twist T L/GJ, J = pi d^4/32.

    Roark, 7th edition, chapter 7 (tension) and Table 10.1 case 1 (torsion of a solid circle), from memory.
    """
    diameter, L = size
    line = round_line(diameter)
    support, prop = straight(line, L, mass=0.2, along=(0, -1, 0))
    frame = Frame([support], prop)
    settled = settle(frame, frame.inertial_load([0, -GRAVITY, 0]), load_stiffens=False)
    expected = (0.2 * GRAVITY * L + line.mass_per_length * GRAVITY * L**2 / 2) / line.axial_stiffness
    assert -settled.state[0, 1] == pytest.approx(expected, rel=CLOSE)

    support = make_support([[0, 0, 0], [L, 0, 0]], line)
    frame = Frame([support], make_prop(0.2, [L, 0, 0.02]))
    settled = settle(frame, frame.inertial_load([0, -GRAVITY, 0]), load_stiffens=False)
    assert settled.state[0, 3] == pytest.approx(
        0.2 * GRAVITY * 0.02 * L / (77e9 * np.pi / 32 * diameter**4), rel=CLOSE
    )


# -- two supports in line: the beams with both ends held ----------------------------------------------------


def between(line, length, root, mass):
    """A beam from end to end with a point mass at mid length."""
    half, ends = length / 2, (np.inf, root, root)
    supports = [make_support([[side * half, 0, 0], [0, 0, 0]], line, root_stiffness=ends) for side in (-1, 1)]
    frame = Frame(supports, make_prop(mass, [0, 0, 0]), SLENDER)
    return settle(frame, frame.inertial_load([0, -GRAVITY, 0]), load_stiffens=False)


def test_both_ends_fixed(size):
    """Cases 1d and 2d: W L^3/192EI and w L^4/384EI at mid length; end moments W L/8 and w L^2/12."""
    diameter, L = size
    line = round_line(diameter)
    W, w, EI = 0.2 * GRAVITY, line.mass_per_length * GRAVITY, line.bending_stiffness_z
    settled = between(line, L, np.inf, 0.2)
    assert -settled.state[0, 1] == pytest.approx(W * L**3 / (192 * EI) + w * L**4 / (384 * EI), rel=CLOSE)
    assert settled.root_moment[0][0, 2] == pytest.approx(W * L / 8 + w * L**2 / 12, rel=CLOSE)
    assert settled.root_moment[1][0, 2] == pytest.approx(-(W * L / 8 + w * L**2 / 12), rel=CLOSE)


def test_both_ends_simply_supported(size):
    """Cases 1e and 2e: W L^3/48EI and 5 w L^4/384EI at mid length; end slope W L^2/16EI and w L^3/24EI."""
    diameter, L = size
    line = round_line(diameter)
    W, w, EI = 0.2 * GRAVITY, line.mass_per_length * GRAVITY, line.bending_stiffness_z
    settled = between(line, L, 0.0, 0.2)
    assert -settled.state[0, 1] == pytest.approx(W * L**3 / (48 * EI) + 5 * w * L**4 / (384 * EI), rel=CLOSE)
    slope = W * L**2 / (16 * EI) + w * L**3 / (24 * EI)
    # After the prop's six come the first root's turns about y and z (that about x is held).
    assert -settled.state[0, 7] == pytest.approx(slope, rel=CLOSE)
