"""What the lens sees of one prop when its moves have ended, to scale; nothing is drawn here.

The plane has the camera's own axes, and its millimetres are those at the prop.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ValidityError
from rigcheck.mechanics.turns import from_vector, rotation_matrix
from rigcheck.model import Prop, Shot
from rigcheck.picture.outlines import outline
from rigcheck.picture.projection import Camera
from rigcheck.picture.shadow import hidden_stretch
from rigcheck.studies.carried import Carried, carried
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.history import History
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.sheet.shape import Curve, settled_curves
from rigcheck.studies.sheet.strokes import (
    IN_PLANE,
    SHOWN_WOBBLE,
    Stroke,
    exaggeration,
    insert_solid,
    width_of,
    wobble_ends,
)

if TYPE_CHECKING:
    from rigcheck.studies.rigs import SupportRig

__all__ = ["LensView", "lens_view"]

Array = NDArray[np.float64]

_SEEN_PIECES = 160


@dataclass(frozen=True, kw_only=True, eq=False)
class LensView:
    """A prop as the lens sees it when the moves have ended, true to scale, without exaggeration.

    Attributes
    ----------
    camera : bool
        False where no camera is given: then it is seen level, from far away.
    outline, insert : array, shape (k, 2), or None
        [mm at the prop, from the frame's centre].
    centre : array, shape (2,)
        Centre of mass.
    shown, hidden : tuple of Stroke
        Pieces of the supports that the prop does not hide, and that it does.
    swings : tuple of array, shape (k, 2)
        Outlines at the two ends of the wobble after the moves; empty where there is none.
    wobble_times : float
        How many times as large that is drawn as it is.
    pixel : float or None
        What one pixel spans [mm].
    frame : tuple of (float, float), or None
        Left and right edge of the picture [mm].
    """

    camera: bool
    outline: Array | None
    insert: Array | None
    centre: Array
    shown: tuple[Stroke, ...]
    hidden: tuple[Stroke, ...]
    swings: tuple[Array, ...]
    wobble_times: float
    pixel: float | None
    frame: tuple[float, float] | None

    @property
    def points(self) -> Array:
        """All places drawn but the edges of the frame, (n, 2) [mm]."""
        strokes = [stroke.points for stroke in (*self.shown, *self.hidden)]
        outlines = [] if self.outline is None else [self.outline]
        return np.concatenate([*outlines, *self.swings, *strokes, self.centre[None]])


def lens_view(
    shot: Shot, prop: Prop, reading: Reading, still: Outcome, history: History | None
) -> LensView | None:
    """Lay out a settled prop as the lens sees it when the moves have ended.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.
    reading : Reading
        The same made ready to compute.
    still : Outcome
        At rest; the first variant is used.
    history : History or None
        Its response, for the wobble.

    Returns
    -------
    LensView or None
        None where there is no settled state, or the lens is too near to see the prop whole.
    """
    if not still.solved[0]:
        return None
    body = carried(prop, reading, still)
    eye = reading.task.eye
    given = eye is not None and shot.camera is not None
    camera = eye.camera if eye is not None else Camera(field_width=1.0, image_width=1000)
    try:
        return _lens_view(prop, body, still, camera, history, given=given)
    except ValidityError:
        return None


def _lens_view(
    prop: Prop, body: Carried, still: Outcome, camera: Camera, history: History | None, *, given: bool
) -> LensView:
    middle = body.base + body.centre
    scale = 1e3 / float(camera.pixels_per_metre_at(middle))  # mm at the prop for a pixel
    turn = np.eye(3)
    leaning = rotation_matrix(from_vector(still.rotation[0]))
    solid = body.solid(turn[None], body.base[None]) if body.shape is not None else None
    shown: list[Stroke] = []
    hidden: list[Stroke] = []
    for curve, support in zip(settled_curves(still), still.rig.supports, strict=True):
        for stroke in _lens_strokes(curve, support):
            points = stroke.points + body.base
            pixels = camera.project(points) * scale
            covered = np.zeros(len(points) - 1, dtype=bool)
            if solid is not None:
                begin, stop = hidden_stretch(solid, camera, start=points[None, :-1], end=points[None, 1:])
                covered = (stop - begin)[0] > 0.5
            for first, last, is_covered in _runs(covered):
                piece = Stroke(points=pixels[first : last + 1], width=stroke.width, kind=stroke.kind)
                (hidden if is_covered else shown).append(piece)
    sheet = insert_solid(prop, middle, leaning, turn)
    silhouette = None if solid is None else outline(solid, camera)[0] * scale
    swings, times = _lens_swings(silhouette, camera.pixel_jacobian(middle) * scale, still, history)
    return LensView(
        camera=given,
        outline=silhouette,
        swings=swings,
        wobble_times=times,
        insert=None if sheet is None else outline(sheet, camera) * scale,
        centre=camera.project(middle) * scale,
        shown=tuple(shown),
        hidden=tuple(hidden),
        pixel=scale if given else None,
        frame=(-0.5 * camera.image_width * scale, 0.5 * camera.image_width * scale) if given else None,
    )


def _lens_swings(
    silhouette: Array | None, jacobian: Array, still: Outcome, history: History | None
) -> tuple[tuple[Array, ...], float]:
    """The outline at both ends of the wobble, and how many times as far apart as they are."""
    ends = None if history is None else wobble_ends(still, history)
    if ends is None or silhouette is None:
        return (), 1.0
    seen = ends @ jacobian.T
    apart = float(np.linalg.norm(seen[1] - seen[0]))
    if apart < 1e3 * IN_PLANE * float(np.linalg.norm(ends[1] - ends[0])):
        return (), 1.0
    times = exaggeration(SHOWN_WOBBLE * float(np.ptp(silhouette, axis=0).max()), apart)
    return tuple(silhouette + times * end for end in seen), times


def _lens_strokes(curve: Curve, support: SupportRig) -> list[Stroke]:
    """Support and sleeves in space [m], cut fine enough to tell what is hidden."""
    result = []
    spans = [(0.0, float(curve.along[-1]), 1e-3 * width_of(support), "support")]
    spans += [
        (float(tube.start[0]), float(tube.end[0]), float(tube.outer_diameter[0]), "sleeve")
        for tube in support.sleeves
    ]
    for start, end, width, kind in spans:
        inside = curve.along[(curve.along > start) & (curve.along < end)]
        at = np.unique(np.concatenate([np.linspace(start, end, _SEEN_PIECES), inside]))
        at = at[np.concatenate([[True], np.diff(at) > 1e-6 * (end - start)])]
        points = np.stack([np.interp(at, curve.along, column) for column in curve.settled.T], axis=1)
        result.append(Stroke(points=points, width=1e3 * width, kind=kind))
    return result


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int, bool]]:
    """Stretches of equal flags as (first point, last point, flag)."""
    edges = np.flatnonzero(np.diff(flags)) + 1
    bounds = [0, *edges.tolist(), len(flags)]
    return [(start, stop, bool(flags[start])) for start, stop in pairwise(bounds)]
