"""Frames for tests: round wires, tubes and strips between given points, with numbers written out here.

Nothing is taken from `rigcheck.mechanics.sections`, so the tests of the engine do not depend on it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from rigcheck.mechanics.frame import Prop, Support
from rigcheck.mechanics.large import LargeSettled

GRAVITY = 9.80665
"""Standard gravity [m/s2], exact by definition (3rd CGPM, 1901)."""

RIGID = np.inf
HELD = (RIGID, RIGID, RIGID)


@dataclass(frozen=True, kw_only=True)
class Line:
    """Section of one segment: the floats that `Support` wants, for one variant."""

    axial_stiffness: float
    torsional_stiffness: float
    bending_stiffness_y: float
    bending_stiffness_z: float
    shear_stiffness_y: float
    shear_stiffness_z: float
    mass_per_length: float
    rotary_inertia_y: float
    rotary_inertia_z: float
    polar_inertia: float

    def plus(self, other: Line) -> Line:
        """Two sections bonded to each other."""
        return Line(
            **{field.name: getattr(self, field.name) + getattr(other, field.name) for field in fields(self)}
        )


def round_line(
    diameter: float,
    *,
    bore: float = 0.0,
    youngs_modulus: float = 200e9,
    shear_modulus: float = 77e9,
    density: float = 7850.0,
    shear_coefficient: float = 0.886,
) -> Line:
    """Solid or hollow round section; steel unless told otherwise."""
    area = np.pi / 4 * (diameter**2 - bore**2)
    second = np.pi / 64 * (diameter**4 - bore**4)
    return Line(
        axial_stiffness=youngs_modulus * area,
        torsional_stiffness=shear_modulus * 2 * second,
        bending_stiffness_y=youngs_modulus * second,
        bending_stiffness_z=youngs_modulus * second,
        shear_stiffness_y=shear_coefficient * shear_modulus * area,
        shear_stiffness_z=shear_coefficient * shear_modulus * area,
        mass_per_length=density * area,
        rotary_inertia_y=density * second,
        rotary_inertia_z=density * second,
        polar_inertia=density * 2 * second,
    )


def strip_line(
    width: float,
    thickness: float,
    *,
    youngs_modulus: float = 200e9,
    shear_modulus: float = 77e9,
    density: float = 7850.0,
) -> Line:
    """Flat strip, its width along the local y; shear coefficient 5/6 in both directions."""
    area = width * thickness
    about_y, about_z = width * thickness**3 / 12, thickness * width**3 / 12
    torsion = width * thickness**3 / 3 * (1 - 0.63 * thickness / width)
    return Line(
        axial_stiffness=youngs_modulus * area,
        torsional_stiffness=shear_modulus * torsion,
        bending_stiffness_y=youngs_modulus * about_y,
        bending_stiffness_z=youngs_modulus * about_z,
        shear_stiffness_y=5 / 6 * shear_modulus * area,
        shear_stiffness_z=5 / 6 * shear_modulus * area,
        mass_per_length=density * area,
        rotary_inertia_y=density * about_y,
        rotary_inertia_z=density * about_z,
        polar_inertia=density * (about_y + about_z),
    )


def make_support(
    points,
    lines,
    *,
    root_stiffness=HELD,
    root_axes=None,
    width_direction=None,
    joint_stiffness=None,
    tension=None,
) -> Support:
    """One support, batch length 1. `lines` is one `Line` or one for each segment."""
    points = np.asarray(points, dtype=float)
    count = len(points) - 1
    lines = [lines] * count if isinstance(lines, Line) else list(lines)

    def batch(value):
        return None if value is None else np.asarray(value, dtype=float)[None]

    width = None if width_direction is None else np.broadcast_to(width_direction, (count, 3))
    return Support(
        points=points[None],
        **{field.name: np.array([[getattr(line, field.name) for line in lines]]) for field in fields(Line)},
        root_stiffness=batch(root_stiffness),
        root_axes=batch(root_axes),
        width_direction=batch(width),
        joint_stiffness=batch(joint_stiffness),
        tension=batch(tension),
    )


def make_prop(mass, centre_of_mass, inertia=None) -> Prop:
    """One prop, batch length 1; inertia None is a point mass, three values are the diagonal."""
    inertia = np.zeros((3, 3)) if inertia is None else np.asarray(inertia, dtype=float)
    if inertia.ndim == 1:
        inertia = np.diag(inertia)
    return Prop(
        mass=np.array([float(mass)]),
        centre_of_mass=np.asarray(centre_of_mass, dtype=float)[None],
        inertia=inertia[None],
    )


def stack(items):
    """Several supports or props of one layout as one batch."""
    first = items[0]
    values = {}
    for field in fields(first):
        parts = [getattr(item, field.name) for item in items]
        values[field.name] = None if parts[0] is None else np.concatenate(parts)
    return type(first)(**values)


def moved(item: Support | Prop, turn, shift=(0.0, 0.0, 0.0)):
    """A support or prop turned by an orthogonal matrix (a mirror too) and then shifted."""
    turn, shift = np.asarray(turn, dtype=float), np.asarray(shift, dtype=float)
    if isinstance(item, Prop):
        return replace(
            item,
            centre_of_mass=item.centre_of_mass @ turn.T + shift,
            inertia=turn @ item.inertia @ turn.T,
        )
    axes = np.broadcast_to(np.eye(3), (len(item.points), 3, 3)) if item.root_axes is None else item.root_axes
    width = item.width_direction
    return replace(
        item,
        points=item.points @ turn.T + shift,
        root_axes=axes @ turn.T,
        width_direction=None if width is None else width @ turn.T,
    )


def straight(
    line: Line,
    free_length: float,
    *,
    mass: float,
    reach: float = 0.0,
    inertia=None,
    along=(1.0, 0.0, 0.0),
    root_stiffness=HELD,
    width_direction=None,
) -> tuple[Support, Prop]:
    """A straight support from the origin with the centre of mass `reach` beyond its tip."""
    along = np.asarray(along, dtype=float)
    support = make_support(
        [np.zeros(3), free_length * along],
        line,
        root_stiffness=root_stiffness,
        width_direction=width_direction,
    )
    return support, make_prop(mass, (free_length + reach) * along, inertia)


def require_settled(settled: LargeSettled) -> LargeSettled:
    """The same, if every variant has a stable settled state."""
    assert settled.converged.all(), settled.reached
    assert settled.stable.all()
    return settled
