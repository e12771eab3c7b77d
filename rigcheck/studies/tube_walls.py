"""Does a thin tube dent before it bends."""

from __future__ import annotations

from rigcheck.studies.evaluate import Outcome, stress_of
from rigcheck.studies.layers import Layer, still_and_moving
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.results import Contribution, Finding, Status
from rigcheck.studies.words import share_words

__all__ = ["check_tube_walls"]

THIN_WALL = 50.0
"""Outer diameter over wall from which a tube may dent before it bends; common practice, no source."""
WALL_BUCKLING = 0.6
"""Stress at which a perfect thin tube wrinkles over E t / R (classical theory, from memory)."""
KNOCK_DOWN = 0.2
"""Share of it that real tubes are sure to reach; common practice, no source."""

_ASSUMED = (
    (
        f"A tube is safe from denting up to a diameter of {THIN_WALL:g} walls and a stress of"
        f" {KNOCK_DOWN * WALL_BUCKLING:.2g} E wall / radius (common practice)."
    ),
)


def check_tube_walls(still: Outcome, motion: MotionOutcome | None, layers: list[Layer]) -> Contribution:
    """Check whether tubes are so thin that they dent.

    Parameters
    ----------
    still : Outcome
        At rest and solved; the first variant is used.
    motion : MotionOutcome or None
        Moving.
    layers : list of Layer
        Of all supports.

    Returns
    -------
    Contribution
        Finding ``tube-wall`` where there are tubes.
    """
    tubes = [layer for layer in layers if layer.tube is not None]
    if not tubes:
        return Contribution()
    peaks = [part[0].max() for part in stress_of(still.parts, still.forces)]
    if motion is not None:
        moving = stress_of(still.parts, still_and_moving(still, motion))
        peaks = [part[0].max() for part in moving]
    worst: tuple[float, Layer, float] | None = None
    for layer in tubes:
        assert layer.tube is not None
        outer, wall = layer.tube
        allowed = KNOCK_DOWN * WALL_BUCKLING * layer.youngs_modulus * wall / (outer / 2)
        use = float(peaks[layer.index]) / allowed
        if worst is None or use > worst[2]:
            worst = (outer / wall, layer, use)
    assert worst is not None
    ratio = max(layer.tube[0] / layer.tube[1] for layer in tubes if layer.tube is not None)
    if worst[2] <= 1 and ratio <= THIN_WALL:
        return Contribution(
            findings=(
                Finding(
                    id="tube-wall",
                    label="tube wall",
                    status=Status.PASS,
                    value=ratio,
                    limit=THIN_WALL,
                    says=(
                        f"The tube does not dent: its stress is {share_words(worst[2])} of what a wall of"
                        f" 1/{ratio:.0f} of its diameter is sure to hold."
                    ),
                ),
            ),
            assumptions=_ASSUMED,
        )
    if worst[2] > 1:
        says = f"The tube may dent: the stress is {worst[2]:.2g} times what so thin a wall is sure to hold."
    else:
        says = f"The tube's wall is thin, 1/{ratio:.0f} of its diameter: a touch or the jaw may dent it."
    return Contribution(
        findings=(
            Finding(
                id="tube-wall",
                label="thin tube wall",
                status=Status.CAUTION,
                value=ratio,
                limit=THIN_WALL,
                says=says,
                advice=(
                    "Take a thicker wall, and push a plug or a rod into the tube where the clamp holds it.",
                ),
            ),
        ),
        assumptions=_ASSUMED,
    )
