"""Several props in one shot: how near they come to each other over the moves, and whether they meet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError, NotConvergedError, ValidityError
from rigcheck.model import Prop, Shot
from rigcheck.motion.sampling import distinct
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.moving import MotionOutcome, span
from rigcheck.studies.picturing import Carried, Line, carried, swing
from rigcheck.studies.reading import Reading
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.words import length_words, way_words

if TYPE_CHECKING:
    from rigcheck.picture.projection import Camera
    from rigcheck.picture.solids import Solid

__all__ = ["NEAR", "POSITION_TOLERANCE", "Approach", "approaches", "meeting", "meeting_words"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

POSITION_TOLERANCE = 1e-3
"""How far a prop may be off its mark where the mark has no range [m]: a choice, stated as one."""
NEAR = 10e-3
"""Clearance under which the distance is worked out; above it a lower bound does [m]: a choice."""

_STEP = 5e-4
"""How far the farthest-going prop goes between the times looked at, on average [m]."""
_SHORT_MOVE = 0.5
_LEAST_TIMES = 101
_MOST_TIMES = 20_000
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
_SMALL = 1e-4
"""Deviation from the path below which it is not followed in time [m]."""
_ARRIVED = 5e-5
"""Nearness to the closest approach that counts as the same [m]."""
_HANDLE = 5e-4
"""Advice on marks comes in half millimetres [m]."""
_LONGEST_SHIFT = 0.26
"""Advice moves a mark at most this far [m]: a choice."""
_TRIES = 3
_DELAYS = (0.25, 0.5, 1.0, 2.0)
_LABEL = "closest approach"


@dataclass(frozen=True, kw_only=True)
class Approach:
    """How near two props come.

    Attributes
    ----------
    first, second : str
        Their names.
    gap : float
        Least distance of the shapes as planned [m], negative where they overlap, by how deep.
    exact : bool
        False where that is a lower bound: they stay farther apart than `NEAR` with the margin taken off.
    margin : float
        How far both together may be off then: lag, wobble, position [m].
    time : float or None
        When [s]; None where nothing moves.
    at_rest : bool
        Whether that is how they come to rest.
    touch : float or None
        When they first overlap [s]; None where they do not, or do from the start.
    first_support, second_support : bool
        Whether it is the support that is nearest, not the prop.
    pixels : float or None
        Distance of the two nearest places in the picture, with a camera; None where they overlap.
    problem : str
        Why it could not be found; empty where it could.
    """

    first: str
    second: str
    gap: float
    exact: bool = True
    margin: float
    time: float | None
    at_rest: bool
    touch: float | None = None
    first_support: bool = False
    second_support: bool = False
    pixels: float | None = None
    problem: str = ""

    @property
    def status(self) -> Status:
        """Pass where they are clear of each other, fail where they overlap for sure, caution between."""
        return Status.SKIPPED if self.problem else _status(self.gap, self.margin)

    @property
    def clearance(self) -> float:
        """Gap less margin [m]."""
        return self.gap - self.margin


def _status(gap: float, margin: float) -> Status:
    """Clear of each other, surely overlapping whatever the margin does, or between."""
    if gap > margin:
        return Status.PASS
    return Status.FAIL if gap < -margin else Status.CAUTION


# -- shapes on their courses -----------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Shape:
    """A prop, a straight piece of its support, or a capsule around a whole support, in the rig's axes.

    A wire lies along its third axis; `half` are half sizes [m], `radius` is what is around them.
    """

    kind: Literal["box", "cylinder", "disc", "sphere", "wire"]
    half: Array
    axis: int = 2
    centre: Array
    orientation: Array
    radius: float = 0.0

    def reach(self, directions: Array, rotation: Array) -> Array:
        """How far it reaches from its middle along directions (k, 3) or (n, k, 3) in poses, (n or 1, k) [m]."""
        own = np.abs(directions @ (rotation @ self.orientation)) * self.half
        if self.kind in ("box", "wire"):
            return np.asarray(own.sum(axis=-1) + self.radius)
        if self.kind == "sphere":
            return np.asarray(np.linalg.norm(own, axis=-1))
        across = [(self.axis + 1) % 3, (self.axis + 2) % 3]
        return np.asarray(np.hypot(*(own[..., index] for index in across)) + own[..., self.axis])


@dataclass(frozen=True, kw_only=True, eq=False)
class _Course:
    """A prop on its way, at the times all props share.

    Attributes
    ----------
    index : int
        Of the prop in the shot.
    prop : Prop
        For its name.
    body : Carried
        The settled prop with its supports.
    known : bool
        Whether its way is known; otherwise only its place at rest.
    times : array, shape (n,)
        [s].
    delay : float
        By how much its moves start later than in the file [s].
    shift : array, shape (3,)
        Its mark against that of the file [m].
    rotation, position : array, shape (n or 1, 3, 3), (n, 3)
        Its poses.
    margin : array, shape (n,)
        How far it may be off [m].
    """

    index: int
    prop: Prop
    body: Carried
    known: bool
    times: Array
    delay: float
    shift: Array
    rotation: Array
    position: Array
    margin: Array

    def last(self) -> _Course:
        """Only the place at rest."""
        return replace(
            self,
            times=self.times[-1:],
            rotation=self.rotation[-1:],
            position=self.position[-1:],
            margin=self.margin[-1:],
        )

    def shifted(self, shift: Array) -> _Course:
        """With its mark elsewhere."""
        return replace(self, shift=self.shift + shift, position=self.position + shift)

    def over(self, times: Array) -> _Course:
        """At other times."""
        rotation, position = self.body.poses(times - self.delay)
        return replace(
            self,
            times=times,
            rotation=rotation,
            position=position + self.shift,
            margin=np.interp(times, self.times, self.margin),
        )

    def at(self, rows: Index) -> tuple[Array, Array]:
        """Poses at some of the times."""
        rotation = self.rotation if len(self.rotation) == 1 else self.rotation[rows]
        return rotation, self.position[rows]

    def middles(self, shape: _Shape) -> Array:
        """Places of a shape's middle, (n, 3)."""
        return np.asarray(self.position + self.rotation @ shape.centre)


def _prop_shape(body: Carried) -> _Shape:
    assert body.shape is not None  # props without a size are left out
    return _Shape(
        kind=body.shape,
        half=body.size / 2,
        axis=body.axis,
        centre=body.centre,
        orientation=body.orientation,
    )


def _around(line: Line) -> _Shape:
    """A capsule about the chord of a support that holds all of it."""
    chord = _wire(line.points[0], line.points[-1], 0.0)
    way = chord.orientation[:, 2]
    off = line.points - chord.centre
    along = np.clip(off @ way, -chord.half[2], chord.half[2])
    bow = float(np.linalg.norm(off - along[:, None] * way, axis=1).max())
    return replace(chord, radius=bow + 0.5 * float(line.diameters.max()))


def _pieces(line: Line) -> list[_Shape]:
    return [
        _wire(start, stop, 0.5 * float(diameter))
        for (start, stop), diameter in zip(pairwise(line.points), line.diameters, strict=True)
    ]


def _wire(start: Array, stop: Array, radius: float) -> _Shape:
    way = stop - start
    length = float(np.linalg.norm(way))
    way = np.array([0.0, 0.0, 1.0]) if length == 0 else way / length
    across = np.eye(3)[np.abs(way).argmin()]
    across = across - (across @ way) * way
    across /= np.linalg.norm(across)
    return _Shape(
        kind="wire",
        half=np.array([0.0, 0.0, 0.5 * length]),
        centre=0.5 * (start + stop),
        orientation=np.stack([across, np.cross(way, across), way], axis=1),
        radius=radius,
    )


# -- the search ------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Found:
    """The closest approach of two shapes: gap [m], which of the times, and the nearest places if known."""

    gap: float
    clearance: float
    row: int
    places: tuple[Array, Array] | None = None
    exact: bool = True
    supports: tuple[bool, bool] = (False, False)
    shapes: tuple[_Shape, _Shape] | None = None

    @property
    def status(self) -> Status:
        """As that of an `Approach`."""
        return _status(self.gap, self.gap - self.clearance)


def _least(one: _Course, first: _Shape, other: _Course, second: _Shape) -> _Found:
    """Lower bound of gap less margin over the times, and between them."""
    ways = _ways(one, first, other, second)
    lower = _bound(one, first, other, second, ways)
    margin = one.margin + other.margin
    clearance = lower - margin
    row = int(clearance.argmin())
    if lower[-1] <= lower[row] + _ARRIVED:
        row = len(clearance) - 1
    nearer = 0.0
    if len(lower) > 1:
        between = _between(one, first, other, second, ways)
        nearer = max(0.0, float(lower.min() - between.min()))
    return _Found(
        gap=float(lower[row]) - nearer, clearance=float(clearance[row]) - nearer, row=row, exact=False
    )


def _between(one: _Course, first: _Shape, other: _Course, second: _Shape, ways: Array) -> Array:
    """Lower bound of the gap from each time to the next, from directions (k, 3) or (n, k, 3), (n - 1,).

    Along a direction that stays, what parts two shapes that do not turn changes evenly from one time to the next, but
    for the bend of their way, at most an eighth of its second difference. Where they turn, with g the distance that
    they go against each other, two gaps a and b become no less than (a + b - g)/2 between.
    """
    if ways.ndim == 3:
        lower = _bound(one, first, other, second, ways)
        return np.asarray(0.5 * (lower[1:] + lower[:-1] - np.diff(_gone(one, first, other, second))))
    apart = one.middles(first) - other.middles(second)
    along = apart @ ways.T
    reach = first.reach(ways, one.rotation) + second.reach(ways, other.rotation)
    parted = np.where(along[1:] * along[:-1] > 0, np.minimum(np.abs(along[1:]), np.abs(along[:-1])), 0.0)
    bend = np.zeros(len(apart))
    bend[1:-1] = np.linalg.norm(np.diff(apart, n=2, axis=0), axis=1)
    return np.asarray((parted - reach).max(axis=1) - np.maximum(bend[1:], bend[:-1]) / 8)


def _nearest(
    one: _Course, first: _Shape, other: _Course, second: _Shape, *, below: float, rests: bool = True
) -> _Found | None:
    """Search the times, at the last of which it `rests`, for the least gap less margin; None where not under `below`.

    Notes
    -----
    At every time a direction u bounds the gap from below, ``abs(d . u) - reach_1(u) - reach_2(u)`` with the vector
    d between the middles, and so does a gap found at another time, less how far the two moved and turned against
    each other since. Exact distances are taken only where neither says that it is farther than the best so far; the
    direction of each joins the bounds. What lies between the times is looked at by `_closer`.
    """
    apart = one.middles(first) - other.middles(second)
    margin = one.margin + other.margin
    count = len(apart)
    lower = _bound(one, first, other, second, _ways(one, first, other, second))
    if float((lower - margin).min()) >= below:
        return None
    gone = _gone(one, first, other, second)
    at_rest = count - 1
    best: _Found | None = None
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
        chosen = np.unique(rows)
        gaps, places = _gaps(one, first, other, second, chosen)
        looked[chosen] = True
        lower[chosen] = gaps
        for row, gap, ends_of in zip(chosen.tolist(), gaps.tolist(), places, strict=True):
            nearest = (ends_of[0], ends_of[1]) if gap > 0 else None
            if row == at_rest:
                places_at_rest = nearest
            if best is None or gap - margin[row] < best.clearance:
                best = _Found(gap=gap, clearance=gap - float(margin[row]), row=row, places=nearest)
            lower = np.where(looked, lower, np.maximum(lower, gap - np.abs(gone - gone[row])))
        way = places[:, 0] - places[:, 1]
        length = np.linalg.norm(way, axis=1)
        seen = (gaps > 0) & (length > 0)
        if seen.any():
            closer = _bound(one, first, other, second, way[seen] / length[seen, None])
            lower = np.where(looked, lower, np.maximum(lower, closer))
    if best is None or best.clearance >= below:
        return None
    rest = _Found(
        gap=float(lower[at_rest]),
        clearance=float(lower[at_rest] - margin[at_rest]),
        row=at_rest,
        places=places_at_rest,
    )
    # As near as ever when they have come to rest: that is the time to name, unless lag and wobble before it say more.
    as_near = rests and looked[at_rest] and rest.gap <= best.gap + _ARRIVED
    return rest if as_near and rest.status is best.status else best


def _ways(one: _Course, first: _Shape, other: _Course, second: _Shape) -> Array:
    """Directions in which two shapes are likely to be apart: across their faces and from middle to middle.

    Of shape (k, 3) where neither turns, else (n, k, 3).
    """
    apart = one.middles(first) - other.middles(second)
    axes = [
        np.swapaxes(course.rotation @ shape.orientation, 1, 2)
        for course, shape in ((one, first), (other, second))
    ]
    if len(one.rotation) == len(other.rotation) == 1:
        rows = np.unique(np.linspace(0, len(apart) - 1, 5).round().astype(int))
        ways = np.concatenate([apart[rows], axes[0][0], axes[1][0]])
    else:
        turned = [np.broadcast_to(part, (len(apart), 3, 3)) for part in axes]
        ways = np.concatenate([apart[:, None], *turned], axis=1)
    length = np.linalg.norm(ways, axis=-1, keepdims=True)
    return np.where(length > 0, ways / np.where(length > 0, length, 1.0), [1.0, 0.0, 0.0])


def _bound(one: _Course, first: _Shape, other: _Course, second: _Shape, ways: Array) -> Array:
    """Lower bound of the gap at each time from directions (k, 3) or (n, k, 3), (n,)."""
    apart = one.middles(first) - other.middles(second)
    reach = first.reach(ways, one.rotation) + second.reach(ways, other.rotation)
    between = np.abs(apart @ ways.T) if ways.ndim == 2 else np.abs((ways @ apart[..., None])[..., 0])
    return np.asarray((between - reach).max(axis=1))


def _gone(one: _Course, first: _Shape, other: _Course, second: _Shape) -> Array:
    """How far the two have moved against each other since the start, turns counted at their corners, (n,)."""
    apart = one.middles(first) - other.middles(second)
    steps = np.linalg.norm(np.diff(apart, axis=0), axis=1)
    for course, shape in ((one, first), (other, second)):
        if len(course.rotation) > 1:
            # |R2 - R1| = 2 sqrt(2) sin(angle / 2) in the Frobenius norm.
            chord = np.linalg.norm(np.diff(course.rotation, axis=0), axis=(1, 2)) / (2 * np.sqrt(2))
            steps = steps + 2 * np.arcsin(np.minimum(chord, 1.0)) * float(np.linalg.norm(shape.half))
    return np.concatenate([[0.0], np.cumsum(steps)])


def _gaps(one: _Course, first: _Shape, other: _Course, second: _Shape, rows: Index) -> tuple[Array, Array]:
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
        deep = _bound(one, first, other, second, _ways(one, first, other, second))[rows]
        gaps = np.where(through, np.minimum(gaps, deep), gaps)
    return gaps, np.stack([core.first, core.second], axis=1)


class _Side:
    """One of two shapes at some times, as the distance search asks for it."""

    def __init__(self, course: _Course, shape: _Shape, rows: Index) -> None:
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


def _solid(course: _Course, shape: _Shape, rows: Index, batch: tuple[int, ...]) -> Solid:
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


def _closest(one: _Course, other: _Course) -> _Found:
    """The closest approach of two props with their supports."""
    first, second = _prop_shape(one.body), _prop_shape(other.body)
    best = _least(one, first, other, second)
    if best.clearance < NEAR:
        best = replace(_nearest(one, first, other, second, below=np.inf) or best, shapes=(first, second))
    for supports in ((False, True), (True, False), (True, True)):
        for ours in one.body.lines if supports[0] else (None,):
            for theirs in other.body.lines if supports[1] else (None,):
                outer = (
                    first if ours is None else _around(ours),
                    second if theirs is None else _around(theirs),
                )
                bound = _least(one, outer[0], other, outer[1])
                if bound.clearance >= best.clearance:
                    continue
                if bound.clearance >= NEAR:
                    best = replace(bound, supports=supports)
                    continue
                for piece in (first,) if ours is None else _pieces(ours):
                    for their_piece in (second,) if theirs is None else _pieces(theirs):
                        found = _nearest(one, piece, other, their_piece, below=best.clearance)
                        if found is not None:
                            best = replace(found, supports=supports, shapes=(piece, their_piece))
    return best


def _closer(one: _Course, other: _Course, found: _Found, *, turns: int = _TURNS) -> tuple[_Found, float]:
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
    between = _between(one, first, other, second, _ways(one, first, other, second))
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
            else _closer(mine, theirs, nearer, turns=turns - 1)
        )
    # As near as ever when they have come to rest: that is the time to name.
    at_rest = found.row == len(one.times) - 1
    if at_rest and best.gap > found.gap - _ARRIVED and best.status is found.status:
        return found, float(one.times[found.row])
    return best, time


def _first_touch(one: _Course, other: _Course, *, supports: tuple[bool, bool], row: int) -> int:
    """First of the times, up to one at which they overlap, from which they touch."""
    shapes = [
        [_prop_shape(course.body)]
        if not of_support
        else [p for line in course.body.lines for p in _pieces(line)]
        for course, of_support in zip((one, other), supports, strict=True)
    ]
    low, high = 0, row
    while high - low > 1:
        rows = np.unique(np.linspace(low, high, 17).round().astype(int))
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


def _touching(one: _Course, first: _Shape, other: _Course, second: _Shape, rows: Index) -> NDArray[np.bool_]:
    from rigcheck.picture.gjk import convex_distance

    sides = [_Side(one, first, rows), _Side(other, second, rows)]
    core = convex_distance(
        lambda way, chosen: (sides[0].farthest(way, chosen), sides[1].farthest(-way, chosen)),
        start=sides[0].centre - sides[1].centre,
        scale=float(np.linalg.norm(first.half) + np.linalg.norm(second.half)),
    )
    return np.asarray(core.distance <= first.radius + second.radius)


# -- the shot --------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Scene:
    """All props that can be placed, at times they share [s]."""

    times: Array
    moves: bool
    camera: Camera | None
    courses: tuple[_Course, ...]


def _left_out(shot: Shot, stills: Sequence[Outcome]) -> dict[int, str]:
    """Which props cannot be placed, and why."""
    reasons = {}
    for index, (prop, still) in enumerate(zip(shot.prop, stills, strict=True)):
        if not still.solved[0]:
            reasons[index] = "there is no settled state to judge it by"
        elif prop.mark is None:
            reasons[index] = "no mark is given, so its place is not known"
        elif prop.size is None:
            reasons[index] = "no size is given, so its outline is not known"
    return reasons


def _scene(
    shot: Shot,
    readings: Sequence[Reading],
    stills: Sequence[Outcome],
    motions: Sequence[MotionOutcome | None],
    *,
    delays: dict[int, float] | None = None,
) -> _Scene:
    delays = delays or {}
    left_out = _left_out(shot, stills)
    bodies = {
        index: carried(prop, readings[index], stills[index])
        for index, prop in enumerate(shot.prop)
        if index not in left_out
    }
    spans = [
        tuple(end + delays.get(index, 0.0) for end in span(body.travels))
        for index, body in bodies.items()
        if body.travels
    ]
    times = np.zeros(1)
    if spans:
        way = max(_way(body) for body in bodies.values())
        count = int(np.clip(np.ceil(way / _STEP), _LEAST_TIMES, _MOST_TIMES))
        times = _times_of(bodies, delays, spans, count)
    courses = []
    for index, body in bodies.items():
        own = times - delays.get(index, 0.0)
        rotation, position = body.poses(own)
        margin = _tolerance(shot.prop[index]) + _off_path(readings[index], stills[index], motions[index], own)
        courses.append(
            _Course(
                index=index,
                prop=shot.prop[index],
                body=body,
                known=not readings[index].task.pushes,
                times=times,
                delay=delays.get(index, 0.0),
                shift=np.zeros(3),
                rotation=rotation,
                position=position,
                margin=margin,
            )
        )
    eye = readings[0].task.eye
    camera = None if eye is None else eye.camera
    return _Scene(times=times, moves=bool(spans), camera=camera, courses=tuple(courses))


def _times_of(
    bodies: dict[int, Carried], delays: dict[int, float], spans: Sequence[tuple[float, ...]], count: int
) -> Array:
    """Times close together wherever a prop moves, however short that is beside the whole shot."""
    begin, end = min(start for start, _ in spans), max(stop for _, stop in spans)
    moves = {
        (float(travel.start[0]) + delays.get(index, 0.0), float(travel.stop[0]) + delays.get(index, 0.0))
        for index, body in bodies.items()
        for travel in body.travels
    }
    # Moves that fill the shot are covered by its own times; the others get as many of their own.
    short = [(start, stop) for start, stop in sorted(moves) if stop - start < _SHORT_MOVE * (end - begin)]
    each = min(count, max(_LEAST_TIMES, _MOST_TIMES // max(1, len(short))))
    parts = [np.linspace(start, stop, each) for start, stop in short]
    return distinct(np.concatenate([np.linspace(begin, end, count), *parts]))


def _way(body: Carried) -> float:
    """Bound on how far any of the prop goes [m]."""
    reach = float(np.linalg.norm(body.size)) / 2 + float(
        np.linalg.norm(body.centre - body.lines[0].points[0])
    )
    return sum(
        abs(float(travel.stroke[0])) * (reach if travel.rolls else 1.0)
        if travel.keys is None
        else float(np.abs(np.diff(travel.keys.at(travel.keys.times)[0])).sum())
        * (reach if travel.rolls else 1.0)
        for travel in body.travels
    )


def _tolerance(prop: Prop) -> float:
    """How far a prop may be off its mark [m]: half the ranges of the mark where it has any."""
    assert prop.mark is not None  # props without one are left out
    ranges = [part.range_as("m") for part in prop.mark]
    if all(ends is None for ends in ranges):
        return POSITION_TOLERANCE
    return float(np.linalg.norm([0.0 if ends is None else (ends[1] - ends[0]) / 2 for ends in ranges]))


def _off_path(reading: Reading, still: Outcome, motion: MotionOutcome | None, times: Array) -> Array:
    """How far a prop may be off its path by lag and wobble at the times [m]."""
    if motion is None:
        return np.zeros(len(times))
    residual = float(motion.residual[0])
    if reading.task.pushes:
        return np.full(len(times), residual / 2)  # only its place at rest is looked at
    peak = residual if motion.peak_deviation is None else float(motion.peak_deviation[0])
    largest = max(peak, residual / 2)
    course = None if largest <= _SMALL else swing(reading, still)
    if course is None:
        return np.full(len(times), largest)
    return np.interp(times, course.times, course.reach)


def _approach(scene: _Scene, one: _Course, other: _Course) -> Approach:
    at_rest_only = not (one.known and other.known)
    pair = (one.last(), other.last()) if at_rest_only else (one, other)
    names = one.prop.name, other.prop.name
    margin = float(pair[0].margin[-1] + pair[1].margin[-1])
    try:
        found, at = _closer(*pair, _closest(*pair))
        touch = None
        if found.gap < 0 and scene.moves and not at_rest_only:
            first_row = _first_touch(*pair, supports=found.supports, row=found.row)
            touch = float(scene.times[first_row]) if first_row else None
    except NotConvergedError as error:
        return Approach(
            first=names[0],
            second=names[1],
            gap=0.0,
            margin=margin,
            time=None,
            at_rest=False,
            problem=f"{str(error)[:1].upper()}{str(error)[1:]}",
        )
    return Approach(
        first=names[0],
        second=names[1],
        gap=found.gap,
        exact=found.exact,
        margin=found.gap - found.clearance,
        time=at if scene.moves else None,
        at_rest=at == float(scene.times[-1]),
        touch=touch,
        first_support=found.supports[0],
        second_support=found.supports[1],
        pixels=_pixels(scene.camera, found),
    )


def _pixels(camera: Camera | None, found: _Found) -> float | None:
    """Distance of the nearest places in the picture."""
    if camera is None or found.places is None:
        return None
    try:
        return float(np.linalg.norm(np.subtract(*camera.project(np.stack(found.places)))))
    except ValidityError:
        return None  # one of them is beside or behind the lens


def approaches(
    shot: Shot,
    readings: Sequence[Reading],
    stills: Sequence[Outcome],
    motions: Sequence[MotionOutcome | None],
) -> tuple[Approach, ...]:
    """Find the closest approach of every two props over their moves.

    Parameters
    ----------
    shot : Shot
        With its props.
    readings, stills, motions : sequence
        Of each prop, in the order of the shot.

    Returns
    -------
    tuple of Approach
        The nearest first; pairs of which one cannot be placed are left out.

    Raises
    ------
    ArgumentError
        Not one of each for every prop.
    """
    _one_each(shot, readings, stills, motions)
    scene = _scene(shot, readings, stills, motions)
    found = [_approach(scene, one, other) for one, other in combinations(scene.courses, 2)]
    return tuple(sorted(found, key=lambda pair: pair.clearance))


def _one_each(shot: Shot, *given: Sequence[object]) -> None:
    counts = [len(part) for part in given]
    if any(count != len(shot.prop) for count in counts):
        raise ArgumentError(
            f"readings, stills, motions: given {counts} for {len(shot.prop)} props; give one of each for every prop,"
            " in the order of the shot."
        )


def meeting(
    shot: Shot,
    readings: Sequence[Reading],
    stills: Sequence[Outcome],
    motions: Sequence[MotionOutcome | None],
    *,
    found: tuple[Approach, ...] | None = None,
) -> tuple[Contribution, ...]:
    """Check that the props of a shot do not meet.

    Parameters
    ----------
    shot : Shot
        With its props.
    readings, stills, motions : sequence
        Of each prop, in the order of the shot.
    found : tuple of Approach, optional
        From `approaches`, where they are known already.

    Returns
    -------
    tuple of Contribution
        One a prop, each with a finding ``meeting`` on its nearest neighbour; empty ones where there is only one
        prop.

    Raises
    ------
    ArgumentError
        Not one of each for every prop.

    Notes
    -----
    The intended path ends on the mark, where the settled centre of mass is, so sag is in it. What each prop may be
    off is its lag and wobble at that time (`rigcheck.studies.picturing.swing`) and 1 mm, or the ranges of its mark.
    Two props that overlap as planned by more than both margins together meet for sure, and fail; a gap or an
    overlap within the margins is a caution, because then they may or may not touch.
    """
    _one_each(shot, readings, stills, motions)
    if len(shot.prop) < 2:
        return tuple(Contribution() for _ in shot.prop)
    pairs = approaches(shot, readings, stills, motions) if found is None else found
    left_out = _left_out(shot, stills)
    missing = tuple(
        Figure(label=f"nearest to {shot.prop[at].name}", value="not known", note=reason)
        for at, reason in left_out.items()
    )
    contributions = []
    for index, prop in enumerate(shot.prop):
        own = [pair for pair in pairs if prop.name in (pair.first, pair.second)]
        if not own:
            contributions.append(Contribution(findings=(_cannot(left_out, index),)))
            continue
        good = [pair for pair in own if not pair.problem]
        worst = min(good, key=lambda pair: pair.clearance) if good else own[0]
        advice: tuple[str, ...] = ()
        if worst.status in (Status.CAUTION, Status.FAIL):
            advice = _advice(shot, readings, stills, motions, index, worst)
        pushed = any(readings[at].task.pushes for at in range(len(shot.prop)))
        contributions.append(
            Contribution(
                findings=(_finding(prop.name, worst, advice),),
                figures=(*(_figure(prop.name, pair) for pair in own), *missing),
                assumptions=_assumptions(prop, pushed=pushed),
            )
        )
    return tuple(contributions)


def meeting_words(pairs: Sequence[Approach]) -> str:
    """The closest approach of a shot in a sentence, for its head.

    Parameters
    ----------
    pairs : sequence of Approach
        As `approaches` gives them.

    Returns
    -------
    str
        Empty where no two props could be compared.
    """
    known = [pair for pair in pairs if not pair.problem]
    if not known:
        return ""
    nearest = known[0]
    if not nearest.exact:
        return f"All props stay at least {length_words(nearest.gap)} clear of each other."
    one = f"the support of {nearest.first}" if nearest.first_support else nearest.first
    other = f"the support of {nearest.second}" if nearest.second_support else nearest.second
    how = (
        f"{length_words(nearest.gap)} apart"
        if nearest.gap > 0
        else f"overlapping by {length_words(nearest.gap)}"
    )
    return f"Closest approach: {one} and {other}, {how}, {_when(nearest)}."


def _cannot(left_out: dict[int, str], index: int) -> Finding:
    reason = left_out.get(index)
    if reason is None:
        others = set(left_out.values())
        reason = f"of the other props {others.pop()}" if len(others) == 1 else "no other prop can be placed"
    return Finding(
        id="meeting", label=_LABEL, status=Status.SKIPPED, says=f"{reason[:1].upper()}{reason[1:]}."
    )


def _assumptions(prop: Prop, *, pushed: bool) -> tuple[str, ...]:
    tolerance = _tolerance(prop)
    said = [
        "Props meet as solid shapes of their size about their centres of mass; heads and clamps are not looked at.",
        f"It may be {length_words(tolerance)} off its mark"
        + (" (a choice)" if all(part.low is None for part in prop.mark or ()) else "")
        + ", beside lag and wobble.",
    ]
    if pushed:
        said.append(
            "Where only the acceleration of a move is known, props are compared as they come to rest and not on"
            " their way."
        )
    return tuple(said)


def _when(pair: Approach) -> str:
    if pair.time is None:
        return "as they stand"
    return "when they have come to rest" if pair.at_rest else f"at {pair.time:.2f} s"


def _sides(name: str, pair: Approach) -> tuple[str, str]:
    """The two as seen from one of them, for the start of a sentence and for its end."""
    first = name == pair.first
    own, theirs = pair.first_support, pair.second_support
    if not first:
        own, theirs = theirs, own
    other = pair.second if first else pair.first
    return "Its support" if own else "It", f"the support of {other}" if theirs else other


def _finding(name: str, pair: Approach, advice: tuple[str, ...]) -> Finding:
    if pair.problem:
        return Finding(id="meeting", label=_LABEL, status=Status.SKIPPED, says=pair.problem)
    it, other = _sides(name, pair)
    when, off = _when(pair), length_words(pair.margin)
    if pair.status is Status.PASS:
        least = "" if pair.exact else "at least "
        says = f"{it} stays {least}{length_words(pair.gap)} clear of {other}; both together may be {off} off."
        if pair.exact:
            says = f"{it} comes within {length_words(pair.gap)} of {other} {when}; both together may be {off} off."
    elif pair.status is Status.FAIL:
        at = (
            ""
            if pair.time is None
            else " from the start"
            if pair.touch is None
            else f" at {pair.touch:.2f} s"
        )
        says = f"{it} runs into {other}{at}: as planned they overlap by {length_words(pair.gap)} {when}."
    elif pair.gap > 0:
        says = (
            f"{it} comes within {length_words(pair.gap)} of {other} {when}, and both together may be {off} off:"
            " they may touch."
        )
    else:
        says = (
            f"As planned {it[:1].lower()}{it[1:]} overlaps {other} by {length_words(pair.gap)} {when}; both together"
            f" may be {off} off, so they are likely to touch."
        )
    return Finding(
        id="meeting",
        label=_LABEL,
        status=pair.status,
        value=pair.gap * 1e3,
        limit=pair.margin * 1e3,
        at_least=True,
        unit="mm",
        says=says,
        advice=advice,
    )


def _figure(name: str, pair: Approach) -> Figure:
    _, other = _sides(name, pair)
    label = f"nearest to {other}"
    if pair.problem:
        return Figure(label=label, value="not known", note=pair.problem)
    if not pair.exact:
        return Figure(label=label, value=f"at least {length_words(pair.gap)}", note=_when(pair))
    pixels = "" if pair.pixels is None else f", {pair.pixels:.3g} px apart in the picture"
    if pair.gap > 0:
        return Figure(label=label, value=length_words(pair.gap), note=f"{_when(pair)}{pixels}")
    return Figure(label=label, value=f"overlaps by {length_words(pair.gap)}", note=_when(pair))


# -- what to change --------------------------------------------------------------------------------------


def _advice(
    shot: Shot,
    readings: Sequence[Reading],
    stills: Sequence[Outcome],
    motions: Sequence[MotionOutcome | None],
    index: int,
    worst: Approach,
) -> tuple[str, ...]:
    """Changes that keep this prop clear of all others, each computed with the whole search."""
    scene = _scene(shot, readings, stills, motions)
    advice = [] if worst.at_rest else _later(shot, readings, stills, motions, index)
    advice += _mark_elsewhere(scene, index)
    return tuple(advice)


def _clear(scene: _Scene, index: int, shift: Array) -> bool:
    """Whether one prop keeps clear of all others with its mark shifted, by the whole search."""
    own = next(course for course in scene.courses if course.index == index).shifted(shift)
    pairs = [_approach(scene, own, other) for other in scene.courses if other.index != index]
    return all(pair.status is Status.PASS for pair in pairs)


def _clear_by_bound(scene: _Scene, index: int, shift: Array) -> bool:
    """The same for the props alone, by the bounds: true only where it is so, and quick."""
    own = next(course for course in scene.courses if course.index == index).shifted(shift)
    for other in scene.courses:
        if other.index == index:
            continue
        one, two = (own, other) if own.known and other.known else (own.last(), other.last())
        first, second = _prop_shape(one.body), _prop_shape(two.body)
        lower = _bound(one, first, two, second, _ways(one, first, two, second))
        if (lower <= one.margin + two.margin).any():
            return False
    return True


def _later(
    shot: Shot,
    readings: Sequence[Reading],
    stills: Sequence[Outcome],
    motions: Sequence[MotionOutcome | None],
    index: int,
) -> list[str]:
    for delay in _DELAYS:
        scene = _scene(shot, readings, stills, motions, delays={index: delay})
        if _clear_by_bound(scene, index, np.zeros(3)) and _clear(scene, index, np.zeros(3)):
            return [f"Start its moves {delay:g} s later, and it keeps clear of the others."]
    return []


def _mark_elsewhere(scene: _Scene, index: int) -> list[str]:
    """The shortest shift of the mark along one of the axes that clears it of all others."""
    shifts = []
    for way in np.concatenate([np.eye(3), -np.eye(3)]):
        low, high = 0.0, 2 * _HANDLE
        while high <= _LONGEST_SHIFT and not _clear_by_bound(scene, index, high * way):
            low, high = high, 2 * high
        if high > _LONGEST_SHIFT:
            continue
        while high - low > _HANDLE / 2:
            middle = 0.5 * (low + high)
            low, high = (low, middle) if _clear_by_bound(scene, index, middle * way) else (middle, high)
        shifts.append((_HANDLE * float(np.ceil(high / _HANDLE)), way))
    for size, way in sorted(shifts, key=lambda found: found[0])[:_TRIES]:
        if _clear(scene, index, size * way):
            return [f"Move its mark {size * 1e3:g} mm {_toward(way)}, and it keeps clear of the others."]
    return []


def _toward(way: Array) -> str:
    word = way_words(way)
    return f"to the {word}" if word in ("left", "right") else word
