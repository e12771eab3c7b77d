"""Finite rotations as unit quaternions, scalar first, with what Newton's method needs of their derivatives.

A quaternion keeps its sign from step to step, so a rod may turn through more than half a circle. All
functions take any leading axes.
"""

from __future__ import annotations

from functools import cache
from math import factorial

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.frame import cross_matrix

__all__ = [
    "CROSS",
    "SQUARES",
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

_SINE_TERMS = 16
_LOGARITHM_TERMS = 56


_NEXT_TO_NOTHING = 1e-150
"""Half a turn this small has a sine that is the angle itself."""


def _permutations() -> Array:
    """``(a x b)_i = e_ijk a_j b_k``."""
    result = np.zeros((3, 3, 3))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        result[i, j, k], result[i, k, j] = 1.0, -1.0
    return result


def _square_terms() -> Array:
    """``(R - 1) n / 2`` row by row, and n = |q|^2, from ``q_i q_j``, (10, 16)."""
    result = np.zeros((3, 3, 4, 4))
    for i in range(3):
        for j in range(3):
            result[i, j, 1 + i, 1 + j] += 1.0
            result[i, j, 0, 1:] -= CROSS[i, j]
        result[i, i, 1:, 1:] -= np.eye(3)
    return np.concatenate([result.reshape(9, 16), np.eye(4).reshape(1, 16)])


def _product_terms() -> Array:
    """The product of p and q from ``p_i q_j``, (16, 4)."""
    result = np.zeros((4, 4, 4))
    result[:, :, 0] = np.diag([1.0, -1.0, -1.0, -1.0])
    result[0, 1:, 1:] = result[1:, 0, 1:] = np.eye(3)
    result[1:, 1:, 1:] = CROSS.transpose(1, 2, 0)
    return result.reshape(16, 4)


CROSS = _permutations()
"""See `_permutations`."""
SQUARES = _square_terms()
"""See `_square_terms`."""
_PRODUCT = _product_terms()


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
    pairs = first[..., :, None] * second[..., None, :]
    return np.asarray((pairs.reshape(*pairs.shape[:-2], 1, 16) @ _PRODUCT)[..., 0, :])


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
    half = np.maximum(np.sqrt(np.sum(vector * vector, axis=-1, keepdims=True)) / 2, _NEXT_TO_NOTHING)
    return np.concatenate([np.cos(half), np.sin(half) / half * (vector / 2)], axis=-1)


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
    pairs = quaternion[..., :, None] * quaternion[..., None, :]
    # Row by row, so that the rounding of one has nothing to do with how many there are.
    terms = (pairs.reshape(*pairs.shape[:-2], 1, 16) @ SQUARES.T)[..., 0, :]
    return np.asarray((terms[..., :9] * (2 / terms[..., 9:])).reshape(*terms.shape[:-1], 3, 3))


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
    square = np.sum(vector * vector, axis=-1)
    s, s1, s2 = (each[..., None, None] for each in _sums(_sine_series(), square))
    double = 2 * np.cos(np.sqrt(square) / 2)[..., None, None]
    third = double * s1 + s * s
    crossed = cross_matrix(vector)
    slope = axes + (2 * s * s * crossed + third * (crossed @ crossed)) @ axes
    column, m = vector[..., None], moment[..., None]
    along = np.swapaxes(m, -1, -2) @ column
    # Along the axes: v, and the vector part of 2 (0, m) q.
    rates = np.swapaxes(axes, -1, -2)
    v, part = rates @ column, rates @ (double * m - 2 * s * (crossed @ m))
    mixed = s1 * part * np.swapaxes(v, -1, -2)
    bend = along * (third * (rates @ axes) + (s * s1 + double * s2) * (v * np.swapaxes(v, -1, -2)))
    return np.asarray(slope), np.asarray(bend + mixed + np.swapaxes(mixed, -1, -2))


def _scaled(factor: Array, matrix: Array) -> Array:
    return factor[..., None, None] * matrix


@cache
def _logarithm_series() -> Array:
    """Of ``2 acos(c) / sqrt(1 - c^2)`` and its derivatives by c, as power series in ``1 - c``, (terms, 3)."""
    terms = range(_LOGARITHM_TERMS)
    value = np.array([2.0 * 2**n * factorial(n) ** 2 / factorial(2 * n + 1) for n in terms])
    slope = np.array([-(n + 1) * value[n + 1] for n in terms[:-1]])
    bend = np.array([-(n + 1) * slope[n + 1] for n in terms[:-2]])
    return np.stack([value, np.append(slope, 0.0), np.append(bend, [0.0, 0.0])], axis=1)


def _sums(series: Array, at: Array) -> tuple[Array, Array, Array]:
    """Three power series, (terms, 3), at any places."""
    powers = np.repeat(at[..., None], len(series), axis=-1)
    powers[..., 0] = 1.0
    # Row by row, so that the rounding of one has nothing to do with how many there are.
    sums = np.multiply.accumulate(powers, axis=-1)[..., None, :] @ series
    return sums[..., 0, 0], sums[..., 0, 1], sums[..., 0, 2]


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
    f, f1, f2 = _sums(_logarithm_series(), 1 - upper[..., 0])
    first = np.concatenate([(f1[..., None] * part)[..., None], _scaled(f, np.eye(3))], axis=-1)
    second = np.zeros((*part.shape, 4, 4))
    second[..., 0, 0] = f2[..., None] * part
    second[..., 0, 1:] = second[..., 1:, 0] = _scaled(f1, np.eye(3))
    return f[..., None] * part, sign[..., None, None] * first, second
