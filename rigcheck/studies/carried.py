"""A settled prop with its supports, as one body that its moves carry."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Prop
from rigcheck.motion.sampling import distinct
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.moves import Travel, field_at, is_turning
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.rigs import SupportRig, width_direction

if TYPE_CHECKING:
    from rigcheck.picture.solids import Shape, Solid

__all__ = ["Carried", "Line", "carried", "carried_at"]

Array = NDArray[np.float64]

_BEND_ERROR = 1e-4
"""How far the straight pieces of a bent support may lie off its curve [m]."""
_MOST_BENDS = 12


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Line:
    """A settled support: straight pieces from root to tip.

    Attributes
    ----------
    points : array, shape (n + 1, 3)
        Root to tip [m], from where the first tip was before anything gave.
    diameters : array, shape (n,)
        Outer diameter of each piece [m]; of a strip its width.
    thickness : float or None
        Of a strip [m].
    wide : array, shape (n, 3), or None
        Directions in which the pieces of a strip are wide.
    sleeved : array of bool, shape (n,)
        Whether a tube lies over the piece.
    """

    points: Array
    diameters: Array
    thickness: float | None
    wide: Array | None
    sleeved: NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Carried:
    """A settled prop with its supports, moved as one body.

    Attributes
    ----------
    shape, size, axis
        The prop as a solid [m]; the axis is that of a cylinder or disc. No shape where no size is given.
    centre : array, shape (3,)
        Its settled centre of mass, which is taken as its middle [m].
    orientation : array, shape (3, 3)
        Turns its own right, up and toward into how it leans when settled.
    lines : tuple of Line
        Its supports.
    base : array, shape (3,)
        From the axes of the rig to those of the frame [m].
    travels : tuple of Travel
        Its moves.
    """

    shape: Shape | None
    size: Array
    axis: int
    centre: Array
    orientation: Array
    lines: tuple[Line, ...]
    base: Array
    travels: tuple[Travel, ...]

    def poses(self, times: Array) -> tuple[Array, Array]:
        """Where the moves have carried it: rotations (n or 1, 3, 3) and places (n, 3) of its origin [m]."""
        if not self.travels:
            return np.eye(3)[None], np.broadcast_to(self.base, (len(times), 3))
        if not is_turning(self.travels):
            # Slides only add up.
            gone = sum(
                (travel.left(0, times)[:, None] * np.array(travel.direction) for travel in self.travels),
                start=np.zeros((len(times), 3)),
            )
            return np.eye(3)[None], self.base + gone
        at = field_at(self.travels, 0, times)
        return at.rotation, self.base + at.position

    def middles(self, rotation: Array, position: Array) -> Array:
        """Places of its centre of mass, (n, 3) [m]."""
        return np.asarray(position + rotation @ self.centre)

    def solid(self, rotation: Array, position: Array) -> Solid:
        """The prop in poses; only where it has a shape."""
        from rigcheck.picture.solids import Solid

        assert self.shape is not None  # asked for by whoever calls
        return Solid(
            shape=self.shape,
            size=self.size,
            axis=self.axis,
            centre=self.middles(rotation, position),
            orientation=rotation @ self.orientation,
        )


def carried(prop: Prop, reading: Reading, still: Outcome) -> Carried:
    """Give the settled prop as a body that its moves carry.

    Parameters
    ----------
    prop : Prop
        For its mark and shape.
    reading : Reading
        For its moves.
    still : Outcome
        At rest and solved; the first variant is used.

    Returns
    -------
    Carried
    """
    return carried_at(prop, reading, displacement=still.displacement[0], rotation=still.rotation[0])


def carried_at(prop: Prop, reading: Reading, *, displacement: Array, rotation: Array) -> Carried:
    """Give the prop, where it is known how it has settled, as a body that its moves carry.

    Parameters
    ----------
    prop : Prop
        For its mark and shape.
    reading : Reading
        For its supports and its moves.
    displacement, rotation : array, shape (3,)
        Of its centre of mass [m], and of the prop as a rotation vector [rad].

    Returns
    -------
    Carried

    Notes
    -----
    The mark is where the centre of mass is when it has settled: the mount is taken to be shifted for that and not
    to be tilted, so the prop leans by what it turns under its weight. Between root and tip the support follows
    the cubic that starts where the root holds it and ends with the tip's place and slope, ``h = u (3 s^2 - 2 s^3)
    + L (t' - t) (s^3 - s^2)`` at the share s of its length: exact for a straight support that is built in and
    carries an end load, and right at both ends for any other (derived here).
    """
    rig = reading.task.rig
    turn = _rotation(rotation)
    centre = rig.centre_of_mass[0] + displacement
    mark = np.zeros(3) if prop.mark is None else np.array([part.m_as("m") for part in prop.mark])
    size, own, axis = _solid_axes(prop)
    lines = []
    for support in rig.supports:
        tip = support.points[0, -1]
        moved = centre + turn @ (tip - rig.centre_of_mass[0]) - tip
        lines.append(_line(support, moved, turn))
    return Carried(
        shape=prop.shape if prop.size is not None else None,
        size=size,
        axis=axis,
        centre=centre,
        orientation=turn @ own,
        lines=tuple(lines),
        base=mark - centre,
        travels=reading.task.travels,
    )


def _solid_axes(prop: Prop) -> tuple[Array, Array, int]:
    """Sizes of the solid along its own axes [m], those axes as columns, and which of them is its shaft."""
    if prop.size is None:
        return np.zeros(3), np.eye(3), 1
    size = np.array([side.m_as("m") for side in prop.size])
    along = np.array(prop.along)
    axis = int(np.abs(along).argmax())
    if prop.shape in ("box", "sphere") or abs(along[axis]) > 1 - 1e-9:
        return size, np.eye(3), axis
    # A slanting shaft: its length and the widths across are what the box of those sizes measures that way.
    first = np.cross(along, np.eye(3)[np.abs(along).argmin()])
    first /= np.linalg.norm(first)
    axes = np.stack([np.cross(along, first), along, first], axis=1)
    return np.linalg.norm(size[:, None] * axes, axis=0), axes, 1


def _line(support: SupportRig, moved: Array, turn: Array) -> Line:
    points = support.points[0]
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    length = float(steps.sum())
    corners = np.concatenate([[0.0], np.cumsum(steps)]) / length
    corners[-1] = 1.0
    tip_way = (points[-1] - points[-2]) / steps[-1]
    slope = np.zeros(3) if support.form == "line" else turn @ tip_way - tip_way
    shares = [corners]
    if support.form != "line":
        # A chord over the share h lies off a curve by at most h^2 / 8 of its second derivative, which for a cubic
        # is largest at one of the ends.
        ends = 6 * moved - 2 * length * slope, 4 * length * slope - 6 * moved
        curving = max(float(np.linalg.norm(end)) for end in ends)
        pieces = min(_MOST_BENDS, int(np.ceil(np.sqrt(curving / (8 * _BEND_ERROR)))))
        shares.append(np.linspace(0.0, 1.0, max(1, pieces) + 1))
    edges = [float(edge[0]) / length for tube in support.sleeves for edge in (tube.start, tube.end)]
    shares.append(np.clip(edges, 0.0, 1.0))
    places = distinct(np.concatenate(shares))
    places = places[np.concatenate([[True], np.diff(places) > 1e-9])]
    straight = np.stack([np.interp(places, corners, points[:, axis]) for axis in range(3)], axis=1)
    s = places[:, None]
    if support.form == "line":
        bent = straight + s * moved
    else:
        bent = straight + moved * (3 * s**2 - 2 * s**3) + length * slope * (s**3 - s**2)
    middle = 0.5 * (places[1:] + places[:-1]) * length
    diameters = np.full(len(middle), _outer_diameter(support))
    sleeved = np.zeros(len(middle), dtype=bool)
    for tube in support.sleeves:
        under = (middle > float(tube.start[0])) & (middle < float(tube.end[0]))
        diameters = np.where(under, np.maximum(diameters, float(tube.outer_diameter[0])), diameters)
        sleeved |= under
    wide, thickness = None, None
    if support.form == "strip":
        thickness = float(support.thickness[0])
        flat = width_direction(straight[None])
        along = np.diff(bent, axis=0)
        along /= np.linalg.norm(along, axis=1, keepdims=True)
        wide = flat[0] - (flat[0] * along).sum(axis=1, keepdims=True) * along
        wide /= np.linalg.norm(wide, axis=1, keepdims=True)
    return Line(points=bent, diameters=diameters, thickness=thickness, wide=wide, sleeved=sleeved)


def _outer_diameter(support: SupportRig) -> float:
    if support.form == "strip":
        return float(support.width[0])
    return float(support.across[0])


def _rotation(vector: Array) -> Array:
    """Matrix of a rotation vector (Rodrigues)."""
    angle = float(np.linalg.norm(vector))
    x, y, z = vector
    skew = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    half = np.sinc(angle / (2 * np.pi))
    return np.asarray(np.eye(3) + np.sinc(angle / np.pi) * skew + 0.5 * half**2 * (skew @ skew))
