"""The clamp: how much it gives, how much play it has, and whether the wire turns in it.

The rotational stiffness of a root follows from the grip as an elastic bed of finite length (`bed_root`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.mechanics._checks import positive

__all__ = [
    "NUT_FACTOR",
    "BedRoot",
    "bed_root",
    "clamp_force_from_screw",
    "friction_capacity",
    "friction_force_needed",
    "play_angle",
    "play_at_tip",
    "roll_torque",
    "slip_use",
]

Array = NDArray[np.float64]

NUT_FACTOR = 0.2
"""Screw torque over clamp force times diameter, dry steel thread; common practice, no source."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class BedRoot:
    """Compliance of a member's root held in an elastic bed, at the face of the grip, shape (...).

    Attributes
    ----------
    rotation_per_moment : ndarray
        [rad/(N m)].
    displacement_per_moment : ndarray
        The same as rotation per force [1/N]. A moment that bends the free part up and a force up both give
        positive values.
    displacement_per_force : ndarray
        [m/N].
    added_length : ndarray
        Free length that gives the same rotation under a moment, a = EI rotation_per_moment [m].
    """

    rotation_per_moment: Array
    displacement_per_moment: Array
    displacement_per_force: Array
    added_length: Array

    @property
    def rotational_stiffness(self) -> Array:
        """Moment per rotation of the root, with no force on it [N m/rad]."""
        return 1 / self.rotation_per_moment


def bed_root(*, bending_stiffness: ArrayLike, bed_modulus: ArrayLike, grip_length: ArrayLike) -> BedRoot:
    """Root of a wire held in an elastic bed of finite length, its inner end free.

    Parameters
    ----------
    bending_stiffness : array_like, shape (...)
        EI of the wire [N m^2], positive.
    bed_modulus : array_like, shape (...)
        k, force per length per displacement of the bed [N/m^2], positive. About 0.3 to 1 times the wire's E
        in a metal collet, 0.01 in hard plastic, 0.002 in wood (common practice, no source).
    grip_length : array_like, shape (...)
        Held length l [m], positive.

    Returns
    -------
    BedRoot

    Notes
    -----
    Beam on an elastic foundation EI w'''' + k w = 0, loaded at one end by a force and a moment, the other end
    free. With beta = (k / 4 EI)^(1/4), x = beta l, S = sinh x, C = cosh x, s = sin x, c = cos x::

        rotation / moment       = 4 beta^3 / k (S C + s c) / (S^2 - s^2)
        displacement / moment   = 2 beta^2 / k (S^2 + s^2) / (S^2 - s^2)
        displacement / force    = 2 beta   / k (S C - s c) / (S^2 - s^2)

    A long grip gives the rotational stiffness beta EI, added length 1 / beta; a short one that of a rigid rod
    on springs, k l^3 / 12 about its middle. Linear: no gap, no bed crushed, held on both sides.

    References
    ----------
    M. Hetenyi, *Beams on Elastic Foundation*, finite beams with free ends (from memory; checked here against
    a numerical solution of the equation).
    """
    EI = positive("bending_stiffness", bending_stiffness)
    k = positive("bed_modulus", bed_modulus)
    beta = (k / (4 * EI)) ** 0.25
    x = beta * positive("grip_length", grip_length)
    # Past x = 20 every ratio is 1 to rounding; the cap keeps sinh^2 finite. Below x = 0.1 the differences
    # cancel and the first terms of their series serve.
    bounded = np.minimum(x, 20.0)
    S, C, s, c = np.sinh(bounded), np.cosh(bounded), np.sin(bounded), np.cos(bounded)
    below = S**2 - s**2
    small = x < 0.1
    force_part = np.where(small, 4 * x**3 / 3 * (1 + 2 * x**4 / 105), S * C - s * c)
    difference = np.where(small, 2 * x**4 / 3 * (1 + x**4 / 105), below)
    rotation = 4 * beta**3 / k * (S * C + s * c) / difference
    return BedRoot(
        rotation_per_moment=np.asarray(rotation),
        displacement_per_moment=np.asarray(2 * beta**2 / k * (S**2 + s**2) / difference),
        displacement_per_force=np.asarray(2 * beta / k * force_part / difference),
        added_length=np.asarray(EI * rotation),
    )


def play_angle(*, clearance: ArrayLike, grip_length: ArrayLike) -> Array:
    """Angle a wire can lean in a clearance hole, one way from the middle.

    Parameters
    ----------
    clearance : array_like, shape (...)
        Hole diameter less wire diameter [m], 0 or more.
    grip_length : array_like, shape (...)
        Length of the hole [m], positive.

    Returns
    -------
    ndarray, shape (...)
        clearance / grip_length [rad]. From one stop to the other it is twice that.
    """
    return positive("clearance", clearance, zero=True) / positive("grip_length", grip_length)


def play_at_tip(*, clearance: ArrayLike, grip_length: ArrayLike, free_length: ArrayLike) -> Array:
    """Free movement of the tip from play in the hole, one way from the middle.

    Parameters
    ----------
    clearance, grip_length : array_like, shape (...)
        As for `play_angle` [m].
    free_length : array_like, shape (...)
        [m], positive.

    Returns
    -------
    ndarray, shape (...)
        clearance / grip_length * free_length [m]: 0.1 mm over 6 mm is 5 mm at 300 mm.
    """
    return play_angle(clearance=clearance, grip_length=grip_length) * positive("free_length", free_length)


def roll_torque(
    *,
    mass: ArrayLike,
    unbalance_arm: ArrayLike,
    inertia_about_axis: ArrayLike,
    angular_acceleration: ArrayLike,
    gravity: ArrayLike = 9.80665,
    gravity_across: ArrayLike = 1.0,
) -> Array:
    """Torque about the support's axis that a rolling prop asks of the jaw, at worst.

    Parameters
    ----------
    mass : array_like, shape (...)
        [kg], 0 or more.
    unbalance_arm : array_like, shape (...)
        Distance of the centre of mass from the axis [m], 0 or more.
    inertia_about_axis : array_like, shape (...)
        About the axis, the unbalance included [kg m^2], 0 or more.
    angular_acceleration : array_like, shape (...)
        Largest, as a magnitude [rad/s^2], 0 or more.
    gravity : array_like, shape (...)
        [m/s^2], 0 or more.
    gravity_across : array_like, shape (...)
        Share of gravity across the axis: 1 level, 0 vertical.

    Returns
    -------
    ndarray, shape (...)
        m g e + I alpha [N m]: both at their worst together.
    """
    static = (
        positive("mass", mass, zero=True)
        * positive("gravity", gravity, zero=True)
        * positive("gravity_across", gravity_across, zero=True)
        * positive("unbalance_arm", unbalance_arm, zero=True)
    )
    return static + positive("inertia_about_axis", inertia_about_axis, zero=True) * positive(
        "angular_acceleration", angular_acceleration, zero=True
    )


def friction_force_needed(*, torque: ArrayLike, diameter: ArrayLike) -> Array:
    """Friction around a round wire that holds a torque.

    Parameters
    ----------
    torque : array_like, shape (...)
        [N m], 0 or more.
    diameter : array_like, shape (...)
        Of the wire [m], positive.

    Returns
    -------
    ndarray, shape (...)
        2 T / d [N], the sum over all places where the jaw touches.
    """
    return 2 * positive("torque", torque, zero=True) / positive("diameter", diameter)


def friction_capacity(
    *, clamp_force: ArrayLike, friction_coefficient: ArrayLike, contacts: ArrayLike = 2
) -> Array:
    """Friction a jaw can give before the wire slips.

    Parameters
    ----------
    clamp_force : array_like, shape (...)
        Normal force at each contact [N], 0 or more.
    friction_coefficient : array_like, shape (...)
        0 or more; 0.1 to 0.2 for metal on metal with a trace of oil (common practice, no source).
    contacts : array_like, shape (...)
        Places that touch with that force: a set screw presses the wire on the opposite wall, two; a
        three-jaw collet, three. Count one where the second side may roll.

    Returns
    -------
    ndarray, shape (...)
        contacts mu N [N].
    """
    return (
        positive("contacts", contacts)
        * positive("friction_coefficient", friction_coefficient, zero=True)
        * positive("clamp_force", clamp_force, zero=True)
    )


def slip_use(*, torque: ArrayLike, axial_force: ArrayLike, diameter: ArrayLike, capacity: ArrayLike) -> Array:
    """Share of the friction in use under torque and pull together; at 1 the wire slips.

    Parameters
    ----------
    torque, axial_force : array_like, shape (...)
        As magnitudes [N m], [N], 0 or more.
    diameter : array_like, shape (...)
        Of the wire [m], positive.
    capacity : array_like, shape (...)
        From `friction_capacity` [N], positive.

    Returns
    -------
    ndarray, shape (...)
        sqrt((2 T / d)^2 + F^2) / capacity: friction acts against the resulting slip.
    """
    around = friction_force_needed(torque=torque, diameter=diameter)
    along = positive("axial_force", axial_force, zero=True)
    return np.asarray(np.hypot(around, along) / positive("capacity", capacity))


def clamp_force_from_screw(
    *, screw_torque: ArrayLike, nominal_diameter: ArrayLike, nut_factor: ArrayLike = NUT_FACTOR
) -> Array:
    """Force of a tightened screw.

    Parameters
    ----------
    screw_torque : array_like, shape (...)
        [N m], 0 or more.
    nominal_diameter : array_like, shape (...)
        Of the screw [m], positive: 4e-3 is M4.
    nut_factor : array_like, shape (...)
        About 0.2 dry, 0.12 to 0.3 in practice (common practice, no source).

    Returns
    -------
    ndarray, shape (...)
        T / (nut_factor d) [N].
    """
    return positive("screw_torque", screw_torque, zero=True) / (
        positive("nut_factor", nut_factor) * positive("nominal_diameter", nominal_diameter)
    )
