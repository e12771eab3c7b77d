"""Several equal supports side by side in place of one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError
from rigcheck.model import SIDES, Prop, Support
from rigcheck.studies.moves import Travel
from rigcheck.studies.rigs import Rig
from rigcheck.units import measured

__all__ = ["on_several", "side_by_side", "tip_offsets"]

Array = NDArray[np.float64]

_STEEP = 0.1
"""Level part of a unit vector along a support under which it counts as hanging or standing."""


def tip_offsets(points: Array, *, count: int, spacing: float) -> Array:
    """Give where the tips of supports side by side lie, from where the tip of the single one lay.

    Parameters
    ----------
    points : array, shape (n + 1, 3)
        Root to tip of the single one [m].
    count : int
        1, 2 or 3.
    spacing : float
        Between neighbouring axes [m], above 0.

    Returns
    -------
    array, shape (count, 3)
        [m]; their mean is zero. Two lie above one another (side by side where they hang or stand), because that
        takes most sag away; three make a triangle of equal sides with one on top.

    Raises
    ------
    ArgumentError
        Another count, or no spacing.

    Examples
    --------
    >>> tip_offsets(np.array([[0, 0, -0.2], [0, 0, 0]]), count=2, spacing=0.03).tolist()
    [[0.0, 0.015, 0.0], [0.0, -0.015, 0.0]]
    """
    if count not in (1, 2, 3) or not 0.0 < spacing < np.inf:
        raise ArgumentError(
            f"count, spacing: given {count} supports {spacing:g} m apart; give 1, 2 or 3 and a distance above 0."
        )
    along = points[-1] - points[-2]
    along = along / np.linalg.norm(along)
    up = np.array([0.0, 1.0, 0.0])
    steep = np.hypot(along[0], along[2]) < _STEEP
    first = np.array([1.0, 0.0, 0.0]) if steep else up
    first = first - along * (first @ along)
    first /= np.linalg.norm(first)
    second = np.cross(along, first)
    if count == 1:
        return np.zeros((1, 3))
    if count == 2:
        return 0.5 * spacing * np.stack([first, -first]) + 0.0
    radius = spacing / np.sqrt(3.0)
    angles = 2.0 * np.pi * np.arange(3)[:, None] / 3.0
    return np.asarray(radius * (np.cos(angles) * first + np.sin(angles) * second))


def side_by_side(
    rig: Rig, travels: tuple[Travel, ...], *, count: int, spacing: float
) -> tuple[Rig, tuple[Travel, ...]]:
    """Hold a rig on several of its first support in place of one.

    Parameters
    ----------
    rig : Rig
        A batch whose first supports run alike; others are left out.
    travels : tuple of Travel
        Its moves. The axes of rolls stay where they are in space.
    count : int
        1, 2 or 3.
    spacing : float
        Between neighbouring axes [m].

    Returns
    -------
    Rig, tuple of Travel
        Places are measured from the new first tip, as everywhere.
    """
    single = rig.supports[0]
    offsets = tip_offsets(single.points[0], count=count, spacing=spacing)
    origin = offsets[0]
    supports = tuple(replace(single, points=single.points + (offset - origin)) for offset in offsets)
    moved = tuple(
        travel if travel.through is None else replace(travel, through=travel.through - origin)
        for travel in travels
    )
    return replace(rig, supports=supports, centre_of_mass=rig.centre_of_mass - origin), moved


def on_several(prop: Prop, support: Support, *, count: int, spacing: float) -> Prop:
    """Give the prop on several equal supports, as its user would have written it; as `side_by_side`.

    Parameters
    ----------
    prop : Prop
        The prop.
    support : Support
        What carries it instead, its tip where that of its first one is.
    count : int
        1, 2 or 3.
    spacing : float
        Between neighbouring axes [m].

    Returns
    -------
    Prop
    """
    points = _points(support)
    offsets = tip_offsets(points, count=count, spacing=spacing)
    supports = tuple(
        support.model_copy(update={"offset": _vector(offset - offsets[0])}) for offset in offsets
    )
    moves = []
    for move in prop.move:
        if move.kind == "roll":
            through = points[0] if move.through is None else _values(move.through)
            move = move.model_copy(update={"through": _vector(through - offsets[0])})
        moves.append(move)
    centre = _shifted(prop.centre_of_mass, -offsets[0])
    return prop.model_copy(update={"support": supports, "centre_of_mass": centre, "move": tuple(moves)})


def _points(support: Support) -> Array:
    if support.path is not None:
        return np.array([_values(point) for point in support.path])
    assert support.length is not None  # the model asks for a length or a path
    return np.stack([np.array(SIDES[support.from_]) * support.length.m_as("m"), np.zeros(3)])


def _values(vector: Any) -> Array:
    return np.array([part.m_as("m") for part in vector])


def _vector(values: Array) -> tuple[Any, ...]:
    return tuple(measured(float(value), "m") for value in values)


def _shifted(vector: Any, shift: Array) -> tuple[Any, ...]:
    """Moved, with the ranges that were given."""
    moved = []
    for part, by in zip(vector, shift.tolist(), strict=True):
        ends = part.range_as("m")
        low, high = (None, None) if ends is None else (ends[0] + by, ends[1] + by)
        moved.append(measured(part.m_as("m") + by, "m", low=low, high=high))
    return tuple(moved)
