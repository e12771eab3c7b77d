"""What happens in the picture: where all props start and end, and the course of one while it rings.

Places in pixels from the centre, right and up; without a camera a course is in mm. Nothing is drawn here.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ValidityError
from rigcheck.model import Prop, Shot
from rigcheck.picture.outlines import outline
from rigcheck.picture.projection import Camera
from rigcheck.studies.carried import Carried, carried
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.history import History
from rigcheck.studies.moves import span
from rigcheck.studies.reading.prop import Reading

__all__ = ["FrameView", "Spot", "WobblePath", "frame_view", "wobble_path"]

Array = NDArray[np.float64]

_MOST_POINTS = 600


@dataclass(frozen=True, kw_only=True, eq=False)
class Spot:
    """One prop in the whole picture [px from its centre, right and up].

    Attributes
    ----------
    name : str
        Its name.
    start, end : array, shape (k, 2), or None
        Outlines where its moves start and where they end; None where it has no size, or does not move.
    start_centre, end_centre : array, shape (2,)
        Centre of mass there.
    supports : tuple of array, shape (n, 2)
        Its supports where the moves end.
    """

    name: str
    start: Array | None
    start_centre: Array | None
    end: Array | None
    end_centre: Array
    supports: tuple[Array, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class FrameView:
    """The whole picture: its props, its left and right edge [px], and its scale at the frame's centre."""

    spots: tuple[Spot, ...]
    edges: tuple[float, float]
    pixels_per_mm: float


@dataclass(frozen=True, kw_only=True, eq=False)
class WobblePath:
    """The course of the centre of mass in the picture while it rings after the moves.

    Attributes
    ----------
    points : array, shape (n, 2)
        Right and up from where it settles, in `unit`.
    extent : float
        Peak to peak, as graded, in `unit`.
    good, most : float
        It passes up to the first and fails above the second, in `unit`.
    unit : str
        ``px`` with a camera, else ``mm``.
    axes : tuple of str
        What right and up of the drawing are.
    """

    points: Array
    extent: float
    good: float
    most: float
    unit: str
    axes: tuple[str, str] = ("right", "up")


def frame_view(shot: Shot, props: Sequence[tuple[Prop, Reading, Outcome]]) -> FrameView | None:
    """Lay out all props in the picture, where they start and where they end.

    Parameters
    ----------
    shot : Shot
        For its camera.
    props : sequence of (Prop, Reading, Outcome)
        What is on the sheet; those without a settled state are left out.

    Returns
    -------
    FrameView or None
        None without a camera, or where nothing can be seen.
    """
    if shot.camera is None:
        return None
    spots = []
    camera: Camera | None = None
    for prop, reading, still in props:
        eye = reading.task.eye
        if eye is None or not still.solved[0]:
            continue
        camera = eye.camera
        with suppress(ValidityError):
            spots.append(_spot(prop, carried(prop, reading, still), camera))
    if camera is None or not spots:
        return None
    half = 0.5 * camera.image_width
    return FrameView(spots=tuple(spots), edges=(-half, half), pixels_per_mm=camera.pixels_per_metre * 1e-3)


def _spot(prop: Prop, body: Carried, camera: Camera) -> Spot:
    times = np.zeros(1)
    if body.travels:
        start, stop = span(body.travels)
        times = np.array([start, stop])
    rotation, position = body.poses(times)
    outlines: list[Array | None] = [None] * len(times)
    if body.shape is not None:
        outlines = list(outline(body.solid(rotation, position), camera))
    centres = camera.project(body.middles(rotation, position))
    last = rotation[-1:]
    supports = tuple(
        camera.project(position[-1] + line.points @ np.swapaxes(last, -1, -2)[0]) for line in body.lines
    )
    return Spot(
        name=prop.name,
        start=outlines[0] if body.travels else None,
        start_centre=centres[0] if body.travels else None,
        end=outlines[-1],
        end_centre=centres[-1],
        supports=supports,
    )


def wobble_path(
    still: Outcome, history: History, *, extent: float, good: float, most: float
) -> WobblePath | None:
    """Give the course in the picture during the first periods after the moves.

    Parameters
    ----------
    still : Outcome
        At rest; the first variant is used.
    history : History
        Its response.
    extent : float
        The wobble as the check graded it [px with a camera, else mm].
    good, most : float
        Limits of pass and caution, in the same unit.

    Returns
    -------
    WobblePath or None
        None where nothing is left after the moves.
    """
    stop = history.end_s + still.settings.residual_periods / float(still.natural_frequency[0].min())
    rings = (history.time_s >= history.end_s) & (history.time_s <= stop)
    if rings.sum() < 2:
        return None
    pixels = history.displacement_px
    points = (history.displacement_mm[:, :2] if pixels is None else pixels)[rings]
    return WobblePath(
        points=points[:: -(-len(points) // _MOST_POINTS)],
        extent=extent,
        good=good,
        most=most,
        unit="mm" if pixels is None else "px",
    )
