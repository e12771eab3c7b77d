"""What of a support shows in the picture: length, width and area, neither hidden nor outside the frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import inf

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError
from rigcheck.picture._checks import FloatArray, positive, vectors, whole_number
from rigcheck.picture.projection import Camera
from rigcheck.picture.shadow import hidden_stretch
from rigcheck.picture.solids import Solid, any_perpendicular

__all__ = ["Band", "Visible", "surely_hidden", "visible_area", "visible_support"]

_NEAR = 0.02  # parts of a support nearer the lens than this share of the camera's distance are left out
_AT_ONCE = 20_000  # lines worked on together: enough to keep numpy busy, few enough to stay in the cache
_SHARPEST = 0.5  # 1 + cosine of the angle a bend turns through, above which it is mitred: 120 degrees
_END_ON = 1e-9  # sine of the angle to the line of sight under which a segment has no direction in the picture


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Band:
    """A support as the camera sees it: straight segments from root to tip, in one or many poses.

    Attributes
    ----------
    points : array_like, (..., n, 3)
        Root, bends and tip [m]; neighbours must differ.
    diameter : array_like, (...) or (n - 1,)
        Outer diameter [m], or one for each segment, above 0; of a strip its width. Not batched.
    thickness : float or None
        Of a flat strip [m]; None for a round support.
    wide_direction : array_like, (..., 3), or None
        Direction in which a strip is wide, at right angles to every segment; needed with `thickness`.

    Raises
    ------
    ArgumentError
        If shapes do not fit, a length is not above 0, two neighbouring points are one, or a strip has no
        direction across its segments.
    """

    points: FloatArray
    diameter: FloatArray
    thickness: float | None = None
    wide_direction: FloatArray | None = None

    def __post_init__(self) -> None:
        points = vectors("points", self.points, axes=2)
        segments = points.shape[-2] - 1
        if segments < 1:
            raise ArgumentError("points: given one place; a support needs at least two, root and tip.")
        along = np.diff(points, axis=-2)
        if not (np.linalg.norm(along, axis=-1) > 0.0).all():
            raise ArgumentError("points: two neighbouring places are the same; leave one out.")
        diameter = positive("diameter", self.diameter, "m")
        if diameter.shape not in ((), (1,), (segments,)):
            raise ArgumentError(
                f"diameter: given an array of shape {diameter.shape}; wanted one number, or one for each "
                f"of the {segments} segments."
            )
        object.__setattr__(self, "points", points)
        object.__setattr__(self, "diameter", np.broadcast_to(diameter, (segments,)))
        if (self.thickness is None) != (self.wide_direction is None):
            raise ArgumentError("thickness and wide_direction: a strip needs both, a round support neither.")
        if self.thickness is not None and self.wide_direction is not None:
            object.__setattr__(self, "thickness", float(positive("thickness", self.thickness, "m")))
            wide = vectors("wide_direction", self.wide_direction)
            length = np.linalg.norm(wide, axis=-1, keepdims=True)
            if not (length > 0.0).all():
                raise ArgumentError("wide_direction: given a vector without length.")
            slant = np.abs((along * (wide / length)[..., None, :]).sum(-1)) / np.linalg.norm(along, axis=-1)
            if (slant > 1e-6).any():
                raise ArgumentError(
                    "wide_direction: not at right angles to every segment of the support; a strip that turns "
                    "needs a call for each part."
                )
            object.__setattr__(self, "wide_direction", wide / length)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Visible:
    """What shows of a support in each pose.

    Attributes
    ----------
    length_px : ndarray, (...)
        Of its centre line [px].
    width_px : ndarray, (...)
        Apparent width where it is widest along what shows [px]; 0 where nothing shows.
    area_px : ndarray, (...)
        [px^2], that is, in pixels.
    """

    length_px: FloatArray
    width_px: FloatArray
    area_px: FloatArray


def visible_support(
    band: Band, camera: Camera, props: Solid | Sequence[Solid], *, lines_across: int = 8
) -> Visible:
    """Give what shows of a support beside, before and between the props that hide it.

    Parameters
    ----------
    band : Band
        The support; its poses broadcast with those of the props.
    camera : Camera
        The camera. With an `image_height` what is above and below the frame does not count either.
    props : Solid or sequence of Solid
        Everything that can hide the support, first of all its own prop; may be empty.
    lines_across : int
        Lines into which the width is cut for the area, at least 2.

    Returns
    -------
    Visible

    Raises
    ------
    ArgumentError
        If the poses do not broadcast or `lines_across` is too small.
    ValidityError
        If the lens is inside a prop.

    Notes
    -----
    The surface that faces the lens is cut into lines along the axis, at the places of Gauss-Legendre
    quadrature across it, and so are the end faces of the whole support that face the lens: a support seen
    end-on shows its end. Each line is cut exactly by the frame and by the props (`rigcheck.picture.shadow`),
    and its share of the area follows exactly from ``ppm^2 |det| integral dt / w^3``, the area over which a
    homography spreads a plane (derived here).

    What is left out: (radius / distance)^2 / 2 of the width, the rounding of bends (segments meet in a mitre,
    those that turn through more than 120 degrees end square) and the shoulders where the diameter steps.
    Where an outline crosses the band the error of the area is of the order of 1e-2 of the square of the
    band's width with 8 lines; where an outline runs along inside the band, up to half the largest quadrature
    weight: 9 % of the band's area with 8 lines, 4 % with 20. Parts nearer the lens than 2 % of the camera's
    distance are left out.
    """
    length, width, area = _over_poses(band, camera, props, lines_across, whole=True)
    return Visible(length_px=length, width_px=width, area_px=area)


def visible_area(
    band: Band, camera: Camera, props: Solid | Sequence[Solid], *, lines_across: int = 8
) -> FloatArray:
    """Give only the area of what shows of a support, as `visible_support` does.

    Parameters
    ----------
    band, camera, props, lines_across
        As for `visible_support`.

    Returns
    -------
    ndarray, (...)
        [px^2].

    Raises
    ------
    ArgumentError
        If the poses do not broadcast or `lines_across` is too small.
    ValidityError
        If the lens is inside a prop.
    """
    return np.asarray(_over_poses(band, camera, props, lines_across, whole=False)[2])


def _over_poses(
    band: Band, camera: Camera, props: Solid | Sequence[Solid], lines_across: int, *, whole: bool
) -> FloatArray:
    """Length, width and area in all poses, (3, ...); without the `whole`, area alone."""
    lines_across = whole_number("lines_across", lines_across, least=2)
    solids = [props] if isinstance(props, Solid) else list(props)
    wide = band.wide_direction
    shapes = [band.points.shape[:-2], *(solid.batch for solid in solids)]
    if wide is not None:
        shapes.append(wide.shape[:-1])
    try:
        batch = np.broadcast_shapes(*shapes)
    except ValueError:
        raise ArgumentError(
            f"poses: the support has {shapes[0]}, the props {shapes[1:]}; give all the same number of poses, "
            "or one."
        ) from None
    points = np.broadcast_to(band.points, (*batch, *band.points.shape[-2:])).reshape(
        -1, *band.points.shape[-2:]
    )
    if wide is not None:
        wide = np.broadcast_to(wide, (*batch, 3)).reshape(-1, 3)
    solids = [solid.flat(batch) for solid in solids]
    count = len(points)
    lines = (lines_across + 1) * (points.shape[1] - 1) + lines_across * min(2, points.shape[1] - 1)
    step = max(1, _AT_ONCE // lines)
    found = np.empty((3, count))
    for begin in range(0, count, step):
        rows = slice(begin, begin + step)
        found[:, rows] = _visible(
            points[rows],
            band,
            None if wide is None else wide[rows],
            camera,
            [solid.take(rows) for solid in solids],
            lines_across,
            whole=whole,
        )
    return np.asarray(found.reshape(3, *batch))


def surely_hidden(points: FloatArray, diameter: float, camera: Camera, prop: Solid) -> NDArray[np.bool_]:
    """Whether it takes no closer look to see that a prop hides all of a round support.

    Parameters
    ----------
    points : ndarray, (..., n, 3)
        Root, bends and tip of the support [m], in the poses of the prop.
    diameter : float
        The largest anywhere along it [m].
    camera : Camera
        The camera.
    prop : Solid
        What hides it.

    Returns
    -------
    ndarray of bool, (...)
        Where True `visible_area` is 0. Where False it may be 0 all the same.

    Notes
    -----
    What a convex prop hides is convex (`rigcheck.picture.shadow`). So it hides all of the support if it hides a cube
    about each of its points, and a cube if it hides its four diagonals. With sides of two diameters the cube holds
    the ends of all segments, also where they meet in a mitre: that of a bend of 120 degrees, the sharpest that is
    mitred, reaches out by one diameter.
    """
    middle = np.asarray(points)[..., None, :]
    start, end = (
        (middle + way * diameter * _DIAGONALS).reshape(*middle.shape[:-3], -1, 3) for way in (1.0, -1.0)
    )
    begin, stop = hidden_stretch(prop, camera, start=start, end=end)
    return np.asarray(((begin <= 0.0) & (stop >= 1.0)).all(axis=-1))


_DIAGONALS = np.array([[1.0, 1.0, 1.0], [1.0, 1.0, -1.0], [1.0, -1.0, 1.0], [-1.0, 1.0, 1.0]])
"""Of a cube."""

_quadrature = lru_cache(np.polynomial.legendre.leggauss)
"""Places from -1 to 1 and weights of Gauss-Legendre quadrature."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Frames:
    """Directions of the segments and how wide the band is there, (b, g, ...)."""

    along: FloatArray  # unit vector, root to tip
    beside: FloatArray  # unit vector across the band, at right angles to the line of sight
    facing: FloatArray  # unit vector at right angles to both, turned to the lens
    half_width: FloatArray


def _visible(
    points: FloatArray,
    band: Band,
    wide: FloatArray | None,
    camera: Camera,
    solids: list[Solid],
    lines_across: int,
    *,
    whole: bool,
) -> FloatArray:
    """Length, width and area of one stretch of poses, (3, b); without the `whole`, area alone."""
    frames = _frames(points, band, wide, camera)
    nodes, weights = _quadrature(lines_across)
    # The centre line rides along without weight: it gives the length.
    lines = _side_lines(points, band, frames, np.append(nodes, 0.0), np.append(weights, 0.0))
    middle = np.arange(1, points.shape[1]) * (lines_across + 1) - 1
    caps = _end_lines(points, band, frames, camera, nodes, weights)
    start, end, share, offset = (np.concatenate(parts, axis=1) for parts in zip(lines, caps, strict=True))
    at_start, at_end = camera.homogeneous(start), camera.homogeneous(end)
    change = at_end - at_start
    begin, stop = _in_frame(camera, at_start, at_end)
    pieces = _gaps(begin, stop, [hidden_stretch(solid, camera, start=start, end=end) for solid in solids])
    side = camera.homogeneous(offset)
    side[..., 2] -= 1.0  # a difference of places has no constant part
    determinant = np.abs((np.cross(at_start, change) * side).sum(axis=-1))
    density = camera.pixels_per_metre**2 * determinant * share
    area = np.zeros(len(points))
    length = np.zeros(len(points))
    first = np.full(start.shape[:-1], inf)
    last = np.full(start.shape[:-1], -inf)
    for low, high in pieces:
        shows = high > low
        low_w = at_start[..., 2] + low * change[..., 2]
        high_w = at_start[..., 2] + high * change[..., 2]
        spread = np.where(shows, (high - low) * (low_w + high_w) / (2.0 * (low_w * high_w) ** 2), 0.0)
        area += (density * spread).sum(axis=-1)
        if not whole:
            continue
        ends = [
            (at_start[:, middle, :2] + t[:, middle, None] * change[:, middle, :2]) / w[:, middle, None]
            for t, w in ((low, low_w), (high, high_w))
        ]
        reach = np.linalg.norm(ends[1] - ends[0], axis=-1)
        length += camera.pixels_per_metre * np.where(shows[:, middle], reach, 0.0).sum(axis=-1)
        first = np.where(shows, np.minimum(first, low), first)
        last = np.where(shows, np.maximum(last, high), last)
    width = np.zeros_like(area)
    if whole:
        width = _widest(camera, at_start, change, frames, first, last, lines_across)
    return np.stack([length, width, area])


def _frames(points: FloatArray, band: Band, wide: FloatArray | None, camera: Camera) -> _Frames:
    """Give the directions of each segment as the camera sees it."""
    along = np.diff(points, axis=-2)
    along = along / np.linalg.norm(along, axis=-1, keepdims=True)
    if camera.position is None:
        sight = np.broadcast_to(camera.toward, along.shape)
    else:
        sight = camera.position - 0.5 * (points[:, 1:] + points[:, :-1])
        sight = sight / np.linalg.norm(sight, axis=-1, keepdims=True)
    facing = sight - (sight * along).sum(axis=-1, keepdims=True) * along
    sine = np.linalg.norm(facing, axis=-1, keepdims=True)
    end_on = sine <= _END_ON
    facing = np.where(end_on, any_perpendicular(along), facing / np.where(end_on, 1.0, sine))
    beside = np.cross(along, facing)
    half_width = np.broadcast_to(band.diameter / 2.0, along.shape[:-1])
    if wide is not None and band.thickness is not None:
        flat = np.cross(along, wide[:, None, :])
        half_width = half_width * np.abs(
            (beside * wide[:, None, :]).sum(axis=-1)
        ) + band.thickness / 2.0 * np.abs((beside * flat).sum(axis=-1))
    return _Frames(along=along, beside=beside, facing=facing, half_width=half_width)


_Lines = tuple[FloatArray, FloatArray, FloatArray, FloatArray]


def _rise(band: Band, frames: _Frames, nodes: FloatArray) -> FloatArray:
    """Height of the surface that faces the lens above the axis, at the places across it, (b, g, l)."""
    half_width = frames.half_width[..., None]
    if band.thickness is None:
        return np.asarray(half_width * np.sqrt(1.0 - nodes**2))
    # A rectangle of the right area stands for the strip's turned cross-section.
    area = (band.diameter * band.thickness)[:, None]
    return np.asarray(np.broadcast_to(area / (4.0 * half_width), (*frames.half_width.shape, len(nodes))))


def _side_lines(
    points: FloatArray, band: Band, frames: _Frames, nodes: FloatArray, weights: FloatArray
) -> _Lines:
    """Lines along the surface that faces the lens, segment after segment."""
    offset = frames.half_width[..., None, None] * nodes[:, None] * frames.beside[..., None, :]
    offset = offset + _rise(band, frames, nodes)[..., None] * frames.facing[..., None, :]
    start = points[:, :-1, None, :] + offset
    end = points[:, 1:, None, :] + offset
    # Lines meet in the plane that halves the angle of a bend, as in a mitre joint: nothing counts twice.
    before, after = frames.along[:, :-1], frames.along[:, 1:]
    normal = before + after
    bluntness = (before * normal).sum(axis=-1)  # 1 + cosine of the bend, the same for both segments
    mitred = bluntness > _SHARPEST
    normal = normal / np.where(mitred, bluntness, np.inf)[..., None]
    end[:, :-1] -= (offset[:, :-1] * normal[..., None, :]).sum(axis=-1)[..., None] * before[..., None, :]
    start[:, 1:] -= (offset[:, 1:] * normal[..., None, :]).sum(axis=-1)[..., None] * after[..., None, :]
    share = frames.half_width[..., None] * weights
    # Going across the band the surface also falls away from the lens.
    slope = nodes / np.sqrt(1.0 - nodes**2) if band.thickness is None else np.zeros_like(nodes)
    side = frames.beside[..., None, :] - slope[:, None] * frames.facing[..., None, :]
    rows = len(points)
    return (
        start.reshape(rows, -1, 3),
        end.reshape(rows, -1, 3),
        share.reshape(rows, -1),
        side.reshape(rows, -1, 3),
    )


def _end_lines(
    points: FloatArray, band: Band, frames: _Frames, camera: Camera, nodes: FloatArray, weights: FloatArray
) -> _Lines:
    """Lines down the end faces; without length where a face is turned away from the lens."""
    rise = _rise(band, frames, nodes)
    parts: list[_Lines] = []
    seen = np.zeros((len(points), 1, 1), dtype=np.bool_)
    for segment, place, outward in ((0, points[:, 0], -1.0), (-1, points[:, -1], 1.0)):
        along, facing, beside = (value[:, segment] for value in (frames.along, frames.facing, frames.beside))
        half_width = frames.half_width[:, segment, None]
        sight = camera.toward if camera.position is None else camera.position - place
        seen = (outward * along * sight).sum(axis=-1)[:, None, None] > 0.0
        height = rise[:, segment, :, None] * facing[:, None]
        middle = place[:, None] + (half_width * nodes)[..., None] * beside[:, None]
        start = middle + height
        end = np.where(seen, middle - height, start)
        parts.append((start, end, half_width * weights, np.broadcast_to(beside[:, None], start.shape)))
    root, tip = parts
    if points.shape[1] == 2:  # the ends of a straight support face opposite ways: one at most is seen
        start, end = (np.where(seen, tip[k], root[k]) for k in (0, 1))
        return start, end, root[2], root[3]
    start, end, share, side = (np.concatenate(pair, axis=1) for pair in zip(root, tip, strict=True))
    return start, end, share, side


def _in_frame(camera: Camera, a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Shares of each line, from `a` to `b` as the camera sees them, before the lens and inside the frame."""
    sides = [(_NEAR - a[..., 2], _NEAR - b[..., 2])]
    edges = [(0, camera.image_width), (1, camera.image_height)]
    for axis, size in edges:
        if size is None:
            continue
        reach = size / (2.0 * camera.pixels_per_metre)
        sides += [
            (sign * a[..., axis] - reach * a[..., 2], sign * b[..., axis] - reach * b[..., 2])
            for sign in (1.0, -1.0)
        ]
    low, high = np.zeros(a.shape[:-1]), np.ones(a.shape[:-1])
    for at_start, at_end in sides:  # outside where above 0, linear between
        rise = at_end - at_start
        crossing = -at_start / np.where(rise == 0.0, 1.0, rise)
        high = np.where(rise > 0.0, np.minimum(high, crossing), high)
        low = np.where(rise < 0.0, np.maximum(low, crossing), low)
        high = np.where((rise == 0.0) & (at_start > 0.0), -1.0, high)
    nothing = high <= low
    return np.where(nothing, 0.0, low), np.where(nothing, 0.0, high)


def _gaps(
    begin: FloatArray, stop: FloatArray, hidden: list[tuple[FloatArray, FloatArray]]
) -> list[tuple[FloatArray, FloatArray]]:
    """What is left of begin to stop beside the hidden stretches, as pieces that may be empty."""
    if not hidden:
        return [(begin, stop)]
    low = np.stack([np.clip(stretch[0], begin, stop) for stretch in hidden])
    high = np.stack([np.clip(stretch[1], begin, stop) for stretch in hidden])
    order = np.argsort(low, axis=0)
    low, high = np.take_along_axis(low, order, axis=0), np.take_along_axis(high, order, axis=0)
    covered = np.maximum.accumulate(np.concatenate([begin[None], high]), axis=0)
    upto = np.concatenate([low, stop[None]])
    return [(start, end) for start, end in zip(covered, upto, strict=True)]


def _widest(
    camera: Camera,
    at_start: FloatArray,
    change: FloatArray,
    frames: _Frames,
    first: FloatArray,
    last: FloatArray,
    lines_across: int,
) -> FloatArray:
    """Largest apparent width over what shows [px], (b,)."""
    segments = frames.half_width.shape[1]
    owner = np.concatenate(
        [np.repeat(np.arange(segments), lines_across + 1), np.repeat(sorted({0, segments - 1}), lines_across)]
    )
    axis = camera.homogeneous(frames.along)[:, owner]
    axis[..., 2] -= 1.0
    side = camera.homogeneous(frames.beside)[:, owner]
    side[..., 2] -= 1.0
    shows = last >= first
    widest = np.zeros(len(first))
    for t in (first, last):
        seen = at_start + np.where(shows, t, 0.0)[..., None] * change
        weight = np.where(shows, seen[..., 2], 1.0)[..., None]
        along_px, side_px = (
            (vector[..., :2] * weight - seen[..., :2] * vector[..., 2:]) / weight**2
            for vector in (axis, side)
        )
        cross = np.abs(along_px[..., 0] * side_px[..., 1] - along_px[..., 1] * side_px[..., 0])
        run = np.linalg.norm(along_px, axis=-1)
        across = np.where(
            run > _END_ON, cross / np.where(run > _END_ON, run, 1.0), np.linalg.norm(side_px, axis=-1)
        )
        width = 2.0 * camera.pixels_per_metre * frames.half_width[:, owner] * across
        widest = np.maximum(widest, np.where(shows, width, 0.0).max(axis=-1))
    return widest
