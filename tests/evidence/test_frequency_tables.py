"""Frequencies of straight supports against published eigenvalues and exact frequency equations.

Eigenvalues: R. D. Blevins, Formulas for Natural Frequency and Mode Shape (1979), chapter 8, quoted from
memory; they are the zeros of the frequency equations written beside them, which is checked too. Shear and
rotary inertia: the differential equations of Timoshenko (1921) solved in `exact_beams`. Goal: 1e-4 for the
first four in a plane.
"""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from exact_beams import Beam, rod_frequencies, zeros
from rig_builders import make_prop, make_support, round_line, straight

from rigcheck.mechanics.elements import Order
from rigcheck.mechanics.frame import Frame
from rigcheck.mechanics.modes import natural_modes

pytestmark = pytest.mark.evidence(
    what="Frequencies of straight supports with offset prop, inertia, root spring and shear",
    source="Blevins (1979), chapter 8 (from memory); exact frequency equations; Timoshenko (1921)",
    serves="check",
)

GOAL = 1e-4
SIZES = [(0.5e-3, 0.04), (0.5e-3, 0.5), (1e-3, 1.0), (3e-3, 0.18), (10e-3, 0.1), (10e-3, 1.0)]
RATIOS = [0.05, 1.0, 30.0, 1000.0]
CANTILEVER = [1.87510407, 4.69409113, 7.85475744, 10.99554073]
"""Zeros of cos x cosh x + 1; Blevins (1979), Table 8-1, fixed-free."""


def angular_frequencies(support, prop, order=None, count=None):
    frame = Frame([support] if not isinstance(support, list) else support, prop, order)
    return natural_modes(frame, frame.stiffness, count).angular_frequency[0]


def in_pairs(values):
    """A round support has every bending frequency twice."""
    assert np.allclose(values[0::2], values[1::2], rtol=1e-6)
    return values[0::2]


def bending_only(line, length, *, mass, reach=0.0, inertia=0.0, root=np.inf, count=4):
    """The lowest frequencies of one plane, slender theory; stretch and twist stiffened out of the way."""
    line = replace(
        line, axial_stiffness=1e6 * line.axial_stiffness, torsional_stiffness=1e8 * line.torsional_stiffness
    )
    support, prop = straight(
        line, length, mass=mass, reach=reach, inertia=[inertia] * 3, root_stiffness=(np.inf, root, root)
    )
    return in_pairs(angular_frequencies(support, prop, Order(shear=None), 2 * count))


# -- published eigenvalues --------------------------------------------------------------------------------


def test_a_bare_cantilever():
    """Within the eight digits that are printed."""
    line, L = round_line(3e-3), 0.3
    omega = bending_only(line, L, mass=0.0)
    found = np.sqrt(omega * L**2 / np.sqrt(line.bending_stiffness_z / line.mass_per_length))
    np.testing.assert_allclose(found[:3], CANTILEVER[:3], rtol=1e-8)
    np.testing.assert_allclose(found[3], CANTILEVER[3], rtol=1e-6)  # the order of the field shows here


@pytest.mark.parametrize(
    ("root", "eigenvalues"),
    [
        # Blevins (1979), Table 8-1: fixed-fixed, cos x cosh x = 1; pinned-pinned, n pi.
        (np.inf, [4.73004074, 7.85320462, 10.9956079, 14.1371655]),
        (0.0, [np.pi, 2 * np.pi, 3 * np.pi, 4 * np.pi]),
    ],
    ids=["fixed", "pinned"],
)
def test_a_beam_held_at_both_ends(root, eigenvalues):
    """Two supports in line and a prop without mass between them."""
    line, L = round_line(3e-3), 0.5
    ends = (np.inf, root, root)
    supports = [
        make_support([[side * L / 2, 0, 0], [0, 0, 0]], line, root_stiffness=ends) for side in (-1, 1)
    ]
    omega = in_pairs(angular_frequencies(supports, make_prop(0, [0, 0, 0]), Order(shear=None), 8))
    found = np.sqrt(omega * L**2 / np.sqrt(line.bending_stiffness_z / line.mass_per_length))
    np.testing.assert_allclose(found, eigenvalues, rtol=2e-8)


@pytest.mark.parametrize("ratio", [0.5, 10.0, 500.0])
def test_the_mass_formula_of_the_handbook(ratio):
    """f = 1/(2 pi) sqrt(3 EI/(L^3 (M + 0.24 m))), Blevins (1979), Table 8-8, from memory.

    An approximation: its 0.24 stands for 33/140 = 0.2357, which is 0.4 % of the frequency at most here.
    """
    line, L = round_line(3e-3), 0.3
    own = line.mass_per_length * L
    expected = np.sqrt(3 * line.bending_stiffness_z / (L**3 * (ratio + 0.24) * own))
    assert bending_only(line, L, mass=ratio * own)[0] == pytest.approx(expected, rel=5e-3)


def classical(x, mass, reach, inertia):
    """Frequency equation of a clamped slender beam with a rigid body at its tip, by Krylov's functions.

    x = beta L; mass/(rho A L), reach/L, J/(rho A L^3). W = A (cosh - cos) + B (sinh - sin) of beta x; at the
    tip W''' = -beta^4 m (W + a W') and W'' = beta^4 (J W' + m a (W + a W')). Derived here; it is the case
    treated by B. R. Bhat and H. Wagner, Natural frequencies of a uniform cantilever with a tip mass slender
    in the axial direction, J. Sound Vib. 45 (1976) 304-307 (source from memory).
    """
    c, s, ch, sh = np.cos(x), np.sin(x), np.cosh(x), np.sinh(x)
    rows = []
    for w, d1, d2, d3 in ((ch - c, sh + s, ch + c, sh - s), (sh - s, ch - c, sh + s, ch + c)):
        d1, d2, d3 = d1 * x, d2 * x**2, d3 * x**3
        centre = w + reach * d1
        rows.append((d3 + x**4 * mass * centre, d2 - x**4 * (inertia * d1 + mass * reach * centre)))
    (a, b), (e, f) = rows
    return (a * f - b * e) / ch**2


GRID = np.concatenate([np.geomspace(1e-3, 0.2, 60), np.arange(0.21, 16, 0.02)])


@pytest.mark.parametrize("ratio", RATIOS)
@pytest.mark.parametrize(("reach", "gyration"), [(0.0, 0.0), (0.2, 0.1), (1.0, 0.4)])
def test_slender_wire_with_a_prop_beyond_its_tip(ratio, reach, gyration):
    line, L = round_line(1e-3), 0.2
    mass = ratio * line.mass_per_length * L
    roots = zeros(lambda x: classical(x, ratio, reach, ratio * gyration**2), GRID, 4)
    expected = roots**2 * np.sqrt(line.bending_stiffness_z / line.mass_per_length) / L**2
    found = bending_only(line, L, mass=mass, reach=reach * L, inertia=mass * (gyration * L) ** 2)
    np.testing.assert_allclose(found, expected, rtol=1e-6)


@pytest.mark.parametrize("softness", [1e-3, 0.3, 5.0, 200.0])
def test_slender_wire_in_a_flexible_clamp(softness):
    """1 + cos x cosh x = (EI/kL) x (cos x sinh x - sin x cosh x): a bare beam on a root spring k (derived
    here).

    W = A (cosh - cos) + B (sinh - sin) + (EI/kL) x A (sinh + sin), since k W' = EI W'' at the root.
    """
    line, L = round_line(3e-3), 0.3
    spring = line.bending_stiffness_z / (softness * L)

    def equation(x):
        c, s, ch, sh = np.cos(x), np.sin(x), np.cosh(x), np.sinh(x)
        return (1 + c * ch - softness * x * (s * ch - c * sh)) / ch

    expected = zeros(equation, GRID, 4) ** 2 * np.sqrt(line.bending_stiffness_z / line.mass_per_length) / L**2
    np.testing.assert_allclose(bending_only(line, L, mass=0.0, root=spring), expected, rtol=1e-5)


# -- the reference itself ---------------------------------------------------------------------------------


def test_the_reference_finds_the_published_eigenvalues():
    beam = Beam(flexural_rigidity=2.0, free_length=1.5, mass_per_length=0.7)
    np.testing.assert_allclose(np.sqrt(beam.angular_frequencies(4) / beam.scale), CANTILEVER, rtol=2e-9)


def test_simply_supported_timoshenko_beam():
    """The one case with a closed form, S. P. Timoshenko (1921, from memory); here two supports in line
    between pinned roots.

    (rho I rho A/kGA) w^4 - (rho A + b^2 (rho I + rho A EI/kGA)) w^2 + EI b^4 = 0, b = n pi/L.
    """
    line, L = round_line(10e-3), 0.1
    ends = (np.inf, 0.0, 0.0)
    supports = [
        make_support([[side * L / 2, 0, 0], [0, 0, 0]], line, root_stiffness=ends) for side in (-1, 1)
    ]
    found = angular_frequencies(supports, make_prop(0, [0, 0, 0]))
    EI, kGA, A, J = (
        line.bending_stiffness_z, line.shear_stiffness_y, line.mass_per_length, line.rotary_inertia_z
    )  # fmt: skip
    for n in range(1, 5):
        b = n * np.pi / L
        middle = A + b**2 * (J + A * EI / kGA)
        square = (middle - np.sqrt(middle**2 - 4 * J * A / kGA * EI * b**4)) / (2 * J * A / kGA)
        # The fourth has a whole wave on each half; the default order leaves 1.5e-7 there.
        assert np.sum(np.abs(found / np.sqrt(square) - 1) < 1e-6) == 2


# -- the whole spectrum, over the range of use ------------------------------------------------------------

CASES = [
    (size, ratio, prop, root)
    for number, (size, ratio, prop, root) in enumerate(
        itertools.product(SIZES, RATIOS, [(0.0, 0.0), (0.3, 0.1), (1.0, 0.3)], [np.inf, 3.0])
    )
    # Half of all 144, so that every pair of neighbours still meets.
    if number % 2 == (number // 2 + number // 6) % 2
]


@pytest.mark.parametrize("shear", [True, False], ids=["shear", "slender"])
@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0] * 1e3:g}mm-{size[1] * 1e3:g}mm")
def test_every_frequency_up_to_the_fourth_in_a_plane(size, shear):
    """All modes, twist and stretch too: none missing, none extra, each to 1e-4."""
    diameter, L = size
    line = round_line(diameter)
    EI = line.bending_stiffness_z
    for ratio, (reach, gyration), root in (case[1:] for case in CASES if case[0] == size):
        mass = ratio * line.mass_per_length * L
        inertia = mass * (gyration * L) ** 2
        spring = root * EI / L
        support, prop = straight(
            line,
            L,
            mass=mass,
            reach=reach * L,
            inertia=[inertia] * 3,
            root_stiffness=(np.inf, spring, spring),
        )
        found = angular_frequencies(support, prop, None if shear else Order(shear=None))
        bending = Beam(
            flexural_rigidity=EI,
            free_length=L,
            mass_per_length=line.mass_per_length,
            shear_stiffness=line.shear_stiffness_y if shear else np.inf,
            rotary_inertia=line.rotary_inertia_z if shear else 0.0,
            mass=mass,
            reach=reach * L,
            inertia=inertia,
            root_stiffness=spring,
        ).angular_frequencies(4)
        twist = rod_frequencies(
            stiffness=line.torsional_stiffness,
            inertia_per_length=line.polar_inertia,
            free_length=L,
            tip=inertia,
            root=np.inf,
            count=2,
        )
        stretch = rod_frequencies(
            stiffness=line.axial_stiffness,
            inertia_per_length=line.mass_per_length,
            free_length=L,
            tip=mass,
            root=np.inf,
            count=2,
        )
        every = np.sort(np.concatenate([bending, bending, twist, stretch]))
        # Beyond the last known value of any kind the list may have gaps.
        known = every[every <= min(bending[-1] * (1 + 1e-9), twist[-1], stretch[-1])]
        assert len(known) >= 4
        np.testing.assert_allclose(found[: len(known)], known, rtol=GOAL, err_msg=f"{ratio} {reach} {root}")


def test_first_four_in_a_plane_of_a_stubby_rod_beside_twist_and_stretch():
    """L/d = 10: the fourth bending frequency is above twist and stretch, so it is looked for by itself."""
    line, L = round_line(10e-3), 0.1
    for ratio in RATIOS:
        mass = ratio * line.mass_per_length * L
        support, prop = straight(line, L, mass=mass)
        found = angular_frequencies(support, prop)
        exact = Beam(
            flexural_rigidity=line.bending_stiffness_z,
            free_length=L,
            mass_per_length=line.mass_per_length,
            shear_stiffness=line.shear_stiffness_y,
            rotary_inertia=line.rotary_inertia_z,
            mass=mass,
        ).angular_frequencies(4)
        for value in exact:
            assert np.sum(np.abs(found / value - 1) < GOAL) >= 2


@pytest.mark.parametrize("root", [np.inf, 0.4])
@pytest.mark.parametrize("ratio", [0.0, 0.5, 20.0])
def test_twist_with_a_prop(ratio, root):
    """cot b = (J/rho Ip L) b for a firm clamp (Blevins (1979), chapter 8, torsion with a tip inertia, from
    memory).

    The clamp may also give in roll, against a spring.
    """
    line, L = round_line(6e-3), 0.5
    own = line.polar_inertia * L
    spring = root * line.torsional_stiffness / L
    support, prop = straight(
        line, L, mass=1e-3, inertia=[ratio * own, 1e-9, 1e-9], root_stiffness=(spring, np.inf, np.inf)
    )
    found = angular_frequencies(support, prop, Order(torsion=11))
    exact = rod_frequencies(
        stiffness=line.torsional_stiffness,
        inertia_per_length=line.polar_inertia,
        free_length=L,
        tip=ratio * own,
        root=spring,
        count=3,
    )
    for value in exact:
        assert np.min(np.abs(found / value - 1)) < 1e-8  # a field of degree 12 over less than two waves
    if np.isinf(root):
        b = exact * L / np.sqrt(line.torsional_stiffness / line.polar_inertia)
        np.testing.assert_allclose(np.cos(b), ratio * b * np.sin(b), atol=1e-9)
