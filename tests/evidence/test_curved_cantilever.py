"""The 45-degree bend under a load out of its plane: bending, twist and finite rotation in three dimensions.

K.-J. Bathe and S. Bolourchi, Large displacement analysis of three-dimensional beam structures, International
Journal for Numerical Methods in Engineering 14 (1979) 961-986: a cantilever of radius 100 over 45 degrees,
unit square section, E = 1e7, Poisson's ratio 0, with a load across its plane at the tip. Tip positions as
they are commonly quoted, among others from J. C. Simo and L. Vu-Quoc, A three-dimensional finite-strain rod
model, Part II, Computer Methods in Applied Mechanics and Engineering 58 (1986) 79-116; all from memory.
"""

import numpy as np
import pytest
from rig_builders import Line, make_prop, make_support, require_settled

from rigcheck.mechanics.large import settle_large

pytestmark = pytest.mark.evidence(
    what="Large displacement in space: bending, twist and finite rotation",
    source="Bathe and Bolourchi (1979), Simo and Vu-Quoc (1986), 45-degree bend (from memory)",
    serves="check",
)

RADIUS, ANGLE = 100.0, np.pi / 4
# The torsion constant of the publications is that of the sum of the second moments, 1/6.
SECTION = Line(
    axial_stiffness=1e7,
    torsional_stiffness=0.5e7 / 6,
    bending_stiffness_y=1e7 / 12,
    bending_stiffness_z=1e7 / 12,
    shear_stiffness_y=0.5e7,
    shear_stiffness_z=0.5e7,
    mass_per_length=0.0,
    rotary_inertia_y=0.0,
    rotary_inertia_z=0.0,
    polar_inertia=0.0,
)


def bend(load, pieces):
    """Tip position; the load is the weight of a prop of that mass in a field of 1 across the plane."""
    angle = np.linspace(0, ANGLE, pieces + 1)
    # Chords of an arc are shorter than it by angle^2 / 24, and so is a polygon's reach: the corners stand
    # outside.
    radius = RADIUS * (1 + (ANGLE / pieces) ** 2 / 24)
    points = np.stack([RADIUS - radius * np.cos(angle), radius * np.sin(angle), 0 * angle], axis=1)
    points -= points[0]
    support = make_support(points, SECTION)
    large = require_settled(
        settle_large(
            [support], make_prop(load, points[-1]), np.array([0.0, 0.0, 1.0]), elements=pieces, order=2
        )
    )
    return points[-1] + large.tip_displacement[0][0]


@pytest.mark.parametrize(("load", "published"), [(300.0, (22.3, 58.8, 40.1)), (600.0, (15.7, 47.2, 53.4))])
def test_tip_of_the_bend(load, published):
    found = bend(load, 16)
    # Published meshes of eight elements differ from each other by up to 1 %.
    np.testing.assert_allclose(found, published, rtol=1e-2)


def test_the_polygon_converges():
    coarse, middle, fine = (bend(600.0, pieces) for pieces in (6, 12, 24))
    # An arc is cut by chords: the error falls with the square of their length, or faster.
    assert np.linalg.norm(middle - fine) < 0.3 * np.linalg.norm(coarse - fine)
    assert np.linalg.norm(middle - fine) < 1e-3 * RADIUS
