"""Outline of a prop in the picture: one convex polygon for each pose."""

from __future__ import annotations

from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from rigcheck.picture._checks import FloatArray, whole_number
from rigcheck.picture.projection import Camera
from rigcheck.picture.solids import Solid, any_perpendicular

__all__ = ["outline"]

_PARALLEL = 1e-12  # below this share of the view direction a face is taken as seen edge-on


def outline(solid: Solid, camera: Camera, *, arc_points: int = 90) -> FloatArray:
    """Give the silhouette of a prop as a convex polygon.

    Parameters
    ----------
    solid : Solid
        The prop, its poses (...).
    camera : Camera
        The camera.
    arc_points : int
        Points m on each of the two arcs of a cylinder's outline, half of those on the outline of a sphere; at
        least 8.

    Returns
    -------
    ndarray, (..., k, 2)
        Corners [px] from the picture's centre, counterclockwise. k is 6 for a box (corners repeat where the
        outline has four), ``2 m`` otherwise.

    Raises
    ------
    ArgumentError
        If `arc_points` is not a whole number of at least 8.
    ValidityError
        If the lens is inside the solid, or part of the outline is behind the lens.

    Notes
    -----
    A point is on the silhouette where a line of sight touches the solid. In the unit solid's coordinates,
    with the lens at q, the ball is touched along the circle about q / |q|^2 of radius sqrt(1 - 1 / |q|^2) at
    right angles to q; a cylinder along the two lines of its mantle at the angle acos(1 / h) from the lens, h
    being the lens's distance from the axis, and along one arc of each rim. For a camera of unknown distance
    these become the circle at right angles to the direction to the lens and the angle pi/2. Straight lines
    stay straight and tangents tangent when the unit solid is stretched to size, so this is exact for unequal
    sizes too (derived here).

    A box's corners are exact. The other polygons have their corners on the true outline, so they lie inside
    it by at most ``1 - cos(a / 2)`` of the local radius, where a is the angle between neighbouring corners: 2
    pi / 2 m for the sphere, at most 2 pi / (m - 1) for a rim. With 90 points that is 6e-4 of the radius, 0.15
    px for 250 px.
    """
    arc_points = whole_number("arc_points", arc_points, least=8)
    view = solid.viewpoint(camera)
    if solid.shape == "box":
        unit = _box_corners(view, camera)
    elif solid.shape == "sphere":
        unit = _contact_circle(view, camera, 2 * arc_points)
    else:
        unit = _cylinder_arcs(solid, view, camera, arc_points)
    world = (unit * solid.half_size) @ np.swapaxes(solid.orientation, -1, -2) + solid.centre[..., None, :]
    polygon = camera.project(world)
    clockwise = _signed_area(polygon) < 0.0
    return np.where(clockwise[..., None, None], polygon[..., ::-1, :], polygon)


def _signed_area(polygon: FloatArray) -> FloatArray:
    """Area, positive where the corners run counterclockwise."""
    moved = polygon - polygon[..., :1, :]  # near the origin, so that far-off polygons lose no digits
    after = np.roll(moved, -1, axis=-2)
    return np.asarray(0.5 * (moved[..., 0] * after[..., 1] - moved[..., 1] * after[..., 0]).sum(axis=-1))


def _box_corners(view: FloatArray, camera: Camera) -> FloatArray:
    """Corners of the silhouette of the unit cube, (..., 6, 3), from the faces that are seen."""
    limit = _PARALLEL if camera.position is None else 1.0
    seen = np.where(view > limit, 1, np.where(view < -limit, -1, 0))
    corners: FloatArray = _silhouette_table()[9 * seen[..., 0] + 3 * seen[..., 1] + seen[..., 2] + 13]
    return corners


@lru_cache(maxsize=1)
def _silhouette_table() -> FloatArray:
    """Silhouette of the unit cube for each of the 27 ways to see its faces, (27, 6, 3).

    Row ``9 i + 3 j + k + 13`` belongs to the signs (i, j, k) of the faces that are seen on the three axes. An
    edge is on the silhouette when only one of its two faces is seen.
    """
    return np.stack([_loop(signs) for signs in product((-1, 0, 1), repeat=3)])


def _face_corners(axis: int, sign: int) -> list[tuple[int, ...]]:
    """Corners of one face of the unit cube, counterclockwise seen from outside."""
    first, second = (axis + 1) % 3, (axis + 2) % 3
    corners = []
    for p, q in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        corner = [0, 0, 0]
        corner[axis], corner[first], corner[second] = sign, p, q
        corners.append(tuple(corner))
    return corners if sign > 0 else corners[::-1]


def _loop(signs: tuple[int, ...]) -> NDArray[np.float64]:
    """Corners of the silhouette in order, padded to six; all zero where no face is seen."""
    edges: set[tuple[tuple[int, ...], tuple[int, ...]]] = set()
    for axis, sign in enumerate(signs):
        if sign:
            corners = _face_corners(axis, sign)
            edges.update(zip(corners, corners[1:] + corners[:1], strict=True))
    after = {start: end for start, end in edges if (end, start) not in edges}
    if not after:
        return np.zeros((6, 3))
    chain = [min(after)]
    while len(chain) < len(after):
        chain.append(after[chain[-1]])
    return np.array(chain + chain[-1:] * (6 - len(chain)), dtype=np.float64)


def _contact_circle(view: FloatArray, camera: Camera, count: int) -> FloatArray:
    """Points where lines of sight touch the unit ball, (..., count, 3)."""
    square = (view**2).sum(axis=-1, keepdims=True)
    inverse = np.zeros_like(square) if camera.position is None else 1.0 / square
    first = any_perpendicular(view)
    second = np.cross(view / np.sqrt(square), first)
    angle = 2.0 * np.pi * np.arange(count) / count
    circle = np.cos(angle)[:, None] * first[..., None, :] + np.sin(angle)[:, None] * second[..., None, :]
    return np.asarray((inverse * view)[..., None, :] + np.sqrt(1.0 - inverse)[..., None] * circle)


def _cylinder_arcs(solid: Solid, view: FloatArray, camera: Camera, count: int) -> FloatArray:
    """One arc of the top rim, then one of the bottom rim, of the unit cylinder, (..., 2 count, 3)."""
    first, second = solid.across
    height = view[..., solid.round_axis]
    bearing = np.arctan2(view[..., second], view[..., first])
    away = np.hypot(view[..., first], view[..., second])
    if camera.position is None:
        limit, end_on = _PARALLEL, away <= _PARALLEL
        half_angle = np.where(end_on, 0.0, np.pi / 2.0)
    else:
        limit, end_on = 1.0, away <= 1.0
        half_angle = np.arccos(1.0 / np.maximum(away, 1.0))
    above, below = height > limit, height < -limit
    step = np.linspace(0.0, 1.0, count)

    def arc(far: NDArray[np.bool_], backward: NDArray[np.bool_]) -> FloatArray:
        begin = np.where(far, bearing + half_angle, bearing - half_angle)
        sweep = np.where(far, 2.0 * (np.pi - half_angle), 2.0 * half_angle)
        share = np.where(backward[..., None], 1.0 - step, step)
        return np.asarray(begin[..., None] + sweep[..., None] * share)

    # A rim's far arc bounds the outline where its cap is seen, its near arc where it is not. Where neither
    # cap is seen both are near arcs, and the second runs backward to close the loop.
    top, bottom = arc(above, np.zeros_like(above)), arc(below, ~above & ~below)
    # From inside the mantle's extension the seen cap hides all the rest: the other rim shrinks to a point of
    # its rim.
    top_level = np.where(end_on & below, -1.0, 1.0)
    bottom_level = np.where(end_on & above, 1.0, -1.0)
    angle = np.concatenate([top, bottom], axis=-1)
    unit = np.empty((*angle.shape, 3))
    unit[..., first], unit[..., second] = np.cos(angle), np.sin(angle)
    unit[..., :count, solid.round_axis] = top_level[..., None]
    unit[..., count:, solid.round_axis] = bottom_level[..., None]
    return unit
