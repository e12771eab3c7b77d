"""What is to be said about a prop as it is read, and bare SI numbers of its quantities."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from rigcheck.units import Measured

__all__ = ["Notes", "array", "metres", "si"]

Array = NDArray[np.float64]
_NONE = np.array([np.nan])


@dataclass
class Notes:
    """What is said of a prop as it is read, filled in by one part of the reading after another.

    Attributes
    ----------
    assumptions, cautions : list of str
        Sentences.
    unused : list of (str, str)
        What was given and changes nothing, and why.
    figures : list of (str, str, str)
        For the details: label, value, source.
    """

    assumptions: list[str] = field(default_factory=list)
    unused: list[tuple[str, str]] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    figures: list[tuple[str, str, str]] = field(default_factory=list)


def metres(vector: tuple[Measured, ...]) -> tuple[float, ...]:
    """Give a vector in metres."""
    return tuple(part.m_as("m") for part in vector)


def si(value: Measured | None, unit: str) -> float | None:
    """Give a value in a unit, None where there is none."""
    return None if value is None else value.m_as(unit)


def array(value: Measured | None, unit: str = "m") -> Array:
    """Give a value in a unit as a batch of one, NaN where there is none."""
    return _NONE if value is None else np.array([value.m_as(unit)])
