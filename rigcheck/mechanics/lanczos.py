"""Few shapes that tell what a frame does to its prop: Lanczos' method in blocks, for many variants at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.batches import inverse_factor, uncoupled

__all__ = ["Motion", "motion_of", "reached", "those_that_count"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True, eq=False)
class Motion:
    """What fields of acceleration do to a frame of n freedoms: slowly, and mode by mode. k fields, m modes.

    Attributes
    ----------
    angular_frequency : array, shape (B, m)
        In rising order [rad/s]. A variant with fewer modes than others repeats its last frequency.
    shape : array, shape (B, n, m)
        Of each mode, of unit modal mass; zero where a frequency is only repeated.
    participation : array, shape (B, m, k)
        Modal force of each field.
    follow : array, shape (B, n, k)
        What each field does when it is applied slowly.
    """

    angular_frequency: Array
    shape: Array
    participation: Array
    follow: Array


def motion_of(
    stiffness: Array, mass: Array, loads: Array, *, prop: int, least_share: float, steps: int = 3
) -> Motion:
    """Answer of any frame to fields of acceleration, by the modes that move its prop.

    Parameters
    ----------
    stiffness : array, shape (B, n, n)
        Symmetric positive definite.
    mass : array, shape (B, n, n)
        Symmetric, not negative.
    loads : array, shape (B, n, k)
        Of each field.
    prop : int
        How many of the freedoms, which come first, are the prop's: three displacements first.
    least_share, steps
        As in `rigcheck.mechanics.condensed.CondensedFrame.motion`, where the method is described.

    Returns
    -------
    Motion
    """
    lower = inverse_factor(stiffness)
    upper = _transposed(lower)
    values, shapes = [], []
    for group in uncoupled(stiffness, mass):
        columns = group[group < prop]
        if not len(columns):
            continue
        block = group[:, None], group
        own, own_mass = np.ascontiguousarray(lower[:, *block]), mass[:, *block]

        def turned(vectors: Array, own: Array = own, own_mass: Array = own_mass) -> Array:
            return np.asarray(own @ (own_mass @ (_transposed(own) @ vectors)))

        space, reduced = reached(turned, lower[:, group[:, None], columns], steps)
        value, mixed = np.linalg.eigh(reduced)
        values.append(value)
        shapes.append(upper[:, :, group] @ (space @ mixed))
    value, shape = np.concatenate(values, axis=1), np.concatenate(shapes, axis=2)
    force = np.swapaxes(shape, 1, 2) @ loads
    places, valid = those_that_count(value, shape[:, :3], force, least_share)
    omega = 1 / np.sqrt(np.take_along_axis(value, places, axis=1))
    size = np.where(valid, omega, 0.0)
    return Motion(
        angular_frequency=omega,
        shape=np.take_along_axis(shape, places[:, None], axis=2) * size[:, None],
        participation=np.take_along_axis(force, places[..., None], axis=1) * size[..., None],
        follow=upper @ (lower @ loads),
    )


def reached(operator: Callable[[Array], Array], first: Array, steps: int) -> tuple[Array, Array]:
    """Orthonormal vectors reached from the first ones in some steps, and the operator among them.

    Parameters
    ----------
    operator : callable
        Product of a symmetric matrix with vectors (B, n, any).
    first : array, shape (B, n, c)
        Vectors to start from.
    steps : int
        How often the operator is worked in.

    Returns
    -------
    tuple of array, shape (B, n, k) and (B, k, k)
        k is c (steps + 1), or n where that is less.

    Notes
    -----
    Each step's vectors are made orthonormal among themselves, and all of them together at the end. Where a step
    brings nothing new, rounding fills the place with a vector orthogonal to the others, which does no harm: Ritz
    values in a larger space are no worse.
    """
    block = np.linalg.qr(first).Q
    blocks = [block]
    for _ in range(steps):
        block = np.linalg.qr(operator(block)).Q
        blocks.append(block)
    space = np.asarray(np.linalg.qr(np.concatenate(blocks, axis=2)).Q, dtype=np.float64)
    return space, _transposed(space) @ operator(space)


def those_that_count(value: Array, moved: Array, force: Array, least_share: float) -> tuple[Index, Flags]:
    """Which modes move the prop, rising in frequency, and where a variant has fewer, which are repeated.

    Shapes are of unit stiffness, so that what a mode moves in a steady field is shape times force.
    """
    rank = np.argsort(-value, axis=1, kind="stable")
    share = np.abs(moved[:, :3]).max(axis=1) * np.abs(force).max(axis=2)
    # A mode without mass has omega^-2 = 0 to rounding.
    massive = value > 1e-14 * value.max(axis=1, keepdims=True)
    strong: Flags = massive & (share >= least_share * share.max(axis=1, keepdims=True))
    strong = np.take_along_axis(strong, rank, axis=1)
    strong[:, 0] = True
    counts = strong.sum(axis=1)
    first = np.argsort(~strong, axis=1, kind="stable")[:, : counts.max()]
    place = np.arange(first.shape[1])
    last = np.take_along_axis(first, counts[:, None] - 1, axis=1)
    valid = place < counts[:, None]
    return np.take_along_axis(rank, np.where(valid, first, last), axis=1), valid


def _transposed(matrix: Array) -> Array:
    return np.swapaxes(matrix, 1, 2)
