"""Props and pieces of their supports as convex shapes on their courses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Prop
from rigcheck.studies.carried import Carried, Line

__all__ = [
    "CourseShape",
    "PropCourse",
    "capsule_around",
    "outline_of",
    "prop_shape",
    "support_pieces",
]

Array = NDArray[np.float64]

Index = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class CourseShape:
    """A prop, a straight piece of its support, or a capsule around a whole support, in the rig's axes.

    A wire lies along its third axis; `half` are half sizes [m], `radius` is what is around them.
    """

    kind: Literal["box", "cylinder", "disc", "sphere", "wire"]
    half: Array
    axis: int = 2
    centre: Array
    orientation: Array
    radius: float = 0.0

    def reach(self, directions: Array, rotation: Array) -> Array:
        """How far it reaches from its middle along directions (k, 3) or (n, k, 3) in poses, (n or 1, k) [m]."""
        own = np.abs(directions @ (rotation @ self.orientation)) * self.half
        if self.kind in ("box", "wire"):
            return np.asarray(own.sum(axis=-1) + self.radius)
        if self.kind == "sphere":
            return np.asarray(np.linalg.norm(own, axis=-1))
        across = [(self.axis + 1) % 3, (self.axis + 2) % 3]
        return np.asarray(np.hypot(*(own[..., index] for index in across)) + own[..., self.axis])


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class PropCourse:
    """A prop on its way, at the times all props share.

    Attributes
    ----------
    index : int
        Of the prop in the shot.
    prop : Prop
        For its name.
    body : Carried
        The settled prop with its supports.
    known : bool
        Whether its way is known; otherwise only its place at rest.
    times : array, shape (n,)
        [s].
    delay : float
        By how much its moves start later than in the file [s].
    shift : array, shape (3,)
        Its mark against that of the file [m].
    rotation, position : array, shape (n or 1, 3, 3), (n, 3)
        Its poses.
    margin : array, shape (n,)
        How far it may be off [m].
    """

    index: int
    prop: Prop
    body: Carried
    known: bool
    times: Array
    delay: float
    shift: Array
    rotation: Array
    position: Array
    margin: Array

    def last(self) -> PropCourse:
        """Only the place at rest."""
        return replace(
            self,
            times=self.times[-1:],
            rotation=self.rotation[-1:],
            position=self.position[-1:],
            margin=self.margin[-1:],
        )

    def shifted(self, shift: Array) -> PropCourse:
        """With its mark elsewhere."""
        return replace(self, shift=self.shift + shift, position=self.position + shift)

    def over(self, times: Array) -> PropCourse:
        """At other times."""
        rotation, position = self.body.poses(times - self.delay)
        return replace(
            self,
            times=times,
            rotation=rotation,
            position=position + self.shift,
            margin=np.interp(times, self.times, self.margin),
        )

    def at(self, rows: Index) -> tuple[Array, Array]:
        """Poses at some of the times."""
        rotation = self.rotation if len(self.rotation) == 1 else self.rotation[rows]
        return rotation, self.position[rows]

    def middles(self, shape: CourseShape) -> Array:
        """Places of a shape's middle, (n, 3)."""
        return np.asarray(self.position + self.rotation @ shape.centre)


def prop_shape(body: Carried) -> CourseShape:
    """The prop itself as a solid; only where it has a size."""
    assert body.shape is not None  # props without a size are left out
    return CourseShape(
        kind=body.shape,
        half=body.size / 2,
        axis=body.axis,
        centre=body.centre,
        orientation=body.orientation,
    )


def capsule_around(line: Line) -> CourseShape:
    """A capsule about the chord of a support that holds all of it."""
    chord = _wire(line.points[0], line.points[-1], 0.0)
    way = chord.orientation[:, 2]
    off = line.points - chord.centre
    along = np.clip(off @ way, -chord.half[2], chord.half[2])
    bow = float(np.linalg.norm(off - along[:, None] * way, axis=1).max())
    return replace(chord, radius=bow + 0.5 * float(line.diameters.max()))


def _box_around(shapes: Sequence[CourseShape]) -> CourseShape:
    """A box along the rig's axes that holds all of some shapes."""
    axes = np.eye(3)
    reach = np.concatenate([shape.reach(axes, axes[None]) for shape in shapes])
    centres = np.stack([shape.centre for shape in shapes])
    low, high = (centres - reach).min(axis=0), (centres + reach).max(axis=0)
    return CourseShape(kind="box", half=(high - low) / 2, centre=(high + low) / 2, orientation=axes)


@lru_cache(maxsize=64)
def outline_of(body: Carried) -> tuple[tuple[CourseShape, ...], CourseShape]:
    """The prop and a capsule around each of its supports, and a box around all of them."""
    shapes = (prop_shape(body), *map(capsule_around, body.lines))
    return shapes, _box_around(shapes)


def support_pieces(line: Line) -> list[CourseShape]:
    """The straight pieces of a support as wires."""
    return [
        _wire(start, stop, 0.5 * float(diameter))
        for (start, stop), diameter in zip(pairwise(line.points), line.diameters, strict=True)
    ]


def _wire(start: Array, stop: Array, radius: float) -> CourseShape:
    way = stop - start
    length = float(np.linalg.norm(way))
    way = np.array([0.0, 0.0, 1.0]) if length == 0 else way / length
    across = np.eye(3)[np.abs(way).argmin()]
    across = across - (across @ way) * way
    across /= np.linalg.norm(across)
    return CourseShape(
        kind="wire",
        half=np.array([0.0, 0.0, 0.5 * length]),
        centre=0.5 * (start + stop),
        orientation=np.stack([across, np.cross(way, across), way], axis=1),
        radius=radius,
    )
