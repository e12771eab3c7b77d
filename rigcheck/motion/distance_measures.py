"""Distances along the path of a point: how far it strays, how wide it swings, when it is still."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError, NotConvergedError
from rigcheck.motion._checks import FloatArray, oscillator, positive

__all__ = ["peak_distance", "peak_to_peak_distance", "settle_time_modal"]

_SQUARED_WELL = 1e-120
"""Squares of numbers from this to its inverse neither overflow nor lose digits."""
_LOST = 1e-14
"""Share of the largest squares that rounding may take from a sum of them."""
_SAME_DIRECTION = 1e-7
"""Unit vectors that differ by less see lengths that differ by half its square."""
_PAIRS = 1 << 21  # distances held at a time: 16 MB
_IN_GROUP = 16
"""Points of a path that are looked at together."""
_ROUNDING = 1e-12


def peak_distance(points: ArrayLike, *, refine: bool = True) -> FloatArray:
    """Give the largest distance from the origin along a path.

    Parameters
    ----------
    points : array_like, (..., 3, n)
        Displacement vectors at n successive times [m]; any number of components will do in place of 3.
    refine : bool
        Look between the samples: a parabola through the largest squared distance and its two neighbours. Give
        False for samples that are not evenly spaced neighbours in time.

    Returns
    -------
    ndarray, (...)
        Largest abs(d) [m].

    Notes
    -----
    For a sinusoid with N samples a period the parabola is within 2 (pi/N)^4 of the peak, relative: 4e-5 at
    N = 48; without it, (pi/N)^2/2, 2e-3.
    """
    path, power = _in_range(_path(points))
    squared = np.einsum("...kn,...kn->...n", path, path)
    if refine and squared.shape[-1] >= 3:
        squared = _turns(squared)[0]
    return np.asarray(np.ldexp(np.sqrt(squared.max(axis=-1)), power))


def peak_to_peak_distance(points: ArrayLike, *, exact: bool = True, refine: bool = True) -> FloatArray:
    """Give the largest distance between any two places of a path: its diameter.

    Parameters
    ----------
    points : array_like, (..., 3, n)
        Displacement vectors at n successive times [m].
    exact : bool
        True finds the farthest pair of samples for certain. False, for large batches, looks along 13
        directions and then from end to end, which takes half the time. It can only miss downwards: on 4000
        random vibration paths of one to six modes it missed in 0.2 %, at worst by 2.5 %.
    refine : bool
        Look between the samples around both ends of the pair, with a parabola; see `peak_distance`.

    Returns
    -------
    ndarray, (...)
        Largest abs(d(t1) - d(t2)) [m].

    Notes
    -----
    A first pair at distance D comes from going from one end of the path to the farthest place and on from there, or
    from the directions. Only points farther than D - R from any centre, R
    being the largest distance of a point from it, can be the end of a longer pair; those alone are compared
    one by one. With 48 samples or more in a period of the highest mode the refined result is within 1e-4.
    """
    path, power = _in_range(_path(points))
    lead, count = path.shape[:-2], path.shape[-1]
    flat = path.reshape(-1, path.shape[-2], count)
    if flat.shape[1] == 1:
        # On a line the ends are the highest and the lowest place.
        height = _turns(flat[:, 0])[0] if refine and count >= 3 else flat[:, 0]
        return np.asarray(np.ldexp((height.max(axis=1) - height.min(axis=1)).reshape(lead), power))
    if exact:
        squared = np.einsum("bkn,bkn->bn", flat, flat)
        first, second = _end_to_end(flat, squared)
        _make_exact(flat, squared, first, second)
    else:
        first, second = _directional_pair(flat)
    a, b = _at(flat, first), _at(flat, second)
    longest = np.sqrt(((a - b) ** 2).sum(axis=1))
    if refine and count >= 3:
        axis = _unit(a - b)
        a, b = _farthest_along(flat, axis)
        # The second look corrects the direction that the samples alone gave, where it was not the right one.
        better = _unit(a - b)
        turned = np.flatnonzero(np.abs(better - axis).max(axis=1) > _SAME_DIRECTION)
        if turned.size:
            a[turned], b[turned] = _farthest_along(flat[turned], better[turned])
        longest = np.maximum(longest, np.sqrt(((a - b) ** 2).sum(axis=1)))
    return np.asarray(np.ldexp(longest.reshape(lead), power))


def settle_time_modal(
    amplitude_vectors: ArrayLike,
    *,
    angular_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    threshold: ArrayLike,
) -> FloatArray:
    """Give the time after which the sum of all decaying modes is certain to stay within the threshold.

    Parameters
    ----------
    amplitude_vectors : array_like, (..., m, 3)
        Amplitude of each mode's free vibration at the point, at time 0 [m], along its direction.
    angular_frequency : array_like, (..., m)
        Undamped angular frequencies [rad/s].
    damping_ratio : array_like
        Share of critical damping, 0 <= value < 1.
    threshold : array_like, (...)
        Allowed peak-to-peak distance [m], above 0.

    Returns
    -------
    ndarray, (...)
        Smallest t >= 0 [s] with sum of 2 abs(A_m) exp(-zeta omega t) <= threshold; infinity where undamped
        modes alone exceed it.

    Notes
    -----
    An upper envelope: it adds the modes as if their swings lined up, in time and in direction. A single mode
    that moves on a line is off by less than half a period; modes at right angles are overestimated most.

    ln(sum/threshold) falls and is convex in t, so Newton steps from the left never pass the root.
    """
    omega, zeta = oscillator(angular_frequency, damping_ratio)
    vectors = np.asarray(amplitude_vectors, dtype=np.float64)
    if vectors.ndim < 2 or not np.isfinite(vectors).all():
        raise ArgumentError(
            f"amplitude_vectors: given shape {vectors.shape}; wanted (..., m, 3), all finite numbers."
        )
    limit = positive("threshold", threshold, "m")
    swing = 2.0 * np.sqrt((vectors**2).sum(axis=-1))
    rate = zeta * omega
    swing, rate = np.broadcast_arrays(swing, rate)
    lead = np.broadcast_shapes(swing.shape[:-1], limit.shape)
    swing = np.broadcast_to(swing, (*lead, swing.shape[-1]))
    rate = np.broadcast_to(rate, swing.shape)
    limit = np.broadcast_to(limit, lead)
    never = np.where(rate == 0.0, swing, 0.0).sum(axis=-1) >= limit
    never &= swing.sum(axis=-1) > limit
    t = np.zeros(lead)
    going = (swing.sum(axis=-1) > limit) & ~never
    for _ in range(200):
        if not going.any():
            break
        left = swing * np.exp(-rate * t[..., None])
        total = left.sum(axis=-1)
        slope = (rate * left).sum(axis=-1)
        step = np.zeros(lead)
        np.divide(total * np.log(np.where(going, total, 1.0) / limit), slope, out=step, where=going)
        t = t + step
        going &= step > 1e-13 * t
    else:
        raise NotConvergedError(f"settle_time_modal: no result after 200 steps for {int(going.sum())} cases.")
    return np.where(never, np.inf, t)


def _path(points: ArrayLike) -> FloatArray:
    """Check the shape of a path: (..., k, n), not empty."""
    path = np.asarray(points, dtype=np.float64)
    if path.ndim < 2 or path.shape[-1] < 1 or path.shape[-2] < 1:
        raise ArgumentError(f"points: given shape {path.shape}; wanted (..., 3, n) with n at least 1.")
    return path


def _in_range(path: FloatArray) -> tuple[FloatArray, NDArray[np.intc]]:
    """Give the paths over a power of two and that power, (...): 0 where squares stay in the range of numbers.

    Numbers that are not finite are refused here, where the largest are known.
    """
    rows = path.reshape(*path.shape[:-2], -1)
    largest = np.maximum(rows.max(axis=-1), -rows.min(axis=-1))
    if not np.isfinite(largest).all():
        raise ArgumentError("points: not all are finite numbers.")
    odd = (largest > 1.0 / _SQUARED_WELL) | ((largest < _SQUARED_WELL) & (largest > 0.0))
    power = np.where(odd, np.frexp(largest)[1], 0)
    return (np.ldexp(path, -power[..., None, None]) if odd.any() else path), power


def _unit(vectors: FloatArray) -> FloatArray:
    """Give the direction of each, (rows, k); zero where there is none."""
    length = np.sqrt((vectors**2).sum(axis=1, keepdims=True))
    return np.asarray(np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 0.0))


def _at(flat: FloatArray, index: NDArray[np.intp]) -> FloatArray:
    """Give the point of each path at its own index, (rows, k)."""
    return np.asarray(np.take_along_axis(flat, index[:, None, None], axis=2)[:, :, 0])


def _turns(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the top or bottom of the parabola through each sample and its neighbours, and its place from -1 to 1.

    Only a sample that lies beyond both its neighbours has one of its own; others stay as they are. A first or last
    sample takes the one that the parabola through the outermost three has between it and the next.
    """
    place, height = np.zeros_like(values), values.copy()
    before, here, after = values[..., :-2], values[..., 1:-1], values[..., 2:]
    slope = after - before
    bend = after + before
    bend -= here
    bend -= here
    # The nearest of three equally spaced samples to a turn is half a step from it at most.
    turn = np.abs(slope) <= np.abs(bend)
    turn &= bend != 0.0
    shift = place[..., 1:-1]
    np.divide(slope, bend, out=shift, where=turn)
    shift *= -0.5
    height[..., 1:-1] += 0.25 * shift * slope
    for end, side in ((0, -1.0), (-1, 1.0)):
        if not bend.shape[-1]:
            break
        curve, rise = bend[..., end], 0.5 * slope[..., end]
        top = np.divide(-rise, curve, out=np.zeros_like(rise), where=curve != 0.0)
        between = (side * top > 0.5) & (side * top < 1.0)
        height[..., end] = np.where(between, here[..., end] + 0.5 * top * rise, height[..., end])
        place[..., end] = np.where(between, top - side, place[..., end])
    return height, place


def _farthest_along(flat: FloatArray, axis: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the places of each path, between samples too, that reach farthest along the axis and against it."""
    height, place = _turns((axis[:, None, :] @ flat)[:, 0, :])
    rows = np.arange(len(flat))
    ends = []
    for top in (height.argmax(axis=1), height.argmin(axis=1)):
        inside = np.clip(top, 1, flat.shape[2] - 2)
        before, here, after = (flat[rows, :, inside + step] for step in (-1, 0, 1))
        shift = (place[rows, top] + (top - inside))[:, None]
        ends.append(here + 0.5 * shift * (after - before) + 0.5 * shift**2 * (before - 2.0 * here + after))
    return ends[0], ends[1]


def _end_to_end(flat: FloatArray, squared: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Give a pair of far points of each path: the farthest from its start, the farthest from there, and on."""
    rows = np.arange(len(flat))
    first = second = np.zeros(len(flat), dtype=np.intp)
    for _ in range(3):
        here = flat[rows, :, second]
        first, second = second, (squared - 2.0 * (here[:, None] @ flat)[:, 0]).argmax(axis=1)
    return first, second


def _directions(components: int) -> FloatArray:
    """Give axes and all diagonals, one of each opposite pair: 13 in space."""
    grid = np.stack(np.meshgrid(*[[-1.0, 0.0, 1.0]] * components, indexing="ij"), axis=-1)
    grid = grid.reshape(-1, components)
    half = grid[grid.shape[0] // 2 + 1 :]
    return np.asarray(half / np.sqrt((half**2).sum(axis=1, keepdims=True)))


def _directional_pair(flat: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Give a pair of far points of each path: best of the directions, then end to end until nothing grows."""
    rows, components, count = flat.shape
    first = np.zeros(rows, dtype=np.intp)
    second = np.zeros(rows, dtype=np.intp)
    directions = _directions(components)
    block = max(1, _PAIRS // (count * directions.shape[0]))
    for start in range(0, rows, block):
        part = flat[start : start + block]
        reach = directions @ part
        high, low = reach.argmax(axis=2), reach.argmin(axis=2)
        ends = np.concatenate([high, low], axis=1)
        places = np.take_along_axis(part, ends[:, None, :], axis=2)
        gaps = ((places[:, :, :, None] - places[:, :, None, :]) ** 2).sum(axis=1)
        best = gaps.reshape(part.shape[0], -1).argmax(axis=1)
        one = np.take_along_axis(ends, (best // ends.shape[1])[:, None], axis=1)[:, 0]
        two = np.take_along_axis(ends, (best % ends.shape[1])[:, None], axis=1)[:, 0]
        for _ in range(3):  # the farthest from one end, then from the other
            two = ((part - _at(part, one)[:, :, None]) ** 2).sum(axis=1).argmax(axis=1)
            one = ((part - _at(part, two)[:, :, None]) ** 2).sum(axis=1).argmax(axis=1)
        first[start : start + block], second[start : start + block] = one, two
    return first, second


def _make_exact(
    flat: FloatArray, squared: FloatArray, first: NDArray[np.intp], second: NDArray[np.intp]
) -> None:
    """Replace each pair by the farthest one, in place, comparing only the points that could be part of it."""
    a, b = _at(flat, first), _at(flat, second)
    known = np.sqrt(((a - b) ** 2).sum(axis=1))
    centre = 0.5 * (a + b)
    off = (centre**2).sum(axis=1)
    # |p - c|^2 = |p|^2 - 2 p.c + |c|^2, with what rounding takes from it far from the origin on the safe side.
    away = squared - 2.0 * (centre[:, None] @ flat)[:, 0]
    away += off[:, None]
    lost = _LOST * (squared.max(axis=1) + off)
    least = np.maximum(known - np.sqrt(away.max(axis=1) + lost), 0.0) ** 2 * (1.0 - 1e-12) - lost
    possible = away >= least[:, None]
    for row in np.flatnonzero(possible.sum(axis=1) > 2).tolist():
        candidates = np.flatnonzero(possible[row])
        pair = _farthest_pair(flat[row][:, candidates], float(known[row]) ** 2)
        if pair is not None:
            first[row], second[row] = candidates[pair[0]], candidates[pair[1]]


def _farthest_pair(places: FloatArray, best: float) -> tuple[int, int] | None:
    """Give the farthest pair of points whose squared distance is above `best`, or None.

    Points of a path that could end a longest pair lie near a sphere about its middle, often a circle. Sorted by
    angle and taken in groups, most groups are seen at once to be too close to each other: two points of groups about
    c and d with radii r and s are no farther apart than ``|c - d| + r + s``.
    """
    middle = places - places.mean(axis=1, keepdims=True)
    first, second = np.argsort(-middle.var(axis=1))[:2]
    order = np.argsort(np.arctan2(middle[second], middle[first]), kind="stable")
    # The last group is filled up with the last point.
    order = np.pad(order, (0, -order.size % _IN_GROUP), mode="edge")
    groups = middle[:, order].reshape(len(middle), -1, _IN_GROUP)
    centres = groups.mean(axis=2)
    off = groups - centres[:, :, None]
    radii = np.sqrt(np.einsum("kgn,kgn->gn", off, off).max(axis=1))
    across = centres[:, :, None] - centres[:, None]
    bound = np.sqrt(np.einsum("kgh,kgh->gh", across, across)) + radii[:, None] + radii
    one, other = np.nonzero(np.triu(bound * (1.0 + _ROUNDING)) ** 2 > best)
    points = np.ascontiguousarray(groups.transpose(1, 2, 0))
    squared = np.einsum("gnk,gnk->gn", points, points)
    pair = None
    block = _PAIRS // _IN_GROUP**2
    for start in range(0, one.size, block):
        a, b = one[start : start + block], other[start : start + block]
        # |a - b|^2 = |a|^2 + |b|^2 - 2 a.b; about the middle of the points it loses no digits of the longest.
        gaps = squared[a][:, :, None] - 2.0 * points[a] @ points[b].transpose(0, 2, 1)
        gaps += squared[b][:, None]
        farthest = int(gaps.argmax())
        if gaps.flat[farthest] > best:
            best = float(gaps.flat[farthest])
            place, row, column = np.unravel_index(farthest, gaps.shape)
            pair = (int(order[a[place] * _IN_GROUP + row]), int(order[b[place] * _IN_GROUP + column]))
    return pair
