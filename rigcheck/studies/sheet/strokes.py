"""What the drawings of the sheet share: lines with their true width, the insert, how much larger a movement is drawn.

A drawing plane has one axis to the right and one up; places in mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Prop
from rigcheck.picture.solids import Solid
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.history import History
from rigcheck.studies.prop_plan import tip_way

if TYPE_CHECKING:
    from rigcheck.studies.rigs import SupportRig

__all__ = [
    "IN_PLANE",
    "SHOWN_WOBBLE",
    "Stroke",
    "exaggeration",
    "insert_solid",
    "step_below",
    "width_of",
    "wobble_ends",
]

Array = NDArray[np.float64]

SHOWN_WOBBLE = 0.08
"""Wobble is drawn so large that it takes up to this share of the drawing: a choice."""
IN_PLANE = 0.2
"""Share of the wobble in the plane of a view under which it is not drawn there: a choice."""
_MOST_TIMES = 1000.0
_TOO_SMALL = 1e-5
"""Movement that no drawing is stretched for [m]."""
_STILL = 1e-6
"""Wobble below which none is drawn [m]."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Stroke:
    """One line of a drawing.

    Attributes
    ----------
    points : array, shape (n, 2)
        [mm].
    width : float
        True width of what it stands for [mm].
    kind : str
        ``support``, ``sleeve`` or ``embed`` (the part inside the prop).
    """

    points: Array
    width: float
    kind: str


def wobble_ends(still: Outcome, history: History) -> Array | None:
    """The two places farthest apart in the first periods after the moves, (2, 3) [m]; None where it is still."""
    period = 1.0 / float(still.natural_frequency[0].min())
    stop = history.end_s + still.settings.residual_periods * period
    ringing = history.displacement_mm[(history.time_s >= history.end_s) & (history.time_s <= stop)] * 1e-3
    if len(ringing) < 2:
        return None
    ringing = ringing[:: max(1, len(ringing) // 400)]
    apart = np.linalg.norm(ringing[:, None] - ringing, axis=2)
    one, other = np.unravel_index(int(apart.argmax()), apart.shape)
    return None if apart[one, other] < _STILL else ringing[[one, other]]


def exaggeration(wanted: float, moved: float) -> float:
    """How many times as large a movement is drawn, in steps of 1, 2, 5; what moves far is drawn as it is.

    Parameters
    ----------
    wanted, moved : float
        How far it is to move in the drawing, and how far it moves [m, or both in mm].

    Returns
    -------
    float
        At least 1.
    """
    return 1.0 if moved <= _TOO_SMALL else float(np.clip(step_below(wanted / moved), 1.0, _MOST_TIMES))


def step_below(value: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above a value.

    Parameters
    ----------
    value : float
        Above 0.

    Returns
    -------
    float

    Examples
    --------
    >>> step_below(7.3), step_below(0.2)
    (5.0, 0.2)
    """
    decade = 10.0 ** np.floor(np.log10(value) + 1e-12)
    return float(decade * max(step for step in (1.0, 2.0, 5.0) if step * decade <= value * (1 + 1e-12)))


def width_of(support: SupportRig) -> float:
    """How wide a support is.

    Parameters
    ----------
    support : SupportRig
        The first variant is used.

    Returns
    -------
    float
        [mm].
    """
    return 1e3 * float(support.outer_size[0])


def insert_solid(prop: Prop, middle: Array, leaning: Array, turn: Array) -> Solid | None:
    """The insert as a thin box about the prop's middle, flat along its support; None where there is none."""
    if prop.insert is None:
        return None
    way = tip_way(prop)
    along = way - way[1] * np.array([0.0, 1.0, 0.0])
    # A support that comes from above or below holds a sheet that lies level all the same.
    along = np.array([0.0, 0.0, 1.0]) if np.linalg.norm(along) < 0.5 else along / np.linalg.norm(along)
    up = np.array([0.0, 1.0, 0.0])
    axes = np.stack([along, up, np.cross(along, up)], axis=1)
    length, width = (side.m_as("m") for side in prop.insert.size)
    return Solid(
        shape="box",
        size=np.array([length, prop.insert.thickness.m_as("m"), width]),
        centre=turn @ middle,
        orientation=turn @ leaning @ axes,
    )
