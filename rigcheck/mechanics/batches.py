"""Linear algebra of many small symmetric matrices at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["definite", "inverse_factor", "pairs_of", "runs_of"]

Array = NDArray[np.float64]

_LEAF = 16
"""Above this size products of halves are faster than LAPACK's inverse, by trial."""


def inverse_factor(matrix: Array) -> Array:
    """Inverse of the Cholesky factor of symmetric positive definite matrices.

    Parameters
    ----------
    matrix : array, shape (B, n, n)
        Symmetric positive definite.

    Returns
    -------
    array, shape (B, n, n)
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
    size = matrix.shape[1]
    if size <= _LEAF:
        return np.asarray(np.linalg.inv(np.linalg.cholesky(matrix)))
    half = size // 2
    result = np.zeros_like(matrix)
    first = inverse_factor(matrix[:, :half, :half])
    below = np.ascontiguousarray(np.swapaxes(first @ matrix[:, :half, half:], 1, 2))
    last = inverse_factor(matrix[:, half:, half:] - below @ np.swapaxes(below, 1, 2))
    result[:, :half, :half], result[:, half:, half:] = first, last
    result[:, half:, :half] = -(last @ below @ first)
    return result


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


def definite(matrix: Array) -> NDArray[np.bool_]:
    """Which symmetric matrices are positive definite.

    Parameters
    ----------
    matrix : array, shape (B, n, n)
        Symmetric.

    Returns
    -------
    array of bool, shape (B,)
    """
    try:
        np.linalg.cholesky(matrix)
    except np.linalg.LinAlgError:
        # LAPACK does not say which of the batch it was.
        return np.asarray(np.linalg.eigvalsh(matrix)[:, 0] > 0)
    return np.ones(len(matrix), dtype=bool)


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
