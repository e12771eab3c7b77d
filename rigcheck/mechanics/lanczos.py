"""Few shapes that tell what a frame does to its prop: Lanczos' method in blocks, for many variants at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.batches import inverse_factor, uncoupled

__all__ = ["Motion", "lanczos", "motion_of", "those_that_count"]

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
    upper = np.swapaxes(lower, 1, 2)
    matrix = lower @ mass @ upper
    values, shapes = [], []
    for group in uncoupled(stiffness, mass):
        columns = group[group < prop]
        if len(columns):
            space, reduced = lanczos(lambda block: matrix @ block, lower[:, :, columns], steps)
            value, mixed = np.linalg.eigh(reduced)
            values.append(value)
            shapes.append(upper @ (space @ mixed))
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


def lanczos(operator: Callable[[Array], Array], first: Array, steps: int) -> tuple[Array, Array]:
    """Orthonormal shapes reached from `first` (B, N, c), and the operator among them.

    Returns arrays of shape (B, N, c (steps + 1)) and (B, c (steps + 1), c (steps + 1)). Where a variant has fewer
    shapes to reach, the rest are zero.
    """
    columns = first.shape[2]
    space = np.zeros((*first.shape[:2], columns * (steps + 1)))
    turned = np.empty_like(space)
    block = first
    for step in range(steps + 1):
        done = slice(0, step * columns)
        new = slice(done.stop, done.stop + columns)
        block = _orthonormal(block, space[:, :, done])
        space[:, :, new] = block
        block = operator(block)
        turned[:, :, new] = block
    return space, _transposed(space) @ turned


def _orthonormal(block: Array, known: Array) -> Array:
    """What is new in the columns of `block` (B, N, c), orthonormal among themselves and to `known`.

    Zero columns stand for what is not new. The eigenvectors of the products of all columns tell that apart, which a
    triangular factor does not where one column depends on others.
    """
    size = np.linalg.norm(block, axis=1, keepdims=True)
    block = block / np.where(size > 0, size, 1.0)
    for _ in range(2 if known.shape[2] else 0):
        block = block - known @ (_transposed(known) @ block)
    value, mixed = np.linalg.eigh(_transposed(block) @ block)
    new = value > _NEW
    block = block @ (mixed * np.where(new, 1 / np.sqrt(np.where(new, value, 1.0)), 0.0)[:, None])
    if known.shape[2]:
        block = block - known @ (_transposed(known) @ block)
    for _ in range(2):
        # Newton's iteration for the inverse root of what is one but for rounding.
        block = block @ (1.5 * np.eye(block.shape[2]) - 0.5 * (_transposed(block) @ block))
    return block


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


_NEW = 1e-12
"""Square of the share of a shape that must be new for it to count; what is left out changes no digit that matters."""
