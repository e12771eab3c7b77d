"""How the camera sees small movements of a prop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.motion.distance_measures import peak_to_peak_distance
from rigcheck.picture.projection import Camera

__all__ = ["Eye"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Eye:
    """How the camera turns small movements of a prop into pixels.

    Attributes
    ----------
    camera : Camera
        The camera.
    jacobian : array, shape (2, 3)
        Pixels right and up for a metre right, up, toward, at the prop's mark [px/m].
    growth : array, shape (3,), or None
        By how many pixels more than its middle the farthest point of the prop's outline goes out from the picture's
        centre for a metre right, up, toward [px/m]; None where the camera's distance or the prop's size is not known.

    Notes
    -----
    Seen through perspective, what comes nearer by z grows by z over its depth D from the lens: a point of the outline
    at r pixels from the picture's centre moves out by r z/D. What the outline adds to its middle is counted on top of
    the middle's movement: right for a movement across the picture and for one in depth; for a mixed one off by less
    than the prop's half size over D.
    """

    camera: Camera
    jacobian: Array
    growth: Array | None = None

    @property
    def key(self) -> tuple[bytes, bytes]:
        """The same for eyes that see small movements alike."""
        return self.jacobian.tobytes(), b"" if self.growth is None else self.growth.tobytes()

    def project(self, points: Array) -> Array:
        """Pixels of small movements of the middle, shape (..., 3, n) to (..., 2, n)."""
        return np.asarray(self.jacobian @ points)

    def extent(self, path: Array) -> Array:
        """Largest distance in the picture between any two places of a path, (..., 3, n) to (...) [px]."""
        across = peak_to_peak_distance(self.project(path))
        if self.growth is None:
            return across
        return np.asarray(across + peak_to_peak_distance(self.growth[None] @ path))

    def least_extent(self, path: Array) -> Array:
        """What `extent` is not below, at a glance: how far a path goes to the sides or up and down, (...) [px]."""
        across = np.ptp(self.project(path), axis=-1).max(axis=-1)
        return np.asarray(across if self.growth is None else across + np.ptp(self.growth @ path, axis=-1))

    def sizes(self, vectors: Array) -> Array:
        """How large each movement is in the picture, (..., 3, m) to (..., m) [px]."""
        across = np.linalg.norm(self.project(vectors), axis=-2)
        return np.asarray(across if self.growth is None else across + np.abs(self.growth @ vectors))
