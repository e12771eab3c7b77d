"""Natural modes of a frame about its settled state."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.batches import inverse_factor, largest_pairs, told_if_too_far_apart, uncoupled
from rigcheck.mechanics.frame import Frame

__all__ = ["Modes", "massive_modes", "natural_modes"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Modes:
    """Modes in rising order of frequency.

    Attributes
    ----------
    angular_frequency : array, shape (B, m)
        [rad/s].
    shape : array, shape (B, n, m)
        Frame freedoms of each mode, scaled to unit modal mass.
    participation : array, shape (B, m, 3)
        Modal force for a unit acceleration of everything along right, up, toward.
    """

    angular_frequency: Array
    shape: Array
    participation: Array

    def lowest(self, count: int) -> Modes:
        """The first `count` of them."""
        return Modes(
            angular_frequency=self.angular_frequency[:, :count],
            shape=self.shape[:, :, :count],
            participation=self.participation[:, :count],
        )


def natural_modes(frame: Frame, stiffness: Array, count: int | None = None) -> Modes:
    """Solve ``K x = omega^2 M x`` for the lowest modes.

    Parameters
    ----------
    frame : Frame
        The frame, for its mass.
    stiffness : array, shape (B, n, n)
        Symmetric positive definite; ``Settled.stiffness``.
    count : int, optional
        How many modes; all that carry mass if left out.

    Returns
    -------
    Modes

    Raises
    ------
    ValidityError
        The stiffest and the softest part are so far apart that rounding leaves nothing of the latter.

    Notes
    -----
    Solved as ``L^-1 M L^-T y = omega^-2 y`` with ``K = L L^T``: the mass may be singular (a point mass has no
    rotational inertia) and the lowest modes come out most precisely, however stiff the stiffest are. Freedoms
    that no variant couples, such as the two planes of a straight support with a prop in line, are solved apart.
    A variant with fewer modes that carry mass than others of its batch has infinite frequencies and zero
    shapes for the rest.
    """
    mass = frame.mass
    groups = uncoupled(stiffness, mass)
    with told_if_too_far_apart("no modes"):
        if len(groups) == 1:
            values, vectors = _block(stiffness, mass, count)
        else:
            values, vectors = _joined(groups, stiffness, mass, count)
    massive, omega = massive_modes(values[:, :count])
    shape = vectors[:, :, : omega.shape[1]] * np.where(massive, omega, 0.0)[:, None, :]
    force = np.stack([frame.inertial_load(axis) for axis in np.eye(3)], axis=2)
    return Modes(
        angular_frequency=omega,
        shape=shape,
        participation=np.einsum("bnm,bnk->bmk", shape, force),
    )


def massive_modes(values: Array) -> tuple[NDArray[np.bool_], Array]:
    """Which modes carry mass, and their frequencies.

    Parameters
    ----------
    values : array, shape (B, m)
        omega^-2 in falling order.

    Returns
    -------
    bool array and array, shape (B, most)
        As many as the variant that has most; infinite frequencies for those without mass.
    """
    # A mode without mass has omega^-2 = 0 to rounding.
    massive = values > 1e-14 * values[:, :1]
    massive = massive[:, : int(np.max(np.sum(massive, axis=1)))]
    values = values[:, : massive.shape[1]]
    return massive, np.where(massive, 1.0 / np.sqrt(np.where(massive, values, 1.0)), np.inf)


def _block(stiffness: Array, mass: Array, count: int | None) -> tuple[Array, Array]:
    """Omega^-2 in falling order and shapes of unit stiffness, of the lowest `count` modes or all."""
    lower = inverse_factor(stiffness)
    upper = np.swapaxes(lower, 1, 2)
    matrix = lower @ mass @ upper
    size = matrix.shape[1]
    values, vectors = largest_pairs(matrix, size if count is None else min(count, size))
    return values, upper @ vectors


def _joined(
    groups: list[NDArray[np.intp]], stiffness: Array, mass: Array, count: int | None
) -> tuple[Array, Array]:
    """The same of groups of freedoms that are not coupled."""
    parts = []
    for group in groups:
        block = np.ix_(np.arange(len(mass)), group, group)
        parts.append(_block(stiffness[block], mass[block], count))
    values = np.concatenate([part[0] for part in parts], axis=1)
    vectors = np.zeros((*mass.shape[:2], values.shape[1]))
    column = 0
    for group, (_, shapes) in zip(groups, parts, strict=True):
        vectors[:, group, column : column + shapes.shape[2]] = shapes
        column += shapes.shape[2]
    rank = np.argsort(-values, axis=1, kind="stable")[:, :count]
    return np.take_along_axis(values, rank, axis=1), np.take_along_axis(vectors, rank[:, None], axis=2)
