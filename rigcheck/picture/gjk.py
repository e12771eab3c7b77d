"""Distance of two convex bodies that are known by their farthest points only.

The algorithm of Gilbert, Johnson and Keerthi, for many pairs of bodies at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import NotConvergedError
from rigcheck.picture._checks import FloatArray

__all__ = ["Distance", "FarthestPoints", "convex_distance"]

FarthestPoints = Callable[[FloatArray, NDArray[np.intp]], tuple[FloatArray, FloatArray]]
"""Directions (k, 3) and which pairs they belong to (k,), to the farthest points of the first body along the
directions and of the second body against them, each (k, 3)."""

_MOST_STEPS = 200
_TOLERANCE = 1e-9  # bracket wanted, as a share of `scale`
_ACCEPTABLE = 1e-6  # bracket that is still taken when rounding stops the progress
_FLAT = 1e-12  # a triangle or tetrahedron thinner than this share of its edges has no inside


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Distance:
    """Distances of n pairs.

    Attributes
    ----------
    distance : ndarray, (n,)
        Upper bound [m] (the distance of two points found); 0 where the bodies overlap or touch.
    bracket : ndarray, (n,)
        How far below `distance` the true value can lie [m].
    first, second : ndarray, (n, 3)
        The nearest points of the two bodies [m]; a common point where they overlap.
    """

    distance: FloatArray
    bracket: FloatArray
    first: FloatArray
    second: FloatArray


def convex_distance(farthest: FarthestPoints, *, start: FloatArray, scale: float) -> Distance:
    """Give the distance of n pairs of convex bodies.

    Parameters
    ----------
    farthest : callable
        See `FarthestPoints`.
    start : ndarray, (n, 3)
        A first guess of the vector from the second body to the first, for example between their middles.
    scale : float
        Size of the bodies [m]; distances within 1e-9 of it are found, and below that bodies touch.

    Returns
    -------
    Distance

    Raises
    ------
    NotConvergedError
        If for some pair the bounds stay farther apart than 1e-6 of `scale`.

    Notes
    -----
    The points of the first body minus those of the second form a convex set; its point nearest to the origin
    is approached by the nearest point v of a simplex of at most four of its corners, to which the farthest
    corner w along -v is added. ``v.w / |v|`` is a lower bound of the distance and ``|v|`` an upper bound, so
    every answer comes with its own accuracy.

    References
    ----------
    E. G. Gilbert, D. W. Johnson, S. S. Keerthi, "A fast procedure for computing the distance between complex
    objects in three-dimensional space", IEEE Journal of Robotics and Automation 4(2), 1988, 193-203.
    """
    count = len(start)
    everyone = np.arange(count)
    guess = np.where((start**2).sum(axis=-1, keepdims=True) > 0.0, start, np.array([1.0, 0.0, 0.0]))
    first, second = farthest(-guess, everyone)
    corners = np.repeat((first - second)[:, None], 4, axis=1)
    ours = np.repeat(first[:, None], 4, axis=1)
    weights = np.zeros((count, 4))
    weights[:, 0] = 1.0
    lower = np.zeros(count)
    upper = np.linalg.norm(corners[:, 0], axis=-1)
    active = everyone
    for _ in range(_MOST_STEPS):
        nearest = np.einsum("nk,nkj->nj", weights[active], corners[active])
        length = np.linalg.norm(nearest, axis=-1)
        # Four corners in use enclose the origin; a vanishing vector means the bodies touch.
        apart = (length > _TOLERANCE * scale) & ((weights[active] > 0.0).sum(axis=-1) < 4)
        upper[active[~apart]] = 0.0
        active, nearest, length = active[apart], nearest[apart], length[apart]
        if not active.size:
            break
        first, second = farthest(-nearest, active)
        corner = first - second
        lower[active] = np.maximum(lower[active], (nearest * corner).sum(axis=-1) / length)
        going = length - lower[active] > _TOLERANCE * scale
        active, corner, first, length = active[going], corner[going], first[going], length[going]
        if not active.size:
            break
        # The new corner takes the place of one that carries no weight, and the other idle ones repeat it.
        idle = weights[active] <= 0.0
        tried_corners = np.where(idle[..., None], corner[:, None], corners[active])
        tried_ours = np.where(idle[..., None], first[:, None], ours[active])
        tried_weights, tried_length = _nearest_in_simplex(tried_corners)
        better = tried_length < length
        rows = active[better]
        corners[rows], ours[rows], weights[rows] = (
            tried_corners[better],
            tried_ours[better],
            tried_weights[better],
        )
        upper[rows] = tried_length[better]
        active = rows  # where rounding stops the progress the bracket stays as it is
    bracket = np.maximum(upper - lower, 0.0)
    worst = float(bracket.max(initial=0.0))
    if worst > _ACCEPTABLE * scale:
        raise NotConvergedError(
            f"distance of two props: after {_MOST_STEPS} steps it is known to {worst:.2g} m only. Check the "
            "sizes: one may be very thin for its length."
        )
    first = np.einsum("nk,nkj->nj", weights, ours)
    return Distance(
        distance=upper,
        bracket=np.where(upper > 0.0, bracket, 0.0),
        first=first,
        second=first - np.einsum("nk,nkj->nj", weights, corners),
    )


def _nearest_in_simplex(corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weights (n, 4) of the point nearest to the origin in tetrahedra (n, 4, 3), and its distance (n,).

    Every corner, edge, triangle and the inside are tried, which needs no assumption on the order of the
    corners.
    """
    count = len(corners)
    tried, squares = [], []
    for chosen, solve in zip(_FACES, (_on_point, _on_edge, _on_triangle, _inside), strict=True):
        share = solve(corners[:, chosen])
        usable = np.asarray((share > 0.0).all(axis=-1))  # NaN where the corners do not span
        weights = np.zeros((count, len(chosen), 4))
        weights[:, np.arange(len(chosen))[:, None], chosen] = np.where(usable[..., None], share, 0.0)
        # Inside the tetrahedron is the origin itself.
        nearest = 0.0 if chosen.shape[1] == 4 else ((weights @ corners) ** 2).sum(axis=-1)
        tried.append(weights)
        squares.append(np.where(usable, nearest, np.inf))
    square = np.concatenate(squares, axis=1)
    best = square.argmin(axis=1)
    rows = np.arange(count)
    return np.concatenate(tried, axis=1)[rows, best], np.sqrt(square[rows, best])


_FACES = [np.array(list(combinations(range(4), size))) for size in range(1, 5)]
"""Corners, edges, triangles and the inside of a tetrahedron, by their corners."""


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Cross product along the last axis; numpy's own takes several times as long for a few vectors."""
    (a0, a1, a2), (b0, b1, b2) = np.moveaxis(a, -1, 0), np.moveaxis(b, -1, 0)
    return np.stack([a1 * b2 - a2 * b1, a2 * b0 - a0 * b2, a0 * b1 - a1 * b0], axis=-1)


def _on_point(corners: FloatArray) -> FloatArray:
    return np.ones(corners.shape[:-1])


def _on_edge(corners: FloatArray) -> FloatArray:
    a, b = corners[..., 0, :], corners[..., 1, :]
    edge = b - a
    square = (edge**2).sum(axis=-1)
    share = np.where(square > 0.0, -(a * edge).sum(axis=-1) / np.where(square > 0.0, square, 1.0), np.nan)
    return np.stack([1.0 - share, share], axis=-1)


def _on_triangle(corners: FloatArray) -> FloatArray:
    a, b, c = (corners[..., k, :] for k in range(3))
    first, second = b - a, c - a
    normal = _cross(first, second)
    square = (normal**2).sum(axis=-1)
    flat = square <= _FLAT**2 * (first**2).sum(axis=-1) * (second**2).sum(axis=-1)
    parts = (normal[..., None, :] * _cross(corners[..., [1, 2, 0], :], corners[..., [2, 0, 1], :])).sum(
        axis=-1
    )
    return np.asarray(parts / np.where(flat, np.nan, square)[..., None])


def _inside(corners: FloatArray) -> FloatArray:
    p, q, r = (corners[..., order, :] for order in ([1, 0, 0, 0], [2, 2, 1, 1], [3, 3, 3, 2]))
    parts = (p * _cross(q, r)).sum(axis=-1) * np.array([1.0, -1.0, 1.0, -1.0])
    volume = parts.sum(axis=-1)
    reach = np.abs(corners - corners[..., :1, :]).max(axis=(-2, -1))
    flat = np.abs(volume) <= _FLAT * reach**3
    return np.asarray(parts / np.where(flat, np.nan, volume)[..., None])
