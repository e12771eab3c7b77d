"""What a drawing of one prop from the side shows, to scale. Places in mm, up stays up; nothing is drawn here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.turns import from_vector, rotation_matrix
from rigcheck.model import Prop
from rigcheck.picture.outlines import outline
from rigcheck.picture.projection import Camera
from rigcheck.picture.solids import Solid
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
    step_below,
    width_of,
    wobble_ends,
)

if TYPE_CHECKING:
    from rigcheck.studies.rigs import SupportRig

__all__ = ["Body", "ClampMark", "SideView", "side_view"]

Array = NDArray[np.float64]

_FROM_LEFT = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
"""Turns space so that a viewer on the left looks along -z of the turned space: away is left, the lens is right."""
_FROM_FRONT = np.eye(3)
_SHOWN = 0.12
"""What is settled is drawn so large that it moves by up to this share of the drawing: a choice."""
_MOST_TURN = 0.2
"""Most turn of the prop in an exaggerated drawing [rad]: beyond it the straight lines of the theory show."""
_UNGIVEN_GRIP = 12e-3
"""Length of the jaw drawn where no grip is given [m], on a short support less."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Body:
    """The prop with its supports in one state.

    Attributes
    ----------
    outline, insert : array, shape (k, 2), or None
        Of the prop and of the insert in it [mm]; None where no size is given, or there is no insert.
    strokes : tuple of Stroke
        Its supports and sleeves.
    centre : array, shape (2,)
        Centre of mass [mm].
    """

    outline: Array | None
    insert: Array | None
    strokes: tuple[Stroke, ...]
    centre: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class ClampMark:
    """Where a support is held: the end of the jaw, the way back into it, and how deep [mm]."""

    root: Array
    back: Array
    grip: float
    given: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class SideView:
    """A prop seen level from the side, in the pose at the end of its moves.

    Attributes
    ----------
    seen_from : str
        ``left`` or ``front``.
    lens : array, shape (2,), or None
        Direction of the lens in the drawing; None where the view is that of a level camera.
    unloaded, settled : Body
        Before the prop is hung, and settled; None for the second where nothing settles.
    settled_times : float
        How many times as large the settled shape is drawn as it is.
    swings : tuple of Body
        The two ends of the wobble after the moves; empty where there is none, or its course is not known.
    wobble_times : float
        How many times as large the wobble is drawn as it is.
    wobble_across : bool
        Whether it wobbles mostly at right angles to this view, so that nothing of it is drawn.
    clamps : tuple of ClampMark
        One for each support.
    legs : tuple of (array, array, float)
        Start and end in the drawing of each straight leg of the first support, unloaded, and its length [mm].
    supports : int
        How many supports there are.
    sag : float or None
        [mm].
    """

    seen_from: str
    lens: Array | None
    unloaded: Body
    settled: Body | None
    settled_times: float
    swings: tuple[Body, ...]
    wobble_times: float
    wobble_across: bool
    clamps: tuple[ClampMark, ...]
    legs: tuple[tuple[Array, Array, float], ...]
    supports: int
    sag: float | None

    @property
    def points(self) -> Array:
        """All places drawn, (n, 2) [mm]."""
        bodies = [self.unloaded, *([self.settled] if self.settled else []), *self.swings]
        clamps = [np.stack([mark.root, mark.root + mark.grip * mark.back]) for mark in self.clamps]
        return np.concatenate([*_places(bodies), *clamps])


def _places(bodies: Sequence[Body]) -> list[Array]:
    return [
        part
        for body in bodies
        for part in (body.outline, *(stroke.points for stroke in body.strokes), body.centre[None])
        if part is not None
    ]


def side_view(prop: Prop, reading: Reading, still: Outcome, history: History | None) -> SideView:
    """Lay out a prop seen from the side.

    Parameters
    ----------
    prop : Prop
        What the user gave.
    reading : Reading
        The same made ready to compute.
    still : Outcome
        At rest; the first variant is used.
    history : History or None
        Its response, for the wobble.

    Returns
    -------
    SideView

    Notes
    -----
    The settled places are ``unloaded + n (settled - unloaded)`` with the exaggeration n, and the prop turns by n
    times its rotation. The wobble is a shift of the prop to the two places farthest apart in its first periods
    after the moves; a support then follows ``h (3 s^2 - 2 s^3)`` at the share s of its length, which is exact for
    a straight one that is built in and does not turn at its tip. Seen from the left, unless the supports run
    mostly across.
    """
    rig = still.rig
    solved = bool(still.solved[0])
    curves = settled_curves(still) if solved else _straight_curves(rig.supports)
    reach = np.ptp(np.concatenate([curve.unloaded for curve in curves]), axis=0)
    from_left = reach[2] >= 0.5 * reach[0]
    turn = _FROM_LEFT if from_left else _FROM_FRONT
    unmoved = replace(still, displacement=np.zeros((1, 3)), rotation=np.zeros((1, 3)))
    drawing = _Drawing(prop, carried(prop, reading, unmoved), curves, rig.supports, turn)
    unloaded = drawing.body(0.0, np.zeros(3), np.zeros(3))
    size = float(np.ptp(np.concatenate(_places([unloaded])), axis=0).max()) * 1e-3
    times, settled, sag = 1.0, None, None
    shift, angle = still.displacement[0], still.rotation[0]
    if solved:
        most = max(float(np.abs(curve.settled - curve.unloaded).max()) for curve in curves)
        most = max(most, float(np.linalg.norm(shift)))
        turned = float(np.linalg.norm(angle))
        times = exaggeration(_SHOWN * size, most)
        if turned > 0:
            times = max(1.0, min(times, step_below(_MOST_TURN / turned)))
        settled = drawing.body(times, shift, angle)
        sag = float(still.sag[0]) * 1e3
    swings: tuple[Body, ...] = ()
    wobble_times = 1.0
    ends = None if history is None else wobble_ends(still, history)
    flat = turn[:2]
    across = False
    if settled is not None and ends is not None:
        whole = ends[1] - ends[0]
        in_plane = float(np.linalg.norm(flat @ whole))
        across = in_plane < IN_PLANE * float(np.linalg.norm(whole))
        if not across:
            wobble_times = exaggeration(SHOWN_WOBBLE * size, in_plane)
            swings = tuple(drawing.body(times, shift, angle, swing=wobble_times * end) for end in ends)
    return SideView(
        seen_from="left" if from_left else "front",
        lens=_lens_way(reading, turn) if from_left else None,
        unloaded=unloaded,
        settled=settled,
        settled_times=times,
        swings=swings,
        wobble_times=wobble_times,
        wobble_across=across,
        clamps=tuple(_clamp_mark(support, flat) for support in rig.supports),
        legs=_legs(rig.supports[0], flat),
        supports=len(rig.supports),
        sag=sag,
    )


def _legs(support: SupportRig, flat: Array) -> tuple[tuple[Array, Array, float], ...]:
    points = support.points[0]
    lengths = np.linalg.norm(np.diff(points, axis=0), axis=1)
    return tuple(
        (1e3 * flat @ start, 1e3 * flat @ end, 1e3 * float(length))
        for start, end, length in zip(points[:-1], points[1:], lengths, strict=True)
    )


def _straight_curves(supports: Sequence[SupportRig]) -> tuple[Curve, ...]:
    curves = []
    for support in supports:
        points = support.points[0]
        steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        curves.append(Curve(unloaded=points, settled=points, along=along))
    return tuple(curves)


def _lens_way(reading: Reading, turn: Array) -> Array:
    eye = reading.task.eye
    toward = np.array([0.0, 0.0, 1.0]) if eye is None else eye.camera.toward
    flat = turn[:2] @ toward
    return np.asarray(flat / np.linalg.norm(flat))


def _clamp_mark(support: SupportRig, flat: Array) -> ClampMark:
    points = support.points[0]
    back = points[0] - points[1]
    grip = float(support.grip[0])
    given = bool(np.isfinite(grip))
    back = flat @ (back / np.linalg.norm(back))
    guess = min(_UNGIVEN_GRIP, 0.1 * float(support.free_length[0]))
    return ClampMark(
        root=1e3 * flat @ points[0], back=back, grip=1e3 * (grip if given else guess), given=given
    )


class _Drawing:
    """Bodies of one prop projected on one plane, in mm."""

    def __init__(
        self,
        prop: Prop,
        form: Carried,
        curves: tuple[Curve, ...],
        supports: Sequence[SupportRig],
        turn: Array,
    ) -> None:
        self.prop, self.form, self.curves, self.supports, self.turn = prop, form, curves, supports, turn
        # Orthographic: a pixel is a millimetre.
        self.camera = Camera(field_width=1.0, image_width=1000)

    def body(self, times: float, shift: Array, angle: Array, *, swing: Array | None = None) -> Body:
        """The state whose movement is drawn `times` as large, shifted by `swing` [m]."""
        swing = np.zeros(3) if swing is None else swing
        leaning = rotation_matrix(from_vector(times * angle))
        middle = self.form.centre + times * shift + swing
        strokes: list[Stroke] = []
        for curve, support in zip(self.curves, self.supports, strict=True):
            share = (curve.along / curve.along[-1])[:, None]
            points = curve.unloaded + times * (curve.settled - curve.unloaded)
            points = points + swing * (3 * share**2 - 2 * share**3)
            strokes += list(_strokes(1e3 * points @ self.turn[:2].T, curve, support))
            embed = float(support.embed[0])
            if np.isfinite(embed) and embed > 0:
                way = leaning @ (curve.unloaded[-1] - curve.unloaded[-2])
                inside = np.stack([points[-1], points[-1] + embed * way / np.linalg.norm(way)])
                strokes.append(
                    Stroke(points=1e3 * inside @ self.turn[:2].T, width=width_of(support), kind="embed")
                )
        prop_outline = insert_outline = None
        if self.form.shape is not None:
            prop_outline = outline(
                Solid(
                    shape=self.form.shape,
                    size=self.form.size,
                    axis=self.form.axis,
                    centre=self.turn @ middle,
                    orientation=self.turn @ leaning @ self.form.orientation,
                ),
                self.camera,
            )
        sheet = insert_solid(self.prop, middle, leaning, self.turn)
        if sheet is not None:
            insert_outline = outline(sheet, self.camera)
        return Body(
            outline=prop_outline,
            insert=insert_outline,
            strokes=tuple(strokes),
            centre=1e3 * self.turn[:2] @ middle,
        )


def _strokes(points: Array, curve: Curve, support: SupportRig) -> list[Stroke]:
    """The support, and over it its sleeves."""
    result = [Stroke(points=points, width=width_of(support), kind="support")]
    for tube in support.sleeves:
        start, end = float(tube.start[0]), float(tube.end[0])
        inside = curve.along[(curve.along > start) & (curve.along < end)]
        at = np.concatenate([[start], inside, [end]])
        covered = np.stack([np.interp(at, curve.along, column) for column in points.T], axis=1)
        result.append(Stroke(points=covered, width=1e3 * float(tube.outer_diameter[0]), kind="sleeve"))
    return result
