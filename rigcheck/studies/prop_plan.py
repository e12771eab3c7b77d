"""A soft prop as a level plate: its size along and across its support, and how far that reaches in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Prop

__all__ = ["STRAIGHT", "Plan", "plan_of", "tip_way"]

Array = NDArray[np.float64]

LEVEL = 0.05
"""Height over length of the support's end up to which the prop counts as level."""
STRAIGHT = 1e-3
"""Share of another direction up to which the support's end counts as along a direction of the frame."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Plan:
    """A level prop as a plate.

    Attributes
    ----------
    length, width : float
        Along the support and across it [m].
    embed : float
        Support inside the prop [m].
    mass_per_area : float
        Of the prop without its insert [kg/m2].
    round : bool
        A disc, for which length and width are those of the square around it.
    hub : float or None
        Radius at which an upright support holds a disc in its middle [m].
    """

    length: float
    width: float
    embed: float
    mass_per_area: float
    round: bool
    hub: float | None = None


def plan_of(prop: Prop) -> Plan | str:
    """The plan of a prop.

    Parameters
    ----------
    prop : Prop
        What the user gave.

    Returns
    -------
    Plan or str
        Or why there is none.
    """
    if prop.size is None:
        return "No size is given."
    size = np.array([side.m_as("m") for side in prop.size])
    way = tip_way(prop)
    mass = prop.mass.m_as("kg")
    lies = abs(prop.along[1]) > 1 - STRAIGHT
    disc = prop.shape in ("disc", "cylinder") and lies
    area = size[0] * size[2] * (np.pi / 4 if disc else 1.0)
    if abs(way[1]) > LEVEL:
        first = prop.support[0]
        across = first.thickness if first.section == "strip" else first.diameter
        if abs(way[1]) > 1 - STRAIGHT and disc and len(prop.support) == 1 and across is not None:
            return Plan(
                length=float(size[0]),
                width=float(size[2]),
                embed=0.0,
                mass_per_area=mass / area,
                round=True,
                hub=across.m_as("m") / 2,
            )
        return "Its support does not come in level; droop is worked out for a level prop only."
    embed = prop.support[0].embed
    if embed is None:
        return "No embed is given: how far the support reaches into the prop."
    if prop.shape == "sphere" or (prop.shape in ("disc", "cylinder") and not lies):
        return f"Droop is worked out for a flat prop, not for a {prop.shape} that does not lie flat."
    along = int(np.abs(way[[0, 2]]).argmax()) * 2
    if abs(way[along]) < 1 - LEVEL:
        return "Its support runs at an angle to the prop's sides; droop is worked out along them only."
    return Plan(
        length=float(size[along]),
        width=float(size[2 - along]),
        embed=embed.m_as("m"),
        mass_per_area=mass / area,
        round=disc,
    )


def tip_way(prop: Prop) -> Array:
    """Which way the first support runs where it enters the prop.

    Parameters
    ----------
    prop : Prop
        What the user gave.

    Returns
    -------
    array, shape (3,)
        Unit vector.
    """
    from rigcheck.model import SIDES

    first = prop.support[0]
    if first.path is None:
        return -np.array(SIDES[first.from_])
    end = np.array([[part.m_as("m") for part in point] for point in first.path[-2:]])
    return np.asarray((end[1] - end[0]) / np.linalg.norm(end[1] - end[0]))
