"""Areas in the picture."""

from __future__ import annotations

import numpy as np


def polygon_area(polygon: np.ndarray) -> np.ndarray:
    """Area of plane polygons with corners (..., k, 2) in order, either way round, by the shoelace formula."""
    moved = polygon - polygon[..., :1, :]  # near the origin, so that far-off polygons lose no digits
    x, y = np.moveaxis(moved, -1, 0)
    return np.abs((x * np.roll(y, -1, axis=-1) - np.roll(x, -1, axis=-1) * y).sum(axis=-1)) / 2
