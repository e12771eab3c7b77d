"""Axes of a straight piece: where a flat strip is wide, it is level."""

from __future__ import annotations

import numpy as np
import pytest

from rigcheck.studies.layers import piece_axes


@pytest.mark.parametrize(
    ("stop", "width"),
    [
        ([0.0, 0.0, -0.2], [1.0, 0.0, 0.0]),
        ([0.2, 0.0, 0.0], [0.0, 0.0, 1.0]),
        ([0.1, -0.1, 0.0], [0.0, 0.0, 1.0]),
        ([0.0, 0.3, 0.0], [1.0, 0.0, 0.0]),
    ],
)
def test_axes_of_a_flat_strip(stop: list[float], width: list[float]) -> None:
    """Along it; its width, level or, where it stands, to the right; and square to both, right-handed."""
    axes = piece_axes("strip", np.zeros(3), np.array(stop))
    along = np.array(stop) / np.linalg.norm(stop)
    # Of a width only the line matters: a strip has no better side.
    wide = np.array(width) * np.sign(np.array(width) @ axes[1])
    # Products of unit vectors, so rounding alone.
    np.testing.assert_allclose(axes, [along, wide, np.cross(along, wide)], atol=1e-12)
