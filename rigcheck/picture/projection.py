"""From metres at the prop to pixels on the sensor.

World axes are those of a level camera: x right, y up, z toward the camera, origin at the centre of the frame
at the prop. A camera looking down by the elevation e keeps x to the right of its picture; its up and its way
back
to the lens turn about x::

    right  = (1, 0, 0)
    up     = (0, cos e, -sin e)
    toward = (0, sin e,  cos e)

Pixels are counted from the centre of the picture, right and up.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import cos, inf, pi, sin

import numpy as np
from numpy.typing import ArrayLike

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.picture._checks import FloatArray, positive_number, vectors

__all__ = ["Camera", "thin_lens_excess"]


@dataclass(frozen=True, kw_only=True)
class Camera:
    """A camera without lens distortion, aimed at the frame's centre.

    Attributes
    ----------
    field_width : float
        What the frame spans, left to right, at the frame's centre [m], above 0.
    image_width : float
        Width of the picture [px], above 0; pixels are square.
    distance : float or None
        From the frame's centre to the lens [m], above 0. None where it is not known: the picture is then
        taken as seen from very far off, so movement toward or away from the camera does not show and cannot
        be judged.
    elevation : float
        How far the camera stands above level [rad], -pi/2 to pi/2: 0 is level, pi/2 looks straight down.
    image_height : float or None
        Height of the picture [px]; None leaves the picture without an upper and lower edge.

    Raises
    ------
    ArgumentError
        If a length or a count is not above 0, or the elevation is outside its range.

    Notes
    -----
    With the distance d, a point P (coordinates X right, Y up, Z toward, in the camera's axes) falls on

        (x, y) = (image_width / field_width) (X, Y) / w,  w = 1 - Z / d,

    which is the pinhole camera; without it w = 1.

    References
    ----------
    R. Hartley, A. Zisserman, "Multiple View Geometry in Computer Vision", 2nd ed., section 6.1 (from memory).

    Examples
    --------
    >>> camera = Camera(field_width=0.42, image_width=3840)
    >>> round(camera.pixels_per_metre / 1000, 2)  # pixels per mm
    9.14
    """

    field_width: float
    image_width: float
    distance: float | None = None
    elevation: float = 0.0
    image_height: float | None = None

    def __post_init__(self) -> None:
        positive_number("field_width", self.field_width, "m")
        positive_number("image_width", self.image_width, "px")
        if self.distance is not None:
            positive_number("distance", self.distance, "m")
        if self.image_height is not None:
            positive_number("image_height", self.image_height, "px")
        if not -pi / 2 <= self.elevation <= pi / 2:
            raise ArgumentError(
                f"elevation: given {self.elevation:g} rad; allowed is -pi/2 (straight up) to pi/2 (straight "
                "down)."
            )

    @classmethod
    def from_lens(
        cls,
        *,
        distance: float,
        focal_length: float,
        sensor_width: float,
        image_width: float,
        elevation: float = 0.0,
        image_height: float | None = None,
        focused_on_prop: bool = False,
    ) -> Camera:
        """Give the camera from its lens.

        Parameters
        ----------
        distance : float
            From the frame's centre at the prop to the lens [m], above 0.
        focal_length : float
            As marked on the lens [m], above 0.
        sensor_width : float
            Width of the sensor that makes the picture [m], above 0.
        image_width : float
            [px].
        elevation : float
            [rad], see `Camera`.
        image_height : float or None
            [px].
        focused_on_prop : bool
            False: the sensor stands one focal length behind the lens, as for a far subject (pinhole). True:
            it stands where a thin lens puts the sharp image of the prop; the distance has to be more than
            twice the focal length for a picture smaller than life.

        Returns
        -------
        Camera

        Raises
        ------
        ArgumentError
            If a number is not above 0, or a thin lens so near gives no real image.

        Notes
        -----
        Pinhole: ``field_width = sensor_width distance / focal_length``. Thin lens:
        ``field_width = sensor_width (distance - focal_length) / focal_length``, from 1/f = 1/u + 1/v. The
        pinhole gives fewer pixels per metre by the share in `thin_lens_excess`: 5 % for 50 mm at 1.1 m. Real
        lenses lie between and beyond the two (many change their focal length as they focus), so a measured
        field width is the better input.

        References
        ----------
        E. Hecht, "Optics", 4th ed., section 5.2, thin lens equation (from memory).
        """
        distance = positive_number("distance", distance, "m")
        focal_length = positive_number("focal_length", focal_length, "m")
        sensor_width = positive_number("sensor_width", sensor_width, "m")
        field_width = sensor_width * distance / focal_length
        if focused_on_prop:
            field_width /= 1.0 + thin_lens_excess(distance=distance, focal_length=focal_length)
        return cls(
            field_width=field_width,
            image_width=image_width,
            distance=distance,
            elevation=elevation,
            image_height=image_height,
        )

    @property
    def pixels_per_metre(self) -> float:
        """Pixels for a metre across the picture at the frame's centre."""
        return self.image_width / self.field_width

    @property
    def right(self) -> FloatArray:
        """Direction in space that is right in the picture, shape (3,)."""
        return np.array([1.0, 0.0, 0.0])

    @property
    def up(self) -> FloatArray:
        """Direction in space that is up in the picture, shape (3,)."""
        return np.array([0.0, cos(self.elevation), -sin(self.elevation)])

    @property
    def toward(self) -> FloatArray:
        """Direction in space from the frame's centre to the lens, shape (3,)."""
        return np.array([0.0, sin(self.elevation), cos(self.elevation)])

    @property
    def position(self) -> FloatArray | None:
        """Where the lens is [m], shape (3,); None where the distance is not known."""
        return None if self.distance is None else self.distance * self.toward

    @cached_property
    def _axes(self) -> FloatArray:
        """Directions in space in which X, Y and the depth weight grow, as columns."""
        return np.stack([self.right, self.up, -self.toward / (self.distance or inf)], axis=1)

    def homogeneous(self, points: ArrayLike) -> FloatArray:
        """Give X, Y and the depth weight w of places, linear in the place.

        Parameters
        ----------
        points : array_like, (..., 3)
            Places [m].

        Returns
        -------
        ndarray, (..., 3)
            X [m] to the right and Y [m] up in the camera's axes, and w [1]: the depth from the lens over the
            distance of the frame's centre, 1 everywhere where the distance is not known. The pixel is
            ``pixels_per_metre * (X, Y) / w``.
        """
        points = vectors("points", points)
        result = points @ self._axes
        result[..., 2] += 1.0
        return np.asarray(result)

    def project(self, points: ArrayLike) -> FloatArray:
        """Give the pixels of places.

        Parameters
        ----------
        points : array_like, (..., 3)
            Places [m].

        Returns
        -------
        ndarray, (..., 2)
            Pixels to the right and up from the picture's centre.

        Raises
        ------
        ValidityError
            If a place is beside or behind the lens: it has no image.
        """
        seen = self.homogeneous(points)
        self._before_the_lens(seen[..., 2])
        return np.asarray(self.pixels_per_metre * seen[..., :2] / seen[..., 2:])

    def pixels_per_metre_at(self, points: ArrayLike) -> FloatArray:
        """Give the pixels for a metre across the picture at other depths.

        Parameters
        ----------
        points : array_like, (..., 3)
            Places [m].

        Returns
        -------
        ndarray, (...)
            [px/m]

        Raises
        ------
        ValidityError
            If a place is beside or behind the lens.
        """
        weight = self.homogeneous(points)[..., 2]
        self._before_the_lens(weight)
        return np.asarray(self.pixels_per_metre / weight)

    def pixel_jacobian(self, at: ArrayLike) -> FloatArray:
        """Give the pixels for small movements about a mark.

        Parameters
        ----------
        at : array_like, (..., 3)
            The mark [m].

        Returns
        -------
        ndarray, (..., 2, 3)
            [px/m]: a small displacement u moves the picture of the mark by ``jacobian @ u``. The part left
            out is of the order of (depth movement / distance) of what is kept.

        Raises
        ------
        ValidityError
            If a mark is beside or behind the lens.

        Notes
        -----
        ``d(x, y)/dP = (pixels_per_metre / w) ([right; up] + (X, Y) toward / (w d))``, derived here.
        """
        seen = self.homogeneous(at)
        self._before_the_lens(seen[..., 2])
        weight = seen[..., 2, None, None]
        across = np.stack([self.right, self.up])
        in_depth = seen[..., :2, None] * self.toward / (self.distance or inf)
        return np.asarray(self.pixels_per_metre / weight * (across + in_depth / weight))

    def _before_the_lens(self, weight: FloatArray) -> None:
        """Raise if a depth weight belongs to a place that is not in front of the lens."""
        if not (weight > 0.0).all() and self.distance is not None:
            raise ValidityError(
                f"points: one lies {-float(weight.min()) * self.distance:.4g} m behind the lens, where it "
                "has no image. Check the place, or the camera's distance."
            )


def thin_lens_excess(*, distance: float, focal_length: float) -> float:
    """Give the share by which a thin lens focused on the prop shows it larger than the pinhole does.

    Parameters
    ----------
    distance : float
        From the prop to the lens [m], above the focal length.
    focal_length : float
        [m], above 0.

    Returns
    -------
    float
        ``f / (u - f)``, which is also the thin lens's magnification.

    Raises
    ------
    ArgumentError
        If the prop is within the focal length: there is no real image.

    Notes
    -----
    Pinhole image size f / u of the object, thin lens f / (u - f); their ratio is 1 + f / (u - f). Derived
    here.

    Examples
    --------
    >>> round(thin_lens_excess(distance=1.1, focal_length=0.05), 4)
    0.0476
    """
    distance = positive_number("distance", distance, "m")
    focal_length = positive_number("focal_length", focal_length, "m")
    if distance <= focal_length:
        raise ArgumentError(
            f"distance: given {distance:g} m with a focal length of {focal_length:g} m; a lens makes no "
            "image of what is within its focal length. Check the units of both."
        )
    return focal_length / (distance - focal_length)
