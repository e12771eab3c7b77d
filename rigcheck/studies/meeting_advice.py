"""What keeps a prop clear of the others: another start or another mark, each computed in full."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Shot
from rigcheck.studies.approach_search import gap_bound, likely_ways
from rigcheck.studies.approaching import Approach, Scene, approach_of, scene_of
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.results import Status
from rigcheck.studies.shape_courses import prop_shape
from rigcheck.studies.words import way_words

__all__ = ["advice_for"]

Array = NDArray[np.float64]

_HANDLE = 5e-4
"""Advice on marks comes in half millimetres [m]."""
_LONGEST_SHIFT = 0.26
"""Advice moves a mark at most this far [m]: a choice."""
_TRIES = 3
_DELAYS = (0.25, 0.5, 1.0, 2.0)


def advice_for(
    shot: Shot,
    readings: Sequence[Reading],
    stills: Sequence[Outcome],
    motions: Sequence[MotionOutcome | None],
    index: int,
    worst: Approach,
) -> tuple[str, ...]:
    """Changes that keep this prop clear of all others, each computed with the whole search."""
    scene = scene_of(shot, readings, stills, motions)
    advice = [] if worst.at_rest else _later(shot, readings, stills, motions, index)
    advice += _mark_elsewhere(scene, index)
    return tuple(advice)


def _clear(scene: Scene, index: int, shift: Array) -> bool:
    """Whether one prop keeps clear of all others with its mark shifted, by the whole search."""
    own = next(course for course in scene.courses if course.index == index).shifted(shift)
    return all(
        approach_of(scene, own, other, for_verdict=True).status is Status.PASS
        for other in scene.courses
        if other.index != index
    )


def _clear_by_bound(scene: Scene, index: int, shift: Array) -> bool:
    """The same for the props alone, by the bounds: true only where it is so, and quick."""
    own = next(course for course in scene.courses if course.index == index).shifted(shift)
    for other in scene.courses:
        if other.index == index:
            continue
        one, two = (own, other) if own.known and other.known else (own.last(), other.last())
        first, second = prop_shape(one.body), prop_shape(two.body)
        lower = gap_bound(one, first, two, second, likely_ways(one, first, two, second))
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
        scene = scene_of(shot, readings, stills, motions, delays={index: delay})
        if _clear_by_bound(scene, index, np.zeros(3)) and _clear(scene, index, np.zeros(3)):
            return [f"Start its moves {delay:g} s later, and it keeps clear of the others."]
    return []


def _mark_elsewhere(scene: Scene, index: int) -> list[str]:
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
