"""What a drawing of one prop shows, to scale: from the side, and as the lens sees it. Places in mm, nothing drawn.

A drawing plane has one axis to the right and one up. The side view keeps up as up; the view of the lens has the
camera's own axes, and its millimetres are those at the prop.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
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
from rigcheck.picture.solids import Solid
from rigcheck.studies.carried import Carried, carried
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.history import History
from rigcheck.studies.moves import span
from rigcheck.studies.prop_plan import tip_way
from rigcheck.studies.reading import Reading
from rigcheck.studies.sheet_shape import Curve, settled_curves

if TYPE_CHECKING:
    from rigcheck.studies.rigs import SupportRig

__all__ = [
    "Body",
    "ClampMark",
    "FrameView",
    "LensView",
    "SideView",
    "Spot",
    "Stroke",
    "WobblePath",
    "frame_view",
    "lens_view",
    "side_view",
    "wobble_ends",
    "wobble_path",
]

Array = NDArray[np.float64]

_FROM_LEFT = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
"""Turns space so that a viewer on the left looks along -z of the turned space: away is left, the lens is right."""
_FROM_FRONT = np.eye(3)
_SHOWN = 0.12
"""What is settled is drawn so large that it moves by up to this share of the drawing: a choice."""
_SHOWN_WOBBLE = 0.08
_IN_PLANE = 0.2
"""Share of the wobble in the plane of a view under which it is not drawn there: a choice."""
_MOST_POINTS = 600
_MOST_TURN = 0.2
"""Most turn of the prop in an exaggerated drawing [rad]: beyond it the straight lines of the theory show."""
_MOST_TIMES = 1000.0
_UNGIVEN_GRIP = 12e-3
"""Length of the jaw drawn where no grip is given [m], on a short support less."""
_SEEN_PIECES = 160
_TOO_SMALL = 1e-5
"""Movement that no drawing is stretched for [m]."""
_STILL = 1e-6
"""Wobble below which none is drawn [m]."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Stroke:
    """One line of a drawing.

    Attributes
    ----------
    points : array, shape (n, 2)
        [mm].
    width : float
        True width of what it stands for [mm].
    kind : str
        ``support``, ``sleeve`` or ``embed`` (the part inside the prop).
    """

    points: Array
    width: float
    kind: str


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


def _places(bodies: Sequence[Body]) -> list[Array]:
    return [
        part
        for body in bodies
        for part in (body.outline, *(stroke.points for stroke in body.strokes), body.centre[None])
        if part is not None
    ]


# -- from the side ---------------------------------------------------------------------------------------


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
        times = _exaggeration(_SHOWN * size, most)
        if turned > 0:
            times = max(1.0, min(times, _step_below(_MOST_TURN / turned)))
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
        across = in_plane < _IN_PLANE * float(np.linalg.norm(whole))
        if not across:
            wobble_times = _exaggeration(_SHOWN_WOBBLE * size, in_plane)
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


def wobble_ends(still: Outcome, history: History) -> Array | None:
    """The two places farthest apart in the first periods after the moves, (2, 3) [m]; None where it is still."""
    period = 1.0 / float(still.natural_frequency[0].min())
    stop = history.end_s + still.settings.residual_periods * period
    ringing = history.displacement_mm[(history.time_s >= history.end_s) & (history.time_s <= stop)] * 1e-3
    if len(ringing) < 2:
        return None
    ringing = ringing[:: max(1, len(ringing) // 400)]
    apart = np.linalg.norm(ringing[:, None] - ringing, axis=2)
    one, other = np.unravel_index(int(apart.argmax()), apart.shape)
    return None if apart[one, other] < _STILL else ringing[[one, other]]


def _exaggeration(wanted: float, moved: float) -> float:
    """How many times as large, in steps of 1, 2, 5; what moves far is drawn as it is."""
    return 1.0 if moved <= _TOO_SMALL else float(np.clip(_step_below(wanted / moved), 1.0, _MOST_TIMES))


def _step_below(value: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above the value."""
    decade = 10.0 ** np.floor(np.log10(value) + 1e-12)
    return float(decade * max(step for step in (1.0, 2.0, 5.0) if step * decade <= value * (1 + 1e-12)))


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
                    Stroke(points=1e3 * inside @ self.turn[:2].T, width=_width(support), kind="embed")
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


def _width(support: SupportRig) -> float:
    return 1e3 * float(support.outer_size[0])


def _strokes(points: Array, curve: Curve, support: SupportRig) -> list[Stroke]:
    """The support, and over it its sleeves."""
    result = [Stroke(points=points, width=_width(support), kind="support")]
    for tube in support.sleeves:
        start, end = float(tube.start[0]), float(tube.end[0])
        inside = curve.along[(curve.along > start) & (curve.along < end)]
        at = np.concatenate([[start], inside, [end]])
        covered = np.stack([np.interp(at, curve.along, column) for column in points.T], axis=1)
        result.append(Stroke(points=covered, width=1e3 * float(tube.outer_diameter[0]), kind="sleeve"))
    return result


def insert_solid(prop: Prop, middle: Array, leaning: Array, turn: Array) -> Solid | None:
    """The insert as a thin box about the prop's middle, flat along its support; None where there is none."""
    if prop.insert is None:
        return None
    way = tip_way(prop)
    along = way - way[1] * np.array([0.0, 1.0, 0.0])
    # A support that comes from above or below holds a sheet that lies level all the same.
    along = np.array([0.0, 0.0, 1.0]) if np.linalg.norm(along) < 0.5 else along / np.linalg.norm(along)
    up = np.array([0.0, 1.0, 0.0])
    axes = np.stack([along, up, np.cross(along, up)], axis=1)
    length, width = (side.m_as("m") for side in prop.insert.size)
    return Solid(
        shape="box",
        size=np.array([length, prop.insert.thickness.m_as("m"), width]),
        centre=turn @ middle,
        orientation=turn @ leaning @ axes,
    )


# -- as the lens sees it ---------------------------------------------------------------------------------


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
    if apart < 1e3 * _IN_PLANE * float(np.linalg.norm(ends[1] - ends[0])):
        return (), 1.0
    times = _exaggeration(_SHOWN_WOBBLE * float(np.ptp(silhouette, axis=0).max()), apart)
    return tuple(silhouette + times * end for end in seen), times


def _lens_strokes(curve: Curve, support: SupportRig) -> list[Stroke]:
    """Support and sleeves in space [m], cut fine enough to tell what is hidden."""
    result = []
    spans = [(0.0, float(curve.along[-1]), 1e-3 * _width(support), "support")]
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


# -- the whole picture -----------------------------------------------------------------------------------


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


# -- the wobble ------------------------------------------------------------------------------------------


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
