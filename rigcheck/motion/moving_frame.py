r"""What a rig feels while its head slides and rolls: the field of acceleration in the head's own frame.

A chain of moves carries the rig, ground first, each move carrying the next. Everything is described in the pose at
the end of the moves: there every slide has arrived and every roll has turned through. At an earlier time a body
point x (from the origin, in that final pose) is at

.. math:: p(t) + R(t)\, x,

and what all mass in the rig feels there, in body axes, is

.. math:: b(x, t) = R^T (g - \ddot p) - (\dot\Omega_\times + \Omega_\times \Omega_\times)\, x,

gravity turned with the roll, the translational, the Euler and the centrifugal terms, with the body's angular
velocity Omega. It is linear in x, so a frame takes it without further approximation. Left out is the Coriolis force
on the small vibration itself: of relative size ``2 |Omega| / omega`` for a mode omega at any moment, and over time it
keeps the plane of a vibration in the ground's frame while the head rolls on under it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError

__all__ = ["Carrier", "FrameField", "frame_field"]

Array = NDArray[np.float64]
Law = Callable[[Array], tuple[Array, Array, Array]]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Carrier:
    """One move of the chain.

    Attributes
    ----------
    rolls : bool
        Turning about an axis, or sliding along it.
    direction : array, shape (3,)
        Unit vector of the slide, or of the roll's axis (right-handed), in the final pose.
    through : array, shape (3,) or None
        A point of the roll's axis in the final pose [m]; None for a slide.
    law : callable
        Times (n,) to value, rate and acceleration, (n,) each [m or rad]; the value is that still to go, so that it
        is zero when the moves have ended.
    """

    rolls: bool
    direction: Array
    through: Array | None = None
    law: Law


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class FrameField:
    """The field at n times.

    Attributes
    ----------
    offset : array, shape (n, 3)
        At the origin [m/s2], body axes.
    gradient : array, shape (n, 3, 3)
        Its change with the body point [1/s2].
    rotation : array, shape (n, 3, 3)
        R: turns body axes into those of the ground.
    position : array, shape (n, 3)
        p: the origin from where it ends [m].
    spin : array, shape (n, 3)
        Omega, body axes [rad/s].
    spin_rate : array, shape (n, 3)
        Its rate, body axes [rad/s2].
    """

    offset: Array
    gradient: Array
    rotation: Array
    position: Array
    spin: Array
    spin_rate: Array


def frame_field(carriers: Sequence[Carrier], times: Array, *, gravity: Array) -> FrameField:
    """Field of acceleration in the frame that a chain of moves carries.

    Parameters
    ----------
    carriers : sequence of Carrier
        Ground first.
    times : array, shape (n,)
        [s].
    gravity : array, shape (3,)
        [m/s2], in the ground's axes.

    Returns
    -------
    FrameField

    Raises
    ------
    ArgumentError
        A direction is not a unit vector, or a roll has no axis point.

    Notes
    -----
    Exact kinematics, composed carrier by carrier: with the frame so far (R, p) and its motion, a displacement e in
    it adds ``a = dw/dt x Re + w x (w x Re) + 2 w x R e' + R e''``; a roll by phi about n adds ``R n phi'`` to the
    angular velocity and moves the origin by ``e = c - Rot(phi) c`` for its axis point c.
    """
    count = len(times)
    rotation = np.broadcast_to(np.eye(3), (count, 3, 3))
    position, acceleration = np.zeros((count, 3)), np.zeros((count, 3))
    spin, spin_rate = np.zeros((count, 3)), np.zeros((count, 3))  # of the frame, in the ground's axes
    rolled = False  # whether a carrier so far rolls: without, all that goes with the spin is zero
    for carrier in carriers:
        axis = np.asarray(carrier.direction, dtype=float)
        if not np.isclose(np.linalg.norm(axis), 1.0, rtol=1e-6, atol=0.0):
            raise ArgumentError(f"direction: given {axis}; it has to be a unit vector.")
        value, rate, change = carrier.law(times)
        if carrier.rolls:
            if carrier.through is None:
                raise ArgumentError("through: a roll needs a point of its axis.")
            turn = _turn(axis, value)
            arm = turn @ np.asarray(carrier.through, dtype=float)
            shift = np.asarray(carrier.through) - arm
            swept = np.cross(axis, arm)
            shift_rate = -rate[:, None] * swept
            shift_change = -change[:, None] * swept - rate[:, None] ** 2 * np.cross(axis, swept)
        else:
            turn = None
            shift, shift_rate, shift_change = (part[:, None] * axis for part in (value, rate, change))
        arm, moving, hastening = (_apply(rotation, part) for part in (shift, shift_rate, shift_change))
        acceleration = acceleration + hastening
        if rolled:
            turning = np.cross(spin, arm)
            acceleration = (
                acceleration + np.cross(spin_rate, arm) + np.cross(spin, turning) + 2 * np.cross(spin, moving)
            )
        position = position + arm
        if turn is not None:
            shaft = _apply(rotation, np.broadcast_to(axis, (count, 3)))
            own = shaft * rate[:, None]
            spin_rate = spin_rate + shaft * change[:, None]
            if rolled:
                spin_rate = spin_rate + np.cross(spin, own)
            rolled = True
            spin = spin + own
            rotation = rotation @ turn
    back = rotation.transpose(0, 2, 1)
    body_spin, body_rate = _apply(back, spin), _apply(back, spin_rate)
    whirl = _skew(body_spin)
    return FrameField(
        offset=_apply(back, np.asarray(gravity) - acceleration),
        gradient=-(_skew(body_rate) + whirl @ whirl),
        rotation=np.asarray(rotation),
        position=position,
        spin=body_spin,
        spin_rate=body_rate,
    )


def _apply(matrices: Array, vectors: Array) -> Array:
    return np.asarray(np.einsum("nij,nj->ni", matrices, vectors))


def _turn(axis: Array, angle: Array) -> Array:
    """Rotation matrices about one axis (Rodrigues), (n, 3, 3)."""
    skew = _skew(axis[None])[0]
    return np.asarray(
        np.eye(3) + np.sin(angle)[:, None, None] * skew + (1 - np.cos(angle))[:, None, None] * (skew @ skew)
    )


def _skew(vectors: Array) -> Array:
    result = np.zeros((*vectors.shape, 3))
    x, y, z = vectors[..., 0], vectors[..., 1], vectors[..., 2]
    result[..., 0, 1], result[..., 0, 2], result[..., 1, 2] = -z, y, -x
    result[..., 1, 0], result[..., 2, 0], result[..., 2, 1] = z, -y, x
    return result
