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
    """The inequalities ``constant + slope t + depth s <= 0`` of pairs of flat faces and of s >= 0, last axis.

    For each axis the face turned to the lens comes first and its opposite second; the last row is s >= 0.
    """

    def __init__(self, first: FloatArray, along: FloatArray, view: FloatArray, weight: float) -> None:
        sign = np.where(view >= 0.0, 1.0, -1.0)
        front = (sign * first - 1.0, sign * along, sign * view - weight)
        back = (-sign * first - 1.0, -sign * along, -sign * view - weight)
        ones = np.ones((*first.shape[:-1], 1))
        bottom = (0.0 * ones, 0.0 * ones, -ones)
        self.constant, self.slope, self.depth = (
            np.concatenate(parts, axis=-1) for parts in zip(front, back, bottom, strict=True)
        )
        self.faces = first.shape[-1]

    def stretch(self) -> tuple[FloatArray, FloatArray]:
        """The stretch of 0 <= t <= 1 for which some s satisfies all rows (Fourier-Motzkin)."""
        low = np.zeros(self.constant.shape[:-1])
        high = np.ones_like(low)
        count = self.constant.shape[-1]
        for i in range(self.faces):
            # A face that the lens does not see bounds s from below only, and then it pairs with none.
            upper = self.depth[..., i] > 0.0
            level = self.depth[..., i] == 0.0
            self._cut(low, high, self.constant[..., i], self.slope[..., i], where=level)
            for j in range(count):
                if j == i:
                    continue
                pair = upper & (self.depth[..., j] < 0.0)
                self._cut(low, high, *self.eliminate(i, j), where=pair)
            # Two faces seen at a glancing angle may both be level; the opposite face is then level too.
            opposite = i + self.faces
            level = self.depth[..., opposite] == 0.0
            self._cut(low, high, self.constant[..., opposite], self.slope[..., opposite], where=level)
        return low, high

    def eliminate(self, i: int, j: int) -> tuple[FloatArray, FloatArray]:
        """Constant and slope of the bound on t that two rows leave when s is eliminated."""
        constant = self.constant[..., j] * self.depth[..., i] - self.constant[..., i] * self.depth[..., j]
        slope = self.slope[..., j] * self.depth[..., i] - self.slope[..., i] * self.depth[..., j]
        return constant, slope

    def allowed(self, t: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest s at shares t (..., k) that the rows allow; lowest above highest where none."""
        low = np.zeros_like(t)
        high = np.full_like(t, np.inf)
        for i in range(2 * self.faces):
            depth = self.depth[..., i, None]
            level = depth == 0.0
            scale = np.where(level, 1.0, depth)
            bound = -self.constant[..., i, None] / scale - self.slope[..., i, None] / scale * t
            np.minimum(high, bound, out=high, where=depth > 0.0)
            np.maximum(low, bound, out=low, where=depth < 0.0)
            high[level & (bound < 0.0)] = -np.inf
        return low, high

    @staticmethod
    def _cut(
        low: FloatArray,
        high: FloatArray,
        constant: FloatArray,
        slope: FloatArray,
        *,
        where: NDArray[np.bool_],
    ) -> None:
        """Narrow low and high to ``constant + slope t <= 0``, in place."""
        sloping = slope != 0.0
        bound = -constant / np.where(sloping, slope, 1.0)
        np.minimum(high, bound, out=high, where=where & (slope > 0.0))
        np.maximum(low, bound, out=low, where=where & (slope < 0.0))
        high[where & ~sloping & (constant > 0.0)] = -1.0


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
        a, b, k = rows.constant[..., i], rows.slope[..., i], rows.depth[..., i]
        candidates += _roots(
            q_tt * k * k + q_ss * b * b - 2.0 * q_ts * k * b,
            q_ss * a * b - q_ts * k * a + q_t * k * k - q_s * k * b,
            q_ss * a * a - 2.0 * q_s * k * a + q_0 * k * k,
        )
    # Of the pairs of flat faces one bounds t by itself: a seen cap hides nothing on the side of the lens.
    candidates += [_ratio(rows.constant[..., i], rows.slope[..., i]) for i in range(rows.faces)]
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
