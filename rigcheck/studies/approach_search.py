"""The search for the closest approach of two props over their courses."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.motion.sampling import distinct
from rigcheck.studies.results import Status
from rigcheck.studies.shape_courses import (
    CourseShape,
    PropCourse,
    capsule_around,
    outline_of,
    prop_shape,
    support_pieces,
)

if TYPE_CHECKING:
    from rigcheck.picture.solids import Solid

__all__ = [
    "NEAR",
    "Found",
    "closer_between",
    "closest_of",
    "first_touch",
    "gap_bound",
    "least_clearance",
    "likely_ways",
    "status_of",
]

Array = NDArray[np.float64]

Index = NDArray[np.intp]

NEAR = 10e-3
"""Clearance under which the distance is worked out; above it a lower bound does [m]: a choice."""
_CLOSE = 2e-5
"""The search for the closest approach ends when nothing can be nearer by more [m]."""
_CLOSE_OVERLAP = 5e-4
"""The same where they overlap: how deep says how badly the plan fails, not more."""
_ROUNDS = 40
_ROUNDS_OVERLAP = 3
_SPREAD = 3
"""Further times looked at in each round, spread over those that are not ruled out."""
_TURNS = 3
_FINER = 16
_MOST_FINE = 2_000
_MOST_RUNS = 6
"""Stretches between the times looked at that are looked at again, each in so many parts, so many times over."""
_ARRIVED = 5e-5
"""Nearness to the closest approach that counts as the same [m]."""


def status_of(gap: float, margin: float) -> Status:
    """Clear of each other, surely overlapping whatever the margin does, or between."""
    if gap > margin:
        return Status.PASS
    return Status.FAIL if gap < -margin else Status.CAUTION


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Found:
    """The closest approach of two shapes: gap [m], which of the times, and the nearest places if known."""

    gap: float
    clearance: float
    row: int
    places: tuple[Array, Array] | None = None
    exact: bool = True
    supports: tuple[bool, bool] = (False, False)
    shapes: tuple[CourseShape, CourseShape] | None = None

    @property
    def status(self) -> Status:
        """As that of an `Approach`."""
        return status_of(self.gap, self.gap - self.clearance)


def _least(one: PropCourse, first: CourseShape, other: PropCourse, second: CourseShape) -> Found:
    """Lower bound of gap less margin over the times, and between them."""
    ways = likely_ways(one, first, other, second)
    lower = gap_bound(one, first, other, second, ways)
    margin = one.margin + other.margin
    clearance = lower - margin
    nearer = 0.0
    if len(lower) > 1:
        between = _between(one, first, other, second, ways)
        nearer = max(0.0, float(lower.min() - between.min()))

    def at(row: int) -> Found:
        return Found(
            gap=float(lower[row]) - nearer, clearance=float(clearance[row]) - nearer, row=row, exact=False
        )

    nearest, at_rest = int(clearance.argmin()), len(clearance) - 1
    # As in `_nearest`: lag and wobble on the way may say more than the state at rest.
    as_near = lower[at_rest] <= lower[nearest] + _ARRIVED and at(at_rest).status is at(nearest).status
    return at(at_rest if as_near else nearest)


def least_clearance(one: PropCourse, other: PropCourse) -> float:
    """Lower bound of gap less margin of two props with their supports, at the times and between them.

    Parameters
    ----------
    one, other : PropCourse
        The props at the same times.

    Returns
    -------
    float
        [m]. Of the bounds only: where it is above 0 they are clear of each other; below, nothing is known, and what
        comes after the first such bound is not looked at.
    """
    margin = one.margin + other.margin
    largest = margin if len(margin) < 2 else np.maximum(margin[1:], margin[:-1])
    bound = gap_bound if len(margin) < 2 else _between

    def between(first: CourseShape, second: CourseShape) -> float:
        ways = likely_ways(one, first, other, second)
        return float((bound(one, first, other, second, ways) - largest).min())

    ours, our_box = outline_of(one.body)
    theirs, their_box = outline_of(other.body)
    # As a rule a box around each says enough.
    least = between(our_box, their_box)
    if least > 0:
        return least
    least = np.inf
    for first, second in product(ours, theirs):
        least = min(least, between(first, second))
        if least <= 0:
            break
    return least


def _between(
    one: PropCourse, first: CourseShape, other: PropCourse, second: CourseShape, ways: Array
) -> Array:
    """Lower bound of the gap from each time to the next, from directions (k, 3) or (n, k, 3), (n - 1,).

    Along a direction that stays, what parts two shapes that do not turn changes evenly from one time to the next, but
    for the bend of their way, at most an eighth of its second difference. Where they turn, with g the distance that
    they go against each other, two gaps a and b become no less than (a + b - g)/2 between.
    """
    if ways.ndim == 3:
        lower = gap_bound(one, first, other, second, ways)
        return np.asarray(0.5 * (lower[1:] + lower[:-1] - np.diff(_gone(one, first, other, second))))
    apart = one.middles(first) - other.middles(second)
    along = apart @ ways.T
    reach = first.reach(ways, one.rotation) + second.reach(ways, other.rotation)
    parted = np.where(along[1:] * along[:-1] > 0, np.minimum(np.abs(along[1:]), np.abs(along[:-1])), 0.0)
    bend = np.zeros(len(apart))
    bend[1:-1] = np.linalg.norm(np.diff(apart, n=2, axis=0), axis=1)
    return np.asarray((parted - reach).max(axis=1) - np.maximum(bend[1:], bend[:-1]) / 8)


def _nearest(
    one: PropCourse,
    first: CourseShape,
    other: PropCourse,
    second: CourseShape,
    *,
    below: float,
    rests: bool = True,
) -> Found | None:
    """Search the times, at the last of which it `rests`, for the least gap less margin; None where not under `below`.

    Notes
    -----
    At every time a direction u bounds the gap from below, ``abs(d . u) - reach_1(u) - reach_2(u)`` with the vector
    d between the middles, and so does a gap found at another time, less how far the two moved and turned against
    each other since. Exact distances are taken only where neither says that it is farther than the best so far; the
    direction of each joins the bounds. What lies between the times is looked at by `closer_between`.
    """
    apart = one.middles(first) - other.middles(second)
    margin = one.margin + other.margin
    count = len(apart)
    lower = gap_bound(one, first, other, second, likely_ways(one, first, other, second))
    if float((lower - margin).min()) >= below:
        return None
    gone = _gone(one, first, other, second)
    at_rest = count - 1
    best: Found | None = None
    looked = np.zeros(count, dtype=bool)
    places_at_rest: tuple[Array, Array] | None = None
    for turn in range(_ROUNDS):
        limit = below if best is None else min(below, best.clearance)
        overlapping = best is not None and best.gap < 0
        close = _CLOSE_OVERLAP if overlapping else _CLOSE
        open_rows = np.flatnonzero((lower - margin < limit - close) & ~looked)
        if not open_rows.size or (overlapping and turn >= _ROUNDS_OVERLAP):
            break
        rows = [open_rows[(lower - margin)[open_rows].argmin()]]
        # The state at rest is looked at in any case: it is what the shot is for.
        rows += (
            [at_rest] if turn == 0 else [*open_rows[np.linspace(0, open_rows.size - 1, _SPREAD).astype(int)]]
        )
        chosen = distinct(np.asarray(rows))
        gaps, places = _gaps(one, first, other, second, chosen)
        looked[chosen] = True
        lower[chosen] = gaps
        for row, gap, ends_of in zip(chosen.tolist(), gaps.tolist(), places, strict=True):
            nearest = (ends_of[0], ends_of[1]) if gap > 0 else None
            if row == at_rest:
                places_at_rest = nearest
            if best is None or gap - margin[row] < best.clearance:
                best = Found(gap=gap, clearance=gap - float(margin[row]), row=row, places=nearest)
            lower = np.where(looked, lower, np.maximum(lower, gap - np.abs(gone - gone[row])))
        way = places[:, 0] - places[:, 1]
        length = np.linalg.norm(way, axis=1)
        seen = (gaps > 0) & (length > 0)
        if seen.any():
            closer = gap_bound(one, first, other, second, way[seen] / length[seen, None])
            lower = np.where(looked, lower, np.maximum(lower, closer))
    if best is None or best.clearance >= below:
        return None
    rest = Found(
        gap=float(lower[at_rest]),
        clearance=float(lower[at_rest] - margin[at_rest]),
        row=at_rest,
        places=places_at_rest,
    )
    # As near as ever when they have come to rest: that is the time to name, unless lag and wobble before it say more.
    as_near = rests and looked[at_rest] and rest.gap <= best.gap + _ARRIVED
    return rest if as_near and rest.status is best.status else best


def likely_ways(one: PropCourse, first: CourseShape, other: PropCourse, second: CourseShape) -> Array:
    """Directions in which two shapes are likely to be apart: across their faces and from middle to middle.

    Of shape (k, 3) where neither turns, else (n, k, 3).
    """
    apart = one.middles(first) - other.middles(second)
    axes = [
        np.swapaxes(course.rotation @ shape.orientation, 1, 2)
        for course, shape in ((one, first), (other, second))
    ]
    if len(one.rotation) == len(other.rotation) == 1:
        rows = distinct(np.linspace(0, len(apart) - 1, 5).round().astype(int))
        ways = np.concatenate([apart[rows], axes[0][0], axes[1][0]])
    else:
        turned = [np.broadcast_to(part, (len(apart), 3, 3)) for part in axes]
        ways = np.concatenate([apart[:, None], *turned], axis=1)
    length = np.linalg.norm(ways, axis=-1, keepdims=True)
    return np.where(length > 0, ways / np.where(length > 0, length, 1.0), [1.0, 0.0, 0.0])


def gap_bound(
    one: PropCourse, first: CourseShape, other: PropCourse, second: CourseShape, ways: Array
) -> Array:
    """Lower bound of the gap at each time from directions (k, 3) or (n, k, 3), (n,)."""
    apart = one.middles(first) - other.middles(second)
    reach = first.reach(ways, one.rotation) + second.reach(ways, other.rotation)
    between = np.abs(apart @ ways.T) if ways.ndim == 2 else np.abs((ways @ apart[..., None])[..., 0])
    return np.asarray((between - reach).max(axis=1))


def _gone(one: PropCourse, first: CourseShape, other: PropCourse, second: CourseShape) -> Array:
    """How far the two have moved against each other since the start, turns counted at their corners, (n,)."""
    apart = one.middles(first) - other.middles(second)
    steps = np.linalg.norm(np.diff(apart, axis=0), axis=1)
    for course, shape in ((one, first), (other, second)):
        if len(course.rotation) > 1:
            # |R2 - R1| = 2 sqrt(2) sin(angle / 2) in the Frobenius norm.
            chord = np.linalg.norm(np.diff(course.rotation, axis=0), axis=(1, 2)) / (2 * np.sqrt(2))
            steps = steps + 2 * np.arcsin(np.minimum(chord, 1.0)) * float(np.linalg.norm(shape.half))
    return np.concatenate([[0.0], np.cumsum(steps)])


def _gaps(
    one: PropCourse, first: CourseShape, other: PropCourse, second: CourseShape, rows: Index
) -> tuple[Array, Array]:
    """Gaps at some times, negative by the depth where they overlap, (k,), and nearest places, (k, 2, 3)."""
    if "wire" not in (first.kind, second.kind):
        from rigcheck.picture.approach import closest_approach

        # A time axis of one each, so that the nearest places come for every time.
        found = closest_approach(_solid(one, first, rows, (-1, 1)), _solid(other, second, rows, (-1, 1)))
        return (
            np.asarray(found.gap[:, 0] - found.depth[:, 0]),
            np.stack([found.first_point, found.second_point], axis=1),
        )
    from rigcheck.picture.gjk import convex_distance

    sides = [_Side(one, first, rows), _Side(other, second, rows)]
    core = convex_distance(
        lambda way, chosen: (sides[0].farthest(way, chosen), sides[1].farthest(-way, chosen)),
        start=sides[0].centre - sides[1].centre,
        scale=float(np.linalg.norm(first.half) + np.linalg.norm(second.half)),
    )
    gaps = core.distance - first.radius - second.radius
    through = core.distance == 0
    if through.any():
        # How deep a wire is in: from the directions, never less than it is.
        deep = gap_bound(one, first, other, second, likely_ways(one, first, other, second))[rows]
        gaps = np.where(through, np.minimum(gaps, deep), gaps)
    return gaps, np.stack([core.first, core.second], axis=1)


class _Side:
    """One of two shapes at some times, as the distance search asks for it."""

    def __init__(self, course: PropCourse, shape: CourseShape, rows: Index) -> None:
        rotation, position = course.at(rows)
        self.centre = position + rotation @ shape.centre
        self._solid = None if shape.kind == "wire" else _solid(course, shape, rows, (-1,))
        self._half_way = np.broadcast_to(rotation @ shape.orientation[:, 2] * shape.half[2], (len(rows), 3))

    def farthest(self, way: Array, chosen: Index) -> Array:
        """Farthest points along directions."""
        if self._solid is not None:
            return self._solid.farthest_point(way, chosen)
        half_way = self._half_way[chosen]
        forward = (half_way * way).sum(axis=1, keepdims=True) >= 0
        return np.asarray(self.centre[chosen] + np.where(forward, half_way, -half_way))


def _solid(course: PropCourse, shape: CourseShape, rows: Index, batch: tuple[int, ...]) -> Solid:
    from rigcheck.picture.solids import Solid

    rotation, position = course.at(rows)
    turned = np.broadcast_to(rotation @ shape.orientation, (len(rows), 3, 3))
    assert shape.kind != "wire"  # a wire is no solid
    return Solid(
        shape=shape.kind,
        size=2 * shape.half,
        axis=shape.axis,
        centre=(position + rotation @ shape.centre).reshape(*batch, 3),
        orientation=turned.reshape(*batch, 3, 3),
    )


def closest_of(one: PropCourse, other: PropCourse) -> Found:
    """The closest approach of two props with their supports."""
    first, second = prop_shape(one.body), prop_shape(other.body)
    best = _least(one, first, other, second)
    if best.clearance < NEAR:
        best = replace(_nearest(one, first, other, second, below=np.inf) or best, shapes=(first, second))
    for supports in ((False, True), (True, False), (True, True)):
        for ours in one.body.lines if supports[0] else (None,):
            for theirs in other.body.lines if supports[1] else (None,):
                outer = (
                    first if ours is None else capsule_around(ours),
                    second if theirs is None else capsule_around(theirs),
                )
                bound = _least(one, outer[0], other, outer[1])
                if bound.clearance >= best.clearance:
                    continue
                if bound.clearance >= NEAR:
                    best = replace(bound, supports=supports)
                    continue
                for piece in (first,) if ours is None else support_pieces(ours):
                    for their_piece in (second,) if theirs is None else support_pieces(theirs):
                        found = _nearest(one, piece, other, their_piece, below=best.clearance)
                        if found is not None:
                            best = replace(found, supports=supports, shapes=(piece, their_piece))
    return best


def closer_between(
    one: PropCourse, other: PropCourse, found: Found, *, turns: int = _TURNS
) -> tuple[Found, float]:
    """The closest approach with what lies between the times looked at, and when it is [s].

    Notes
    -----
    Stretches from one time to the next in which the bounds of `_between` leave room for a nearer approach are looked
    at again, many times closer, the likeliest of them first, until none is left or nothing is nearer by `_CLOSE`.
    """
    time = float(one.times[found.row])
    if not found.exact or found.gap <= 0 or found.shapes is None or len(one.times) < 2:
        return found, time
    first, second = found.shapes
    between = _between(one, first, other, second, likely_ways(one, first, other, second))
    if found.places is not None and len(one.rotation) == len(other.rotation) == 1:
        way = np.subtract(*found.places)
        length = float(np.linalg.norm(way))
        if length > 0:
            between = np.maximum(between, _between(one, first, other, second, (way / length)[None]))
    margin = one.margin + other.margin
    least = between - np.maximum(margin[1:], margin[:-1])
    open_rows = np.flatnonzero(least < found.clearance - _CLOSE)
    if not open_rows.size:
        return found, time
    runs = np.split(open_rows, np.flatnonzero(np.diff(open_rows) > 1) + 1)
    best = found
    for run in sorted(runs, key=lambda rows: float(least[rows].min()))[:_MOST_RUNS]:
        times = np.linspace(one.times[run[0]], one.times[run[-1] + 1], min(_MOST_FINE, _FINER * len(run)) + 1)
        mine, theirs = one.over(times), other.over(times)
        nearer = _nearest(mine, first, theirs, second, below=best.clearance, rests=False)
        if nearer is None:
            continue
        nearer = replace(nearer, supports=found.supports, shapes=found.shapes)
        best, time = (
            (nearer, float(times[nearer.row]))
            if turns <= 1
            else closer_between(mine, theirs, nearer, turns=turns - 1)
        )
    # As near as ever when they have come to rest: that is the time to name.
    at_rest = found.row == len(one.times) - 1
    if at_rest and best.gap > found.gap - _ARRIVED and best.status is found.status:
        return found, float(one.times[found.row])
    return best, time


def first_touch(one: PropCourse, other: PropCourse, *, supports: tuple[bool, bool], row: int) -> int:
    """First of the times, up to one at which they overlap, from which they touch."""
    shapes = [
        [prop_shape(course.body)]
        if not of_support
        else [p for line in course.body.lines for p in support_pieces(line)]
        for course, of_support in zip((one, other), supports, strict=True)
    ]
    low, high = 0, row
    while high - low > 1:
        rows = distinct(np.linspace(low, high, 17).round().astype(int))
        touching = np.zeros(len(rows), dtype=bool)
        for first in shapes[0]:
            for second in shapes[1]:
                touching |= _touching(one, first, other, second, rows)
        touching[-1] |= rows[-1] == row
        at = int(touching.argmax())
        if at == 0:
            return int(rows[0])
        low, high = int(rows[at - 1]), int(rows[at])
    return high


def _touching(
    one: PropCourse, first: CourseShape, other: PropCourse, second: CourseShape, rows: Index
) -> NDArray[np.bool_]:
    from rigcheck.picture.gjk import convex_distance

    sides = [_Side(one, first, rows), _Side(other, second, rows)]
    core = convex_distance(
        lambda way, chosen: (sides[0].farthest(way, chosen), sides[1].farthest(-way, chosen)),
        start=sides[0].centre - sides[1].centre,
        scale=float(np.linalg.norm(first.half) + np.linalg.norm(second.half)),
    )
    return np.asarray(core.distance <= first.radius + second.radius)
