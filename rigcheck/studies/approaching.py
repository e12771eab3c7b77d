"""The closest approach of every two props of a shot, with lag, wobble and tolerance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError, NotConvergedError, ValidityError
from rigcheck.model import Prop, Shot
from rigcheck.motion.sampling import distinct
from rigcheck.studies.approach_search import (
    Found,
    closer_between,
    closest_of,
    first_touch,
    least_clearance,
    status_of,
)
from rigcheck.studies.carried import Carried, carried
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.moves import span
from rigcheck.studies.moving import MotionOutcome, deviation_bound
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.results import Status
from rigcheck.studies.shape_courses import PropCourse
from rigcheck.studies.swinging import swing
from rigcheck.studies.words import capitalised

if TYPE_CHECKING:
    from rigcheck.picture.projection import Camera

__all__ = [
    "POSITION_TOLERANCE",
    "Approach",
    "Scene",
    "approach_of",
    "approaches",
    "mark_tolerance",
    "not_placed",
    "one_each",
    "scene_of",
]

Array = NDArray[np.float64]

POSITION_TOLERANCE = 1e-3
"""How far a prop may be off its mark where the mark has no range [m]: a choice, stated as one."""
_STEP = 5e-4
"""How far the farthest-going prop goes between the times looked at, on average [m]."""
_SHORT_MOVE = 0.5
_LEAST_TIMES = 101
_MOST_TIMES = 20_000
_SMALL = 1e-4
"""Deviation from the path below which it is not followed in time [m]."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
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
        return Status.SKIPPED if self.problem else status_of(self.gap, self.margin)

    @property
    def clearance(self) -> float:
        """Gap less margin [m]."""
        return self.gap - self.margin


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Scene:
    """All props that can be placed, at times they share [s]."""

    times: Array
    moves: bool
    camera: Camera | None
    courses: tuple[PropCourse, ...]


def not_placed(shot: Shot, stills: Sequence[Outcome]) -> dict[int, str]:
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


def scene_of(
    shot: Shot,
    readings: Sequence[Reading],
    stills: Sequence[Outcome],
    motions: Sequence[MotionOutcome | None],
    *,
    delays: dict[int, float] | None = None,
    roughly: bool = False,
    bodies: Mapping[int, Carried] | None = None,
) -> Scene:
    """All props that can be placed, at times close together wherever one moves.

    Parameters
    ----------
    shot : Shot
        With its props.
    readings, stills, motions : sequence
        Of each prop, in the order of the shot.
    delays : dict of int to float, optional
        How much later than in the file the moves of a prop start [s].
    roughly : bool
        Take each prop to be as far off its path all the time as it could be at any, and farther: enough to say that
        props are clear of each other, and no course need be followed for it.
    bodies : mapping of int to Carried, optional
        Settled props by their place in the shot, as far as they are known.

    Returns
    -------
    Scene
    """
    delays, known = delays or {}, bodies or {}
    left_out = not_placed(shot, stills)
    bodies = {
        index: known[index] if index in known else carried(prop, readings[index], stills[index])
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
        margin = mark_tolerance(shot.prop[index]) + (
            _surely_within(stills[index], motions[index], own)
            if roughly
            else _off_path(readings[index], stills[index], motions[index], own)
        )
        courses.append(
            PropCourse(
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
    return Scene(times=times, moves=bool(spans), camera=camera, courses=tuple(courses))


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


def mark_tolerance(prop: Prop) -> float:
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


def _surely_within(still: Outcome, motion: MotionOutcome | None, times: Array) -> Array:
    """What a prop is off its path by at no time, in place of `_off_path` [m].

    Twice the bound, which is good to a few per cent, and the whole wobble, of which half counts.
    """
    if motion is None:
        return np.zeros(len(times))
    bound = 2 * float(deviation_bound(still, motion)[0]) + float(motion.residual[0])
    return np.full(len(times), bound)


def approach_of(scene: Scene, one: PropCourse, other: PropCourse, *, for_verdict: bool = False) -> Approach:
    """The closest approach of two props of a scene.

    Parameters
    ----------
    scene : Scene
        For its times and its camera.
    one, other : PropCourse
        Two of its props.
    for_verdict : bool
        Leave out what no status depends on: of props that bounds show to be clear of each other, how far and when;
        of those that overlap, from when on.

    Returns
    -------
    Approach
    """
    if for_verdict and (clear := _clear_by_bounds(one, other)) is not None:
        return clear
    pair = _as_known(one, other)
    at_rest_only = not (one.known and other.known)
    names = one.prop.name, other.prop.name
    margin = float(pair[0].margin[-1] + pair[1].margin[-1])
    try:
        found, at = closer_between(*pair, closest_of(*pair))
        touch = None
        if not for_verdict and found.gap < 0 and scene.moves and not at_rest_only:
            first_row = first_touch(*pair, supports=found.supports, row=found.row)
            touch = float(scene.times[first_row]) if first_row else None
    except NotConvergedError as error:
        return Approach(
            first=names[0],
            second=names[1],
            gap=0.0,
            margin=margin,
            time=None,
            at_rest=False,
            problem=capitalised(str(error)),
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


def _as_known(one: PropCourse, other: PropCourse) -> tuple[PropCourse, PropCourse]:
    """Two props on their courses, or only at rest where one of them is known only there."""
    return (one, other) if one.known and other.known else (one.last(), other.last())


def _clear_by_bounds(one: PropCourse, other: PropCourse) -> Approach | None:
    """What is known of two props that bounds show to be clear of each other; None where they do not."""
    pair = _as_known(one, other)
    clearance = least_clearance(*pair)
    if clearance <= 0:
        return None
    margin = float(pair[0].margin[-1] + pair[1].margin[-1])
    return Approach(
        first=one.prop.name,
        second=other.prop.name,
        gap=margin + clearance,
        exact=False,
        margin=margin,
        time=None,
        at_rest=False,
    )


def _pixels(camera: Camera | None, found: Found) -> float | None:
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
    *,
    of: int | None = None,
    bodies: Mapping[int, Carried] | None = None,
) -> tuple[Approach, ...]:
    """Find the closest approach of every two props over their moves.

    Parameters
    ----------
    shot : Shot
        With its props.
    readings, stills, motions : sequence
        Of each prop, in the order of the shot.
    of : int, optional
        The only prop whose pairs are wanted, for a verdict alone; see `approach_of`.
    bodies : mapping of int to Carried, optional
        As in `scene_of`.

    Returns
    -------
    tuple of Approach
        The nearest first; pairs of which one cannot be placed are left out.

    Raises
    ------
    ArgumentError
        Not one of each for every prop.
    """
    one_each(shot, readings, stills, motions)
    if of is not None:
        found = _for_verdict(shot, readings, stills, motions, of, bodies)
    else:
        scene = scene_of(shot, readings, stills, motions, bodies=bodies)
        found = [approach_of(scene, *pair) for pair in combinations(scene.courses, 2)]
    return tuple(sorted(found, key=lambda pair: pair.clearance))


def _for_verdict(
    shot: Shot,
    readings: Sequence[Reading],
    stills: Sequence[Outcome],
    motions: Sequence[MotionOutcome | None],
    of: int,
    bodies: Mapping[int, Carried] | None,
) -> list[Approach]:
    """Approaches of one prop to the others, as far as a verdict needs them."""

    def pairs(scene: Scene) -> list[tuple[PropCourse, PropCourse]]:
        return [pair for pair in combinations(scene.courses, 2) if of in (pair[0].index, pair[1].index)]

    rough_scene = scene_of(shot, readings, stills, motions, roughly=True, bodies=bodies)
    rough = [_clear_by_bounds(*pair) for pair in pairs(rough_scene)]
    if all(found is not None for found in rough):
        return [found for found in rough if found is not None]
    followed = [
        motion if motion is None or motion.peak_deviation is not None else reading.task.move(still)
        for reading, still, motion in zip(readings, stills, motions, strict=True)
    ]
    scene = scene_of(shot, readings, stills, followed, bodies=bodies)
    return [
        approach_of(scene, *pair, for_verdict=True) if clear is None else clear
        for pair, clear in zip(pairs(scene), rough, strict=True)
    ]


def one_each(shot: Shot, *given: Sequence[object]) -> None:
    """Refuse what is not one of each for every prop."""
    counts = [len(part) for part in given]
    if any(count != len(shot.prop) for count in counts):
        raise ArgumentError(
            f"readings, stills, motions: given {counts} for {len(shot.prop)} props; give one of each for every prop,"
            " in the order of the shot."
        )
