"""The prop as a convex solid with a place and an attitude: box, cylinder, disc, sphere.

Each is a unit solid stretched by half its sizes: the cube [-1, 1]^3, the cylinder of radius 1 between -1 and
1 of its axis, the ball of radius 1. Unequal sizes give an elliptic cylinder or an ellipsoid.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.picture._checks import FloatArray, finite, positive, vectors
from rigcheck.picture.projection import Camera

__all__ = ["Shape", "Solid", "any_perpendicular"]

Shape = Literal["box", "cylinder", "disc", "sphere"]

_DEFAULT_AXIS = {"box": 1, "cylinder": 1, "disc": 2, "sphere": 1}
_ORTHONORMAL = 1e-6  # largest departure of R^T R from the identity that is taken as rounding


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Solid:
    """A convex solid in one or many poses.

    Attributes
    ----------
    shape : str
        box, cylinder, disc or sphere. A disc is a cylinder whose axis is by default the toward direction.
    size : array_like, (3,)
        Full sizes along the body's own right, up and toward [m], each above 0.
    axis : int or None
        Which size is along the axis of a cylinder or disc: 0 right, 1 up, 2 toward. None: up for a cylinder,
        toward for a disc. Without meaning for a box or sphere.
    centre : array_like, (..., 3)
        Where the middle of the solid is [m].
    orientation : array_like, (..., 3, 3)
        Rotation that turns body directions into world directions; its columns are the body's right, up and
        toward in the world.

    Raises
    ------
    ArgumentError
        If the shape is unknown, a size is not above 0, or the orientation is not a rotation.

    Notes
    -----
    The numbers are kept as arrays; `centre` and `orientation` broadcast.
    """

    shape: Shape
    size: FloatArray
    axis: int | None = None
    centre: FloatArray = field(default_factory=lambda: np.zeros(3))
    orientation: FloatArray = field(default_factory=lambda: np.eye(3))

    def __post_init__(self) -> None:
        if self.shape not in _DEFAULT_AXIS:
            raise ArgumentError(f"shape: given {self.shape!r}; allowed are {', '.join(_DEFAULT_AXIS)}.")
        size = positive("size", self.size, "m")
        if size.shape != (3,):
            raise ArgumentError(
                f"size: given an array of shape {size.shape}; wanted (3,): right, up, toward."
            )
        axis = _DEFAULT_AXIS[self.shape] if self.axis is None else self.axis
        if axis not in (0, 1, 2):
            raise ArgumentError(f"axis: given {axis!r}; allowed are 0 (right), 1 (up) and 2 (toward).")
        centre = vectors("centre", self.centre)
        orientation = finite("orientation", self.orientation)
        if orientation.shape[-2:] != (3, 3):
            raise ArgumentError(
                f"orientation: given an array of shape {orientation.shape}; wanted (..., 3, 3)."
            )
        off = np.abs(np.swapaxes(orientation, -1, -2) @ orientation - np.eye(3)).max(initial=0.0)
        if off > _ORTHONORMAL or (np.linalg.det(orientation) < 0.0).any():
            raise ArgumentError(
                f"orientation: not a rotation (its columns are off right angles or unit length by {off:.2g}, "
                "or it mirrors); give the body's right, up and toward directions as columns."
            )
        try:
            batch = np.broadcast_shapes(centre.shape[:-1], orientation.shape[:-2])
        except ValueError:
            raise ArgumentError(
                f"centre has shape {centre.shape}, orientation {orientation.shape}; give one of each a pose."
            ) from None
        object.__setattr__(self, "size", size)
        object.__setattr__(self, "axis", axis)
        object.__setattr__(self, "centre", np.broadcast_to(centre, (*batch, 3)))
        object.__setattr__(self, "orientation", np.broadcast_to(orientation, (*batch, 3, 3)))

    @property
    def batch(self) -> tuple[int, ...]:
        """Shape of the leading axes: how many poses."""
        return self.centre.shape[:-1]

    @property
    def half_size(self) -> FloatArray:
        """Half the sizes [m], shape (3,): what stretches the unit solid."""
        return self.size / 2.0

    @property
    def round_axis(self) -> int:
        """The axis of a cylinder or disc, as an index."""
        return _DEFAULT_AXIS[self.shape] if self.axis is None else self.axis

    @property
    def across(self) -> tuple[int, int]:
        """The two other axes, in right-handed order."""
        return (self.round_axis + 1) % 3, (self.round_axis + 2) % 3

    @property
    def is_ball(self) -> bool:
        """Whether it is a sphere with three equal sizes."""
        return self.shape == "sphere" and bool((self.size == self.size[0]).all())

    @property
    def bounding_radius(self) -> float:
        """Largest distance of a point of the solid from its middle [m]."""
        half = self.half_size
        if self.shape == "box":
            return float(np.linalg.norm(half))
        if self.shape == "sphere":
            return float(half.max())
        return float(np.hypot(half[list(self.across)].max(), half[self.round_axis]))

    def take(self, rows: slice) -> Solid:
        """Give some of the poses of a solid that has one leading axis."""
        if rows.indices(len(self.centre)) == (0, len(self.centre), 1):
            return self
        return Solid(
            shape=self.shape,
            size=self.size,
            axis=self.axis,
            centre=self.centre[rows],
            orientation=self.orientation[rows],
        )

    def flat(self, batch: tuple[int, ...]) -> Solid:
        """Give the solid with its poses broadcast to `batch` and laid out along one leading axis."""
        if self.batch == batch and len(batch) == 1:
            return self
        return Solid(
            shape=self.shape,
            size=self.size,
            axis=self.axis,
            centre=np.broadcast_to(self.centre, (*batch, 3)).reshape(-1, 3),
            orientation=np.broadcast_to(self.orientation, (*batch, 3, 3)).reshape(-1, 3, 3),
        )

    def farthest_point(self, direction: ArrayLike, rows: NDArray[np.intp] | None = None) -> FloatArray:
        """Give the point of the solid that lies farthest along a direction.

        Parameters
        ----------
        direction : array_like, (..., 3)
            World directions of any length; broadcasts with the poses.
        rows : ndarray of int or None
            Which poses, where they run along one leading axis; None takes all.

        Returns
        -------
        ndarray, (..., 3)
            [m]; one of them where several lie equally far.
        """
        direction = vectors("direction", direction)
        chosen = slice(None) if rows is None else rows
        orientation = self.orientation[chosen]
        stretched = np.einsum("...ij,...i->...j", orientation, direction) * self.half_size
        if self.shape == "box":
            unit = np.where(stretched >= 0.0, 1.0, -1.0)
        elif self.shape == "sphere":
            unit = _normalised(stretched)
        else:
            unit = np.empty_like(stretched)
            round_part = list(self.across)
            unit[..., round_part] = _normalised(stretched[..., round_part])
            unit[..., self.round_axis] = np.where(stretched[..., self.round_axis] >= 0.0, 1.0, -1.0)
        turned = np.einsum("...ij,...j->...i", orientation, unit * self.half_size)
        return np.asarray(turned + self.centre[chosen])

    def to_unit(self, points: FloatArray) -> FloatArray:
        """Give world places (..., 3) in the coordinates of the unit solid, one for each pose."""
        return self.unit_direction(points - self.centre)

    def unit_direction(self, vector: FloatArray) -> FloatArray:
        """Give world vectors (..., 3) in the coordinates of the unit solid, one for each pose."""
        return np.asarray(np.einsum("...ij,...i->...j", self.orientation, vector) / self.half_size)

    def viewpoint(self, camera: Camera) -> FloatArray:
        """Give where the camera stands, in the coordinates of the unit solid.

        Parameters
        ----------
        camera : Camera
            The camera.

        Returns
        -------
        ndarray, (..., 3)
            The place of the lens; the unit direction to it where the distance is not known.

        Raises
        ------
        ValidityError
            If the lens is inside the solid.
        """
        if camera.position is None:
            return _normalised(self.unit_direction(np.broadcast_to(camera.toward, self.centre.shape)))
        place = self.to_unit(camera.position)
        square = place**2
        if self.shape == "box":
            inside = square.max(axis=-1) <= 1.0
        elif self.shape == "sphere":
            inside = square.sum(axis=-1) <= 1.0
        else:
            inside = (square[..., list(self.across)].sum(axis=-1) <= 1.0) & (
                square[..., self.round_axis] <= 1.0
            )
        if inside.any():
            raise ValidityError(
                "the camera's lens is inside the prop in at least one pose. Check the sizes, the mark and "
                "the camera's distance."
            )
        return place


def any_perpendicular(vector: FloatArray) -> FloatArray:
    """Give a unit vector at right angles to each of the vectors (..., 3), which must not be zero."""
    other = np.eye(3)[np.argmin(np.abs(vector), axis=-1)]
    return _normalised(np.cross(vector, other))


def _normalised(vector: FloatArray) -> FloatArray:
    """Give the vectors at unit length; a zero vector stays zero."""
    length = np.linalg.norm(vector, axis=-1, keepdims=True)
    return np.asarray(vector / np.where(length > 0.0, length, 1.0))
