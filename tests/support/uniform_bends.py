"""The bend that stays in a member under the same moment everywhere."""

from __future__ import annotations

import numpy as np

from rigcheck.mechanics.plasticity import PlasticSection, lasting_set


def uniform_set(section: PlasticSection, moment: object) -> tuple[np.ndarray, np.ndarray]:
    """Curvature that stays after each moment about y has come and gone, and whether the member folds."""
    everywhere = np.repeat(np.asarray(moment, dtype=float)[..., None], 2, axis=-1)
    result = lasting_set(section, stations=[0.0, 1.0], moment_y=everywhere)
    return result.curvature_y[..., 0], result.collapses
