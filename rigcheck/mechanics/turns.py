"""Finite rotations as unit quaternions, scalar first, with what Newton's method needs of their derivatives.

A quaternion keeps its sign from step to step, so a rod may turn through more than half a circle. All
functions take any leading axes.
"""

from __future__ import annotations

from functools import cache
from math import factorial

import numpy as np
from numpy.polynomial.polynomial import polyval
from numpy.typing import NDArray

from rigcheck.mechanics.batches import cross
from rigcheck.mechanics.frame import cross_matrix

__all__ = [
    "conjugate",
    "from_vector",
    "logarithm_derivatives",
    "product",
    "rotation_matrix",
    "rotation_vector",
    "slope_and_bend",
    "spin_map",
    "turn_less_identity",
]

Array = NDArray[np.float64]

_EYE = np.eye(3)
_SINE_TERMS = 16
_LOGARITHM_TERMS = 56


def product(first: Array, second: Array) -> Array:
    """Quaternion product: the rotation `second` followed by `first`.

    Parameters
    ----------
    first, second : array, shape (..., 4)
        Quaternions.

    Returns
    -------
    array, shape (..., 4)
    """
    a, u = first[..., :1], first[..., 1:]
    b, v = second[..., :1], second[..., 1:]
    scalar = a * b - np.sum(u * v, axis=-1, keepdims=True)
    return np.concatenate([scalar, a * v + b * u + cross(u, v)], axis=-1)


def conjugate(quaternion: Array) -> Array:
    """The inverse rotation.

    Parameters
    ----------
    quaternion : array, shape (..., 4)
        Unit quaternions.

    Returns
    -------
    array, shape (..., 4)
    """
    return np.asarray(quaternion * np.array([1.0, -1.0, -1.0, -1.0]))


def from_vector(vector: Array) -> Array:
    """Quaternion of a rotation vector (direction is the axis, length the angle).

    Parameters
    ----------
    vector : array, shape (..., 3)
        [rad].

    Returns
    -------
    array, shape (..., 4)
    """
    half = np.linalg.norm(vector, axis=-1, keepdims=True) / 2
    return np.concatenate([np.cos(half), np.sinc(half / np.pi) * vector / 2], axis=-1)


def rotation_vector(quaternion: Array) -> Array:
    """The rotation vector of at most half a turn.

    Parameters
    ----------
    quaternion : array, shape (..., 4)
        Unit quaternions.

    Returns
    -------
    array, shape (..., 3)
        [rad].
    """
    sign = np.where(quaternion[..., :1] < 0, -1.0, 1.0)
    part = sign * quaternion[..., 1:]
    sine = np.linalg.norm(part, axis=-1, keepdims=True)
    half = np.arctan2(sine, sign * quaternion[..., :1])
    return np.where(sine > 0, 2 * half / np.where(sine > 0, sine, 1.0), 2.0) * part


def turn_less_identity(quaternion: Array) -> Array:
    """Rotation matrix minus the identity, without cancellation for small turns.

    Parameters
    ----------
    quaternion : array, shape (..., 4)
        Need not be of unit length.

    Returns
    -------
    array, shape (..., 3, 3)
    """
    scalar, part = quaternion[..., 0, None, None], quaternion[..., 1:]
    square = np.sum(part * part, axis=-1)[..., None, None]
    outer = part[..., :, None] * part[..., None, :]
    size = np.sum(quaternion * quaternion, axis=-1)[..., None, None]
    return np.asarray(2 * (outer - square * np.eye(3) + scalar * cross_matrix(part)) / size)


def rotation_matrix(quaternion: Array) -> Array:
    """Rotation matrix.

    Parameters
    ----------
    quaternion : array, shape (..., 4)
        Need not be of unit length.

    Returns
    -------
    array, shape (..., 3, 3)
    """
    return turn_less_identity(quaternion) + np.eye(3)


def spin_map(quaternion: Array) -> Array:
    """How a quaternion changes with a small rotation about the fixed axes.

    Parameters
    ----------
    quaternion : array, shape (..., 4)
        Unit quaternions.

    Returns
    -------
    array, shape (..., 4, 3)
        ``d(exp(spin / 2) q) / d(spin)`` at zero spin; the second derivative is ``-q / 4`` times the identity.
    """
    scalar, part = quaternion[..., 0, None, None], quaternion[..., 1:]
    lower = scalar * np.eye(3) - cross_matrix(part)
    return np.concatenate([-part[..., None, :], lower], axis=-2) / 2


@cache
def _sine_series() -> Array:
    """Of ``s = sin(t / 2) / t``, ``s1 = s' / t`` and ``s2 = s1' / t`` as power series in t squared, (terms, 3)."""
    terms = range(_SINE_TERMS)
    first = np.array([(-1) ** k / (2 ** (2 * k + 1) * factorial(2 * k + 1)) for k in terms])
    second = np.array([2 * (k + 1) * first[k + 1] for k in terms[:-1]])
    third = np.array([2 * (k + 1) * second[k + 1] for k in terms[:-2]])
    return np.stack([first, np.append(second, 0.0), np.append(third, [0.0, 0.0])], axis=1)


def slope_and_bend(vector: Array, axes: Array, moment: Array) -> tuple[Array, Array]:
    """Spin when a rotation vector grows along given axes, and the work that a moment does on its change.

    Parameters
    ----------
    vector : array, shape (..., 3)
        Rotation vector [rad], up to two turns.
    axes : array, shape (..., 3, k)
        Columns are the axes.
    moment : array, shape (..., 3)
        A fixed vector m.

    Returns
    -------
    slope : array, shape (..., 3, k)
        Spin about the fixed axes for a unit rate along each axis.
    bend : array, shape (..., k, k)
        Second derivative of ``m . r``, r the small rotation from that of `vector` to the one beside it.

    Notes
    -----
    With ``q = (cos(t/2), s v)``, ``t = |v|``, a derivative of q turns into a spin as ``2 vec(dq q*)``, and ``2 m .
    vec(d2q q*)`` is the product of d2q with ``2 (0, m) q``.
    """
    square = np.sum(vector * vector, axis=-1, keepdims=True)
    powers = np.broadcast_to(square, (*square.shape[:-1], _SINE_TERMS)).copy()
    powers[..., 0] = 1.0
    series = np.multiply.accumulate(powers, axis=-1) @ _sine_series()
    s, s1, s2 = (series[..., index, None, None] for index in range(3))
    cosine = np.cos(np.sqrt(square) / 2)
    outer = vector[..., :, None] * vector[..., None, :]
    turning = 2 * cosine[..., None] * (s * _EYE + s1 * outer) + s * s * (outer + 2 * cross_matrix(vector))
    pull = 2 * cosine * np.sum(moment * vector, axis=-1, keepdims=True)
    part = 2 * cosine * moment + 2 * s[..., 0] * cross(moment, vector)
    mixed = part[..., :, None] * vector[..., None, :]
    along = np.sum(moment * vector, axis=-1)[..., None, None]
    bent = s * along * (s * _EYE + s1 * outer) + s1 * (mixed + np.swapaxes(mixed, -1, -2))
    bent += pull[..., None] * (s1 * _EYE + s2 * outer)
    return np.asarray(turning @ axes), np.asarray(np.swapaxes(axes, -1, -2) @ bent @ axes)


def _scaled(factor: Array, matrix: Array) -> Array:
    return factor[..., None, None] * matrix


@cache
def _logarithm_series() -> tuple[Array, Array, Array]:
    """Of ``2 acos(c) / sqrt(1 - c^2)`` and its derivatives by c, as power series in ``1 - c``."""
    terms = range(_LOGARITHM_TERMS)
    value = np.array([2.0 * 2**n * factorial(n) ** 2 / factorial(2 * n + 1) for n in terms])
    slope = np.array([-(n + 1) * value[n + 1] for n in terms[:-1]])
    bend = np.array([-(n + 1) * slope[n + 1] for n in terms[:-2]])
    return value, slope, bend


def logarithm_derivatives(quaternion: Array) -> tuple[Array, Array, Array]:
    """The rotation vector of a quaternion and its derivatives by the four parts.

    Parameters
    ----------
    quaternion : array, shape (..., 4)
        Unit quaternions; the sign does not matter.

    Returns
    -------
    vector : array, shape (..., 3)
        [rad], up to half a turn.
    first : array, shape (..., 3, 4)
        By the parts of the given quaternion.
    second : array, shape (..., 3, 4, 4)
        The same twice.
    """
    sign = np.where(quaternion[..., 0] < 0, -1.0, 1.0)
    upper = sign[..., None] * quaternion
    part = upper[..., 1:]
    f, f1, f2 = (
        np.asarray(polyval(1 - upper[..., 0], terms), dtype=np.float64) for terms in _logarithm_series()
    )
    first = np.concatenate([(f1[..., None] * part)[..., None], _scaled(f, np.eye(3))], axis=-1)
    second = np.zeros((*part.shape, 4, 4))
    second[..., 0, 0] = f2[..., None] * part
    second[..., 0, 1:] = second[..., 1:, 0] = _scaled(f1, np.eye(3))
    return f[..., None] * part, sign[..., None, None] * first, second
