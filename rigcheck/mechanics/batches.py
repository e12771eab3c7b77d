"""Linear algebra of many small symmetric matrices at once."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ValidityError

__all__ = [
    "cross",
    "definite",
    "inverse_factor",
    "keep_freed_memory",
    "largest_pairs",
    "pairs_of",
    "runs_of",
    "solved",
    "told_if_too_far_apart",
    "uncoupled",
    "upper_inverse_factor",
]

Array = NDArray[np.float64]

_LEAF = 8
"""Above this size products of halves are faster than LAPACK's inverse, by trial."""


def cross(first: Array, second: Array) -> Array:
    """Cross products of many vectors, with much less to do before the first multiplication than `numpy.cross` has.

    Parameters
    ----------
    first, second : array, shape (..., 3)
        Broadcast with each other.

    Returns
    -------
    array, shape (..., 3)
    """
    result = np.empty(np.broadcast_shapes(first.shape, second.shape))
    for axis, after, last in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        np.multiply(first[..., after], second[..., last], out=result[..., axis])
        result[..., axis] -= first[..., last] * second[..., after]
    return result


@contextmanager
def told_if_too_far_apart(what: str) -> Iterator[None]:
    """Say in words why a stiffness matrix that should be positive definite is not.

    Parameters
    ----------
    what : str
        What can then not be worked out, as in ``no modes``.

    Raises
    ------
    ValidityError
        In place of LAPACK's error: the stiffest and the softest part are so far apart that rounding leaves nothing of
        the latter.
    """
    try:
        yield
    except np.linalg.LinAlgError as error:
        raise ValidityError(
            f"{what} can be worked out: the stiffest and the softest part of the rig are too far apart for numbers of"
            " 16 digits. Look for a size that is far out, such as a diameter in m for mm."
        ) from error


def keep_freed_memory() -> None:
    """Have the memory of freed arrays kept for the next ones, where many batches follow each other.

    The C library of Linux gives large blocks back to the system as soon as they are freed, until it has seen one of
    up to 32 MiB freed; then it keeps blocks of up to that size. Asking the system again for each array of every batch
    takes a quarter of their time. The block here is never written, so it takes no memory; elsewhere it does nothing.
    """
    np.empty(31 << 17)


def solved(matrix: Array, right: Array) -> Array:
    """Solutions of many systems.

    Parameters
    ----------
    matrix : array, shape (B, ..., n, n)
        Any.
    right : array, shape (B, ..., n, k)
        Right-hand sides.

    Returns
    -------
    array, shape (B, ..., n, k)
        NaN for a variant that has a singular matrix.
    """
    with suppress(np.linalg.LinAlgError):
        return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)
    result = np.full_like(right, np.nan)
    for index in range(len(matrix)):
        with suppress(np.linalg.LinAlgError):
            result[index] = np.linalg.solve(matrix[index], right[index])
    return result


def inverse_factor(matrix: Array) -> Array:
    """Inverse of the Cholesky factor of symmetric positive definite matrices.

    Parameters
    ----------
    matrix : array, shape (..., n, n)
        Symmetric positive definite.

    Returns
    -------
    array, shape (..., n, n)
        Lower triangular ``L^-1`` with ``matrix = L L^T``.

    Raises
    ------
    numpy.linalg.LinAlgError
        If a matrix is not positive definite.

    Notes
    -----
    By halves, ``L = [[A, 0], [B, C]]``: ``B^T = A^-1 M_12``, ``C C^T = M_22 - B B^T``, and the lower left of
    the inverse is ``-C^-1 B A^-1``.
    """
    size = matrix.shape[-1]
    if size == 1:
        if not np.all(matrix > 0):
            raise np.linalg.LinAlgError("Matrix is not positive definite")
        return 1 / np.sqrt(matrix)
    if size <= _LEAF:
        return np.asarray(np.linalg.inv(np.linalg.cholesky(matrix)))
    half = size // 2
    result = np.zeros_like(matrix)
    first = inverse_factor(matrix[..., :half, :half])
    below = np.ascontiguousarray(np.swapaxes(first @ matrix[..., :half, half:], -1, -2))
    last = inverse_factor(matrix[..., half:, half:] - below @ np.swapaxes(below, -1, -2))
    result[..., :half, :half], result[..., half:, half:] = first, last
    result[..., half:, :half] = -(last @ below @ first)
    return result


def upper_inverse_factor(matrix: Array) -> Array:
    """The same for the factor that is upper triangular, in which the first freedoms stand alone.

    Parameters
    ----------
    matrix : array, shape (B, n, n)
        Symmetric positive definite.

    Returns
    -------
    array, shape (B, n, n)
        Upper triangular ``U^-1`` with ``matrix = U U^T``.

    Raises
    ------
    numpy.linalg.LinAlgError
        If a matrix is not positive definite.
    """
    turned = inverse_factor(np.ascontiguousarray(matrix[:, ::-1, ::-1]))
    return np.ascontiguousarray(turned[:, ::-1, ::-1])


def pairs_of(stiffness: Array, mass: Array) -> tuple[Array, Array]:
    """All modes of ``K x = omega^2 M x`` of small matrices.

    Parameters
    ----------
    stiffness : array, shape (B, n, n)
        Symmetric positive definite.
    mass : array, shape (B, n, n)
        Symmetric, not negative; may be singular.

    Returns
    -------
    tuple of array, shape (B, n) and (B, n, n)
        ``omega^-2`` in falling order, and the shapes as columns with ``x^T K x = 1``.

    Notes
    -----
    ``L^-1 M L^-T y = omega^-2 y`` with ``K = L L^T`` and ``x = L^-T y``.
    """
    lower = inverse_factor(stiffness)
    upper = np.swapaxes(lower, 1, 2)
    values, vectors = np.linalg.eigh(lower @ mass @ upper)
    return values[:, ::-1], (upper @ vectors)[:, :, ::-1]


def definite(matrix: Array, room: Array | None = None) -> NDArray[np.bool_]:
    """Which symmetric matrices are positive definite.

    Parameters
    ----------
    matrix : array, shape (B, n, n)
        Symmetric.
    room : array, shape (B,), optional
        Something that tends to be small where they are not, which saves work.

    Returns
    -------
    array of bool, shape (B,)

    Notes
    -----
    LAPACK does not say which of a batch have no Cholesky factor. In order of room those that have one are mostly
    together, so that halving the batch soon leaves halves of one kind.
    """
    result = np.ones(len(matrix), dtype=bool)
    waiting = [np.arange(len(matrix)) if room is None else np.argsort(room, kind="stable")]
    while waiting:
        rows = waiting.pop()
        try:
            np.linalg.cholesky(matrix[rows])
        except np.linalg.LinAlgError:
            if len(rows) > _FEW and room is not None:
                waiting += [rows[: len(rows) // 2], rows[len(rows) // 2 :]]
            else:
                result[rows] = np.linalg.eigvalsh(matrix[rows])[:, 0] > 0
    return result


_FEW = 8
"""Matrices of which the eigenvalues are found as soon as looking for a factor of each half."""


def runs_of(places: tuple[int, ...]) -> list[tuple[slice, slice]]:
    """Stretches of places that follow each other, so that blocks are added by slices.

    Parameters
    ----------
    places : tuple of int
        Where each row of a block belongs in the whole.

    Returns
    -------
    list of (slice, slice)
        Rows in the block, and in the whole.
    """
    runs = []
    start = 0
    for index in range(1, len(places) + 1):
        if index == len(places) or places[index] != places[index - 1] + 1:
            runs.append((slice(start, index), slice(places[start], places[index - 1] + 1)))
            start = index
    return runs


def uncoupled(*matrices: Array) -> list[NDArray[np.intp]]:
    """Groups of freedoms that no variant couples beyond rounding.

    Parameters
    ----------
    *matrices : array, shape (B, n, n)
        Symmetric. The first is positive definite (variants that are not, which nobody uses the result of, are taken
        by size); the others are small or large on the scale that it sets.

    Returns
    -------
    list of int array
        Places in each group, together all of them.

    Notes
    -----
    An entry couples if it is above 1e-15 of ``sqrt(k_ii k_jj)`` with k the first matrix, times the greatest
    such ratio in its own. Left out it moves no eigenvalue by more than rounding does.
    """
    size = np.sqrt(np.abs(np.einsum("bii->bi", matrices[0])))
    linked = np.zeros(matrices[0].shape[1:], dtype=bool)
    for matrix in matrices:
        scaled = np.abs(matrix) / size[:, :, None] / size[:, None, :]
        greatest = np.max(scaled, axis=(1, 2), keepdims=True)
        linked |= np.any(scaled > _COUPLED * greatest, axis=0)
    groups = []
    free = np.ones(len(linked), dtype=bool)
    while free.any():
        group = np.zeros_like(free)
        group[np.argmax(free)] = True
        wider = group | linked[group].any(axis=0)
        while wider.sum() > group.sum():
            group = wider
            wider = group | linked[group].any(axis=0)
        free &= ~group
        groups.append(np.flatnonzero(group))
    return groups


_COUPLED = 1e-15


def largest_pairs(matrix: Array, count: int) -> tuple[Array, Array]:
    """Largest eigenvalues of symmetric matrices that are not negative, and their vectors.

    Parameters
    ----------
    matrix : array, shape (B, n, n)
        Symmetric, positive semidefinite.
    count : int
        How many.

    Returns
    -------
    tuple of array, shape (B, count) and (B, n, count)
        Values in falling order, and vectors.

    Notes
    -----
    Subspace iteration with Rayleigh-Ritz, in twice as many vectors as wanted. It starts from fixed random
    vectors: freedoms of the matrix would miss, by symmetry, a mode in which two like supports move against each
    other. Variants that do not settle to 1e-14 of the largest value go to LAPACK whole, as do matrices too
    small to gain by it.
    """
    size = matrix.shape[1]
    space_size = 2 * count + 4
    if size < _WORTH * space_size:
        values, vectors = np.linalg.eigh(matrix)
        return values[:, : -count - 1 : -1], vectors[:, :, : -count - 1 : -1]
    seed = np.random.default_rng(0).normal(size=(size, space_size))
    space = np.linalg.qr(matrix @ seed).Q
    before = np.zeros((len(matrix), space_size))
    settled = np.zeros(len(matrix), dtype=bool)
    values = before
    for _ in range(_MOST):
        # Three steps before each Rayleigh-Ritz: the orthogonal basis bears them without losing a direction.
        for _ in range(2):
            space = np.linalg.qr(matrix @ space).Q
        values, turn = np.linalg.eigh(np.swapaxes(space, 1, 2) @ (matrix @ space))
        space = space @ turn
        change = np.abs(values - before)[:, -count:]
        settled = np.asarray(np.all(change <= _SETTLED * values[:, -1:], axis=1))
        if settled.all():
            break
        before = values
    values = values[:, : -count - 1 : -1].copy()
    vectors = space[:, :, : -count - 1 : -1].copy()
    if not settled.all():
        rest, shapes = np.linalg.eigh(matrix[~settled])
        values[~settled], vectors[~settled] = rest[:, : -count - 1 : -1], shapes[:, :, : -count - 1 : -1]
    return values, vectors


_WORTH = 4
"""A matrix this many times larger than the subspace is worth iterating on, by trial."""
_MOST = 12
_SETTLED = 1e-14
