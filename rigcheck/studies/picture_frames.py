"""The frames of the moves and the poses in which a prop is looked at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Shot
from rigcheck.motion.sampling import distinct
from rigcheck.studies.carried import Carried
from rigcheck.studies.moves import is_turning, span

if TYPE_CHECKING:
    from rigcheck.motion.keyframes import KeyframePath

__all__ = ["LOOKS", "Frames", "frames_of"]

Array = NDArray[np.float64]

LOOKS = 9
"""Frames looked at first; those between two unlike ones follow."""
_LOOKS_TURNING = 65
_POSES = 101
"""Places looked at where no frame rate is given."""
_MOST_KEYS = 5_000
_SPEED_SAMPLES = 101
"""Places between which the speed is taken; a smooth move's top speed comes out within 0.1 %."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Frames:
    """The frames of the moves and the poses that are looked at first, which are worked out in one go.

    Attributes
    ----------
    rate : float or None
        [1/s]; None where none is given, and the frames are then places spread over the moves.
    count : int
        How many there are; of a shot of days more than memory would hold.
    start, step : float
        Time of the first and between two [s].
    first : int array
        Frames looked at first.
    rotation, position : array
        In those and, last, at the end of the moves.
    course : array
        Times at which the speed is looked at [s].
    course_rotation, course_position : array
        There.
    """

    rate: float | None
    count: int
    start: float
    step: float
    first: NDArray[np.intp]
    rotation: Array
    position: Array
    course: Array
    course_rotation: Array
    course_position: Array

    def times(self, frames: NDArray[np.intp]) -> Array:
        """Times of some of the frames [s]."""
        return np.asarray(self.start + frames * self.step)


def frames_of(shot: Shot, body: Carried) -> Frames:
    """The frames of the moves and the poses looked at first."""
    camera = shot.camera
    rate = None if camera is None or camera.frame_rate is None else camera.frame_rate.m_as("Hz")
    if body.travels:
        start, stop = span(body.travels)
        count = _POSES if rate is None else int((stop - start) * rate + 1e-6) + 1
        step = (stop - start) / (_POSES - 1) if rate is None else 1.0 / rate
        keys = [travel.keys for travel in body.travels if travel.keys is not None]
        looks = LOOKS if not keys and not is_turning(body.travels) else _LOOKS_TURNING
        # Within each move: a short one may lie between two samples of the whole shot.
        spans = {(start, stop), *((float(one.start[0]), float(one.stop[0])) for one in body.travels)}
        course = distinct(
            np.concatenate(
                [*(np.linspace(*ends, _SPEED_SAMPLES) for ends in spans), *(_fastest(path) for path in keys)]
            )
        )
    else:
        start, stop, count, step, looks, course = 0.0, 0.0, 1, 0.0, 1, np.zeros(0)
    # Also within each move: a short one may lie between two looks over the whole shot.
    within = [
        _first_from((np.linspace(float(travel.start[0]), float(travel.stop[0]), looks) - start) / step)
        for travel in body.travels
    ]
    even = np.linspace(0, count - 1, looks).round().astype(np.intp)
    first = distinct(np.clip(np.concatenate([even, *within]), 0, count - 1))
    rotation, position = body.poses(np.concatenate([start + first * step, [stop], course]))
    split = len(first) + 1
    turned, carried_on = (rotation, rotation) if len(rotation) == 1 else (rotation[:split], rotation[split:])
    return Frames(
        rate=rate,
        count=count,
        start=start,
        step=step,
        first=first,
        rotation=turned,
        position=position[:split],
        course=course,
        course_rotation=carried_on,
        course_position=position[split:],
    )


def _first_from(places: Array) -> NDArray[np.intp]:
    """The first frame at or after each place, counted in frames; rounding may put it just after."""
    return np.ceil(places - 1e-6).astype(np.intp)


def _fastest(keys: KeyframePath) -> Array:
    """Times of keys: all of them, or of a long list those about its fastest."""
    middle = int(np.abs(keys.velocity).argmax())
    first = max(0, min(middle - _MOST_KEYS // 2, keys.times.size - _MOST_KEYS))
    return keys.times[first : first + _MOST_KEYS]
