"""Vertical supports: weight stiffens a hanging wire and softens a standing one until it buckles.

The tension varies along the wire with its own weight. References: initial value solutions of the differential
equations (`exact_beams`), Bessel functions for the chain without stiffness and for the column under its own
weight (A. G. Greenhill, 1881), Airy functions for weight of prop and wire together, Euler's columns.
"""

from dataclasses import replace

import numpy as np
import pytest
from exact_beams import Beam, zeros
from rig_builders import GRAVITY, make_prop, make_support, round_line, straight
from scipy.optimize import brentq
from scipy.special import airy, j0, j1, jn_zeros, jv, y0, y1

from rigcheck.mechanics.elements import Order
from rigcheck.mechanics.frame import Frame
from rigcheck.mechanics.modes import natural_modes
from rigcheck.mechanics.statics import settle

pytestmark = pytest.mark.evidence(
    what="Hanging, standing and buckling supports under weight",
    source="Euler; Greenhill (1881); Bessel and Airy functions; initial value solutions",
    serves="check",
)

GOAL = 1e-4
WEIGHT = np.array([0.0, -GRAVITY, 0.0])


def figures(support, prop, order=None):
    frame = Frame([support], prop, order)
    settled = settle(frame, frame.inertial_load(WEIGHT))
    return settled, natural_modes(frame, settled.stiffness).angular_frequency[0]


def upright(line, length, *, up, mass, reach=0.0, gyration=0.0, root=np.inf):
    """A wire from its root up or down, its prop, and the same as a `Beam`."""
    inertia = mass * gyration**2
    support, prop = straight(
        line, length, mass=mass, reach=reach, inertia=[inertia] * 3, along=(0, 1 if up else -1, 0),
        root_stiffness=(root, np.inf, root),
    )  # fmt: skip
    pull = -GRAVITY if up else GRAVITY
    beam = Beam(
        flexural_rigidity=line.bending_stiffness_z,
        free_length=length,
        mass_per_length=line.mass_per_length,
        shear_stiffness=line.shear_stiffness_y,
        rotary_inertia=line.rotary_inertia_z,
        mass=mass,
        reach=reach,
        inertia=inertia,
        root_stiffness=root,
        tip_pull=pull * mass,
        own_pull=pull * line.mass_per_length,
    )
    return support, prop, beam


def bending_order(beam):
    """A pull N presses the bends to within sqrt(EI/N) of the ends; found by trial to need this order for
    1e-4."""
    number = beam.tip_pull * beam.free_length**2 / beam.flexural_rigidity
    return Order(bending=max(9, int(np.ceil(2 * max(number, 0.0) ** 0.25))))


@pytest.mark.parametrize(
    ("diameter", "length", "up", "mass", "reach", "gyration", "root"),
    [
        (1e-3, 0.5, False, 0.3, 0.0, 0.0, np.inf),
        (1e-3, 1.0, False, 0.3, 0.05, 0.03, np.inf),
        (1e-3, 0.5, False, 0.3, 0.03, 0.02, 0.05),
        (3e-3, 0.2, False, 0.3, 0.03, 0.02, np.inf),
        (0.5e-3, 1.0, False, 0.002, 0.0, 0.0, np.inf),
        (0.5e-3, 1.0, False, 0.3, 0.02, 0.02, np.inf),
        (3e-3, 0.3, True, 0.3, 0.02, 0.02, np.inf),
        (3e-3, 0.5, True, 0.3, 0.02, 0.02, 40.0),
        (3e-3, 0.7, True, 0.2, 0.02, 0.02, np.inf),
        (10e-3, 1.0, True, 5.0, 0.02, 0.02, np.inf),
    ],
)
def test_first_four_frequencies(diameter, length, up, mass, reach, gyration, root):
    support, prop, beam = upright(
        round_line(diameter), length, up=up, mass=mass, reach=reach, gyration=gyration, root=root
    )
    settled, found = figures(support, prop, bending_order(beam))
    assert settled.stable[0]
    for value in beam.angular_frequencies(4):
        assert np.sum(np.abs(found / value - 1) < GOAL) >= 2, value


def chain(length, mass, *, number=1e8, order=None):
    """A wire without stiffness to speak of, q L^3/EI = number, hinged at its root by a spring just as
    weak."""
    density = 0.01
    flexural = density * GRAVITY * length**3 / number
    line = round_line(1e-3)
    scale = flexural / line.bending_stiffness_z
    line = type(line)(
        axial_stiffness=1e4,
        torsional_stiffness=1e-3,
        bending_stiffness_y=flexural,
        bending_stiffness_z=flexural,
        shear_stiffness_y=1e4,
        shear_stiffness_z=1e4,
        mass_per_length=density,
        rotary_inertia_y=scale * 1e-12,
        rotary_inertia_z=scale * 1e-12,
        polar_inertia=1e-12,
    )
    spring = flexural / length
    support, prop = straight(
        line, length, mass=mass, along=(0, -1, 0), root_stiffness=(spring, np.inf, spring)
    )
    return figures(support, prop, order or Order(bending=14, shear=None, axial=4, torsion=1))[1]


def test_the_hanging_chain():
    """omega = j/2 sqrt(g/L), j the zeros of J0: 2.4048, 5.5201, 8.6537 (D. Bernoulli, 1738, from memory).

    The remaining stiffness, 1e-8 of the weight, and the hinge's spring bring 8e-6 of the third frequency:
    both are in proportion to it.
    """
    found = chain(0.8, 0.0)
    for zero in jn_zeros(0, 3):
        expected = zero / 2 * np.sqrt(GRAVITY / 0.8)
        assert np.sum(np.abs(found / expected - 1) < GOAL) == 2


@pytest.mark.parametrize("ratio", [0.1, 1.0, 20.0])
def test_the_chain_with_a_weight(ratio):
    """w = A J0(2 omega sqrt(s/g)) + B Y0, s = L - x + M/rho A; at the tip omega^2 w = -g dw/ds (derived
    here)."""
    length, density = 0.8, 0.01
    low = ratio * length
    found = chain(length, ratio * density * length)

    def equation(omega):
        def at(s):
            z = 2 * omega * np.sqrt(s / GRAVITY)
            change = omega / np.sqrt(s * GRAVITY)
            return (j0(z), y0(z)), (-j1(z) * change, -y1(z) * change)

        (a, b), (da, db) = at(low)
        (c, d), _ = at(low + length)
        return (omega**2 * a + GRAVITY * da) * d - (omega**2 * b + GRAVITY * db) * c

    for value in zeros(equation, np.arange(0.5, 100 * np.sqrt(1 + ratio), 0.05), 3):
        assert np.sum(np.abs(found / value - 1) < GOAL) == 2


def test_a_pendulum():
    """A bob on a long thin wire swings about a point sqrt(EI/N) below the clamp: omega^2 = g/(L + a - that).

    The first term of the boundary layer at a clamp under a pull N, and the wire's own mass m beside the bob's
    M: a uniform pendulum rod adds m/6M to omega^2 (both derived here). The square of the 9 mm is left out,
    1e-4.
    """
    line = round_line(0.3e-3)
    support, prop, beam = upright(line, 1.0, up=False, mass=0.1, reach=0.05)
    _, found = figures(support, prop, bending_order(beam))
    pivot = np.sqrt(line.bending_stiffness_z / (0.1 * GRAVITY))
    assert pivot == pytest.approx(9e-3, rel=0.05)
    heavy = 1 + line.mass_per_length / (6 * 0.1)
    assert found[0] == pytest.approx(np.sqrt(heavy * GRAVITY / (1.05 - pivot)), rel=2e-4)
    # Without that shift the difference would be twenty times the tolerance.
    assert found[0] > (1 + 3e-3) * np.sqrt(GRAVITY / 1.05)


@pytest.mark.parametrize("root", [np.inf, 0.05])
def test_side_push_on_a_hanging_wire(root):
    """Displacement and slope of the prop under a level acceleration, against the initial value solution."""
    support, prop, beam = upright(round_line(1e-3), 0.4, up=False, mass=0.3, reach=0.03, root=root)
    frame = Frame([support], prop, Order(bending=12, shear=9))
    settled = settle(frame, frame.inertial_load([0.2, -GRAVITY, 0]))
    exact = beam.settled(0.2 * beam.mass_per_length, 0.2 * beam.mass, [1.0])[:, 0]
    assert settled.state[0, 0] == pytest.approx(exact[0] + 0.03 * exact[1], rel=1e-7)
    # Moving toward +x below the root is a turn about +z.
    assert settled.state[0, 5] == pytest.approx(exact[1], rel=1e-6)


@pytest.mark.parametrize("below", [0.05, -0.01], ids=["below", "above"])
def test_a_prop_below_or_above_the_tip_of_a_level_wire(below):
    """It rolls on the wire's twist like a pendulum: k = GJ/L + m g h, J' = J + m h^2 (derived here).

    Bending is stiffened out of the way, else the tip would follow; the wire's own inertia is left out.
    """
    stiff = round_line(1e-3)
    line = replace(
        light(stiff),
        bending_stiffness_y=1e8 * stiff.bending_stiffness_y,
        bending_stiffness_z=1e8 * stiff.bending_stiffness_z,
        rotary_inertia_y=0.0,
        rotary_inertia_z=0.0,
        polar_inertia=0.0,
    )
    support = make_support([[0, 0, -0.3], [0, 0, 0]], line)
    frame = Frame([support], make_prop(0.2, [0, -below, 0], [1e-4, 1e-4, 2e-4]), Order(shear=None))
    settled = settle(frame, frame.inertial_load([0.1, -GRAVITY, 0]))
    spring = line.torsional_stiffness / 0.3 + 0.2 * GRAVITY * below
    # A push toward +x at a centre of mass below the wire turns it about +z.
    assert settled.state[0, 5] == pytest.approx(0.2 * 0.1 * below / spring, rel=1e-3)
    found = natural_modes(frame, settled.stiffness, 1).angular_frequency[0, 0]
    assert found == pytest.approx(np.sqrt(spring / (2e-4 + 0.2 * below**2)), rel=1e-5)


# -- buckling ---------------------------------------------------------------------------------------------


def light(line, mass_per_length=0.0):
    """The same section with another weight."""
    return replace(line, mass_per_length=mass_per_length)


def buckling_factor(line, length, *, mass, reach=0.0, root=np.inf, order=None):
    support, prop, _ = upright(line, length, up=True, mass=mass, reach=reach, root=root)
    return factor_of([support], prop, order)


def factor_of(supports, prop, order=None):
    frame = Frame(supports, prop, order or Order(shear=None))
    return settle(frame, frame.inertial_load(WEIGHT)).buckling_factor[0]


# Found to 1e-9; the goal is 0.1 %.
BUCKLING = 1e-7


def test_weight_at_the_tip():
    """Euler: P = pi^2 EI/4 L^2."""
    line = light(round_line(2e-3))
    euler = np.pi**2 * line.bending_stiffness_z / (4 * 0.3**2)
    assert buckling_factor(line, 0.3, mass=0.1) == pytest.approx(euler / (0.1 * GRAVITY), rel=BUCKLING)


def test_own_weight():
    """Greenhill (1881): q L^3 = (9/4) j^2 EI = 7.8373 EI, j = 1.8664 the first zero of J with index -1/3.

    Both printed values from memory; the zero is found here.
    """
    zero = brentq(lambda x: jv(-1 / 3, x), 1.5, 2.2, xtol=1e-13)
    assert zero == pytest.approx(1.8664, abs=5e-5)
    assert 9 / 4 * zero**2 == pytest.approx(7.8373, abs=1e-4)
    line = round_line(0.5e-3)
    own = line.mass_per_length * GRAVITY
    expected = 9 / 4 * zero**2 * line.bending_stiffness_z / (own * 0.8**3)
    assert buckling_factor(line, 0.8, mass=0.0) == pytest.approx(expected, rel=BUCKLING)


@pytest.mark.parametrize("ratio", [0.05, 0.5, 3.0, 50.0])
def test_weight_of_prop_and_wire_together(ratio):
    """EI theta'' + (P + q s) theta = 0 by Airy functions of -z, z = (q/EI)^(1/3) (s + P/q) (derived here).

    theta' = 0 at the tip s = 0, theta = 0 at the root s = L; both weights grow by the factor.
    """
    line, L = round_line(1e-3), 0.5
    q = line.mass_per_length * GRAVITY
    P = ratio * q * L

    def equation(factor):
        wave = (factor * q / line.bending_stiffness_z) ** (1 / 3)
        _, da, _, db = airy(-wave * P / q)
        a, _, b, _ = airy(-wave * (L + P / q))
        return da * b - db * a

    rough = np.pi**2 * line.bending_stiffness_z / (4 * L**2 * (P + 0.3 * q * L))
    expected = brentq(equation, 0.8 * rough, 1.2 * rough, xtol=1e-12)
    assert buckling_factor(line, L, mass=P / GRAVITY) == pytest.approx(expected, rel=BUCKLING)


@pytest.mark.parametrize("softness", [0.01, 0.5, 10.0])
def test_a_standing_wire_in_a_flexible_clamp(softness):
    """b tan b = kL/EI (derived here; for a rigid clamp b = pi/2, for a weak one P L = k)."""
    line, L = light(round_line(2e-3)), 0.3
    EI = line.bending_stiffness_z
    spring = EI / (softness * L)
    b = brentq(lambda x: x * np.sin(x) - np.cos(x) / softness, 1e-6, np.pi / 2)
    expected = b**2 * EI / L**2 / (0.1 * GRAVITY)
    assert buckling_factor(line, L, mass=0.1, root=spring) == pytest.approx(expected, rel=BUCKLING)


@pytest.mark.parametrize("reach", [0.1, 1.0])
def test_a_prop_that_stands_above_the_tip(reach):
    """The prop leans with the tip: cot(k L) = k a, P = k^2 EI (derived here)."""
    line, L = light(round_line(2e-3)), 0.3
    a = reach * L
    k = brentq(lambda k: np.cos(k * L) - k * a * np.sin(k * L), 1e-6, np.pi / 2 / L)
    expected = k**2 * line.bending_stiffness_z / (0.1 * GRAVITY)
    assert buckling_factor(line, L, mass=0.1, reach=a) == pytest.approx(expected, rel=BUCKLING)


def test_shear_lowers_the_buckling_load():
    """F. Engesser (1891, from memory): P = P_E/(1 + P_E/kGA), for the tension that acts on the whole
    slope."""
    line = light(round_line(10e-3))
    euler = np.pi**2 * line.bending_stiffness_z / (4 * 0.1**2)
    expected = euler / (1 + euler / line.shear_stiffness_y)
    assert expected < 0.997 * euler
    factor = buckling_factor(line, 0.1, mass=1.0, order=Order())
    assert factor * GRAVITY == pytest.approx(expected, rel=BUCKLING)


def test_two_standing_wires_share_the_weight_and_sway_like_a_table():
    """A prop on two wires cannot lean in their plane: P = 2 pi^2 EI/L^2; across, 2 pi^2 EI/4 L^2 (Euler)."""
    line, L = light(round_line(2e-3)), 0.3
    supports = [make_support([[side * 0.2, -L, 0], [side * 0.2, 0, 0]], line) for side in (-1, 1)]
    prop = make_prop(0.1, [0, 0, 0])
    expected = 2 * np.pi**2 * line.bending_stiffness_z / (4 * L**2) / (0.1 * GRAVITY)
    assert factor_of(supports, prop) == pytest.approx(expected, rel=1e-4)
    # Hold the turn about the line between the tips and the way across: then only the plane is left. Joints
    # that hinge about nothing else cannot do that, so take a third wire beside them, which holds both.
    third = make_support([[0, -L, 0.2], [0, 0, 0.2]], line)
    both = make_prop(0.1, [0, 0, 0.2 / 3])
    expected = 3 * np.pi**2 * line.bending_stiffness_z / L**2 / (0.1 * GRAVITY)
    # The wires also stretch as the table tilts, which EA L^2/EI = 1e6 keeps to 1e-4.
    assert factor_of([*supports, third], both) == pytest.approx(expected, rel=1e-3)


def test_frequency_vanishes_as_the_weight_nears_buckling():
    """Along a standing wire omega^2 falls almost in a straight line to zero at the buckling load."""
    line, L = round_line(2e-3), 0.4
    tones = []
    heavy = brentq(lambda mass: buckling_factor(line, L, mass=mass) - 1.001, 0.01, 2.0)
    for share in (0.9, 0.99, 1.0):
        support, prop, _ = upright(line, L, up=True, mass=share * heavy)
        tones.append(figures(support, prop)[1][0])
    assert tones[0] > tones[1] > tones[2] > 0
    free = np.sqrt(3 * line.bending_stiffness_z / L**3 / heavy)
    assert tones[2] < 0.04 * free
