"""Which stretch of a straight line in space a convex prop hides from the camera.

What a convex solid hides is itself convex: the solid and all that lies behind it as seen from the lens. A
straight line therefore has at most one hidden stretch, and its ends follow from a closed form for each kind
of solid.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rigcheck.picture._checks import FloatArray
from rigcheck.picture.projection import Camera
from rigcheck.picture.solids import Solid

__all__ = ["hidden_stretch"]

Index = NDArray[np.intp]

_FLAT = 1e-14  # a quadratic's leading coefficient below this share of the others is rounding


def hidden_stretch(
    solid: Solid, camera: Camera, *, start: FloatArray, end: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Give the stretch of lines that lies in or behind a prop.

    Parameters
    ----------
    solid : Solid
        The prop in its poses (...).
    camera : Camera
        The camera.
    start, end : ndarray, (..., l, 3)
        Ends of l lines for each pose [m].

    Returns
    -------
    tuple of ndarray, (..., l)
        Where the hidden stretch begins and ends, as shares 0 to 1 of the line from its start. Both are 1
        where nothing is hidden.

    Raises
    ------
    ValidityError
        If the lens is inside the prop.

    Notes
    -----
    With the line ``A + t D`` and the lens q, all in the coordinates of the unit solid, a point is hidden when
    for some s >= 0 the point ``(A + t D + s q) / (1 + s)`` between it and the lens is in the solid (for a
    camera of unknown distance ``A + t D + s v``, v the direction to the lens). Multiplied by 1 + s every face
    gives an inequality linear in t and s, and the ball and the mantle a quadratic one. For a fixed t each
    leaves an interval of s, and intervals share a point when every two of them do, so the hidden t are those
    allowed by every pair. Derived here; exact but for rounding.
    """
    view = solid.viewpoint(camera)[..., None, :]
    turned = np.swapaxes(start - solid.centre[..., None, :], -1, -2)
    first = np.swapaxes(np.swapaxes(solid.orientation, -1, -2) @ turned, -1, -2) / solid.half_size
    turned = np.swapaxes(end - start, -1, -2)
    along = np.swapaxes(np.swapaxes(solid.orientation, -1, -2) @ turned, -1, -2) / solid.half_size
    view = np.broadcast_to(view, first.shape)
    weight = 0.0 if camera.position is None else 1.0  # the solid's bounds grow as 1 + weight * s
    flat_axes = {"box": [0, 1, 2], "sphere": []}.get(solid.shape, [solid.round_axis])
    rows = _Rows(first[..., flat_axes], along[..., flat_axes], view[..., flat_axes], weight)
    if solid.shape == "box":
        begin, stop = rows.stretch()
    else:
        round_axes = [0, 1, 2] if solid.shape == "sphere" else list(solid.across)
        begin, stop = _round_stretch(
            first[..., round_axes], along[..., round_axes], view[..., round_axes], weight, rows
        )
    nothing = ~(stop > begin)
    return np.where(nothing, 1.0, begin), np.where(nothing, 1.0, stop)


class _Rows:
    """The inequalities ``constant + slope t + depth s <= 0`` of pairs of flat faces and of s >= 0, first axis.

    The faces turned to the lens come first, then their opposites; the last row is s >= 0.
    """

    def __init__(self, first: FloatArray, along: FloatArray, view: FloatArray, weight: float) -> None:
        first, along, view = (np.moveaxis(part, -1, 0) for part in (first, along, view))
        sign = np.where(view >= 0.0, 1.0, -1.0)
        ones = np.ones((1, *first.shape[1:]))
        front, turned, deep = sign * first, sign * along, sign * view
        self.constant = np.concatenate([front - 1.0, -front - 1.0, 0.0 * ones])
        self.slope = np.concatenate([turned, -turned, 0.0 * ones])
        self.depth = np.concatenate([deep - weight, -deep - weight, -ones])
        self.faces = len(first)

    def stretch(self) -> tuple[FloatArray, FloatArray]:
        """The stretch of 0 <= t <= 1 for which some s satisfies all rows (Fourier-Motzkin)."""
        is_above, is_below, is_level = self.depth > 0.0, self.depth < 0.0, self.depth == 0.0
        poses = tuple(range(1, self.depth.ndim))
        # A face that the lens does not see bounds s from below only, and then it pairs with none.
        uppers = np.flatnonzero(is_above[: self.faces].any(axis=poses))
        lowers = np.flatnonzero(is_below.any(axis=poses))
        above, below = np.repeat(uppers, len(lowers)), np.tile(lowers, len(uppers))
        constant, slope = self.eliminate(above, below)
        counts = is_above[above] & is_below[below]
        if is_level.any():
            # Two faces seen at a glancing angle may both be level; the opposite faces are then level too.
            constant, slope = np.concatenate([constant, self.constant]), np.concatenate([slope, self.slope])
            counts = np.concatenate([counts, is_level])
        bound = -constant / np.where(slope != 0.0, slope, 1.0)
        high = np.where(counts & (slope > 0.0), bound, 1.0).min(axis=0, initial=1.0)
        low = np.where(counts & (slope < 0.0), bound, 0.0).max(axis=0, initial=0.0)
        never = (counts & (slope == 0.0) & (constant > 0.0)).any(axis=0)
        return low, np.where(never, -1.0, high)

    def eliminate(self, i: Index, j: Index) -> tuple[FloatArray, FloatArray]:
        """Constant and slope of the bounds on t that pairs of rows leave when s is eliminated."""
        constant = self.constant[j] * self.depth[i] - self.constant[i] * self.depth[j]
        slope = self.slope[j] * self.depth[i] - self.slope[i] * self.depth[j]
        return constant, slope

    def allowed(self, t: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest s at shares t (..., k) that the rows allow; lowest above highest where none."""
        low = np.zeros_like(t)
        high = np.full_like(t, np.inf)
        for i in range(2 * self.faces):
            depth = self.depth[i, ..., None]
            level = depth == 0.0
            scale = np.where(level, 1.0, depth)
            bound = -self.constant[i, ..., None] / scale - self.slope[i, ..., None] / scale * t
            np.minimum(high, bound, out=high, where=depth > 0.0)
            np.maximum(low, bound, out=low, where=depth < 0.0)
            high[level & (bound < 0.0)] = -np.inf
        return low, high


def _round_stretch(
    first: FloatArray, along: FloatArray, view: FloatArray, weight: float, rows: _Rows
) -> tuple[FloatArray, FloatArray]:
    """Hidden stretch behind a ball, or behind a mantle between the rows of its caps.

    Every t at which two of the inequalities meet is a candidate for an end. Between neighbouring candidates
    the answer cannot change, so it is read halfway between them and no tolerance decides.
    """
    q_tt, q_ts, q_t = (along**2).sum(-1), (along * view).sum(-1), (first * along).sum(-1)
    q_ss = (view**2).sum(-1) - weight
    q_s, q_0 = (first * view).sum(-1) - weight, (first**2).sum(-1) - 1.0
    q_ss = np.where(np.abs(q_ss) <= _FLAT * (weight + 1.0), 0.0, q_ss)
    discriminant = (q_ts**2 - q_ss * q_tt, q_ts * q_s - q_ss * q_t, q_s**2 - q_ss * q_0)
    candidates = [np.zeros_like(q_tt), np.ones_like(q_tt), *_roots(*discriminant)]
    for i in range(2 * rows.faces + 1):
        a, b, k = rows.constant[i], rows.slope[i], rows.depth[i]
        candidates += _roots(
            q_tt * k * k + q_ss * b * b - 2.0 * q_ts * k * b,
            q_ss * a * b - q_ts * k * a + q_t * k * k - q_s * k * b,
            q_ss * a * a - 2.0 * q_s * k * a + q_0 * k * k,
        )
    # Of the pairs of flat faces one bounds t by itself: a seen cap hides nothing on the side of the lens.
    candidates += [_ratio(rows.constant[i], rows.slope[i]) for i in range(rows.faces)]
    ends = np.sort(np.clip(np.stack(candidates, axis=-1), 0.0, 1.0), axis=-1)
    middle = 0.5 * (ends[..., 1:] + ends[..., :-1])
    low, high = rows.allowed(middle)
    half = q_ts[..., None] * middle + q_s[..., None]
    rest = (q_tt[..., None] * middle + 2.0 * q_t[..., None]) * middle + q_0[..., None]
    near, far = _between_roots(q_ss[..., None], half, rest)
    hidden = (np.maximum(low, near) <= np.minimum(high, far)) & (ends[..., 1:] > ends[..., :-1])
    begin = np.where(hidden, ends[..., :-1], np.inf).min(axis=-1)
    stop = np.where(hidden, ends[..., 1:], -np.inf).max(axis=-1)
    return begin, stop


def _roots(square: FloatArray, half: FloatArray, rest: FloatArray) -> list[FloatArray]:
    """Real roots of ``square t^2 + 2 half t + rest``, 0 where there is none."""
    discriminant = half**2 - square * rest
    sum_ = half + np.copysign(np.sqrt(np.maximum(discriminant, 0.0)), half)  # the sum that does not cancel
    real = discriminant >= 0.0
    return [np.where(real, _ratio(sum_, square), 0.0), np.where(real, _ratio(rest, sum_), 0.0)]


def _ratio(constant: FloatArray, slope: FloatArray) -> FloatArray:
    """Root of ``constant + slope t``, 0 where the slope is zero or the root is beyond all use."""
    usable = np.abs(slope) > np.abs(constant) * 1e-100
    return np.where(usable, -constant / np.where(usable, slope, 1.0), 0.0)


def _between_roots(square: FloatArray, half: FloatArray, rest: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The s for which ``square s^2 + 2 half s + rest <= 0``, on the sheet the camera can see.

    A negative `square` belongs to a lens inside the mantle's extension: a line of sight once inside stays
    inside, so only the larger root bounds. Where nothing is allowed the first value is above the second.
    """
    discriminant = half**2 - square * rest
    sum_ = half + np.copysign(np.sqrt(np.maximum(discriminant, 0.0)), half)  # the sum that does not cancel
    with np.errstate(divide="ignore", invalid="ignore"):
        one, other = -sum_ / square, -rest / sum_
    near, far = np.fmin(one, other), np.fmax(one, other)
    inside = square < 0.0
    near = np.where(inside, far, near)
    far = np.where(inside, np.inf, far)
    free = (square == 0.0) & (half == 0.0)
    if free.any():
        near = np.where(free, np.where(rest > 0.0, np.inf, -np.inf), near)
        far = np.where(free, np.inf, far)
    missed = (discriminant < 0.0) & (square >= 0.0)
    near[missed] = np.inf
    return near, far
