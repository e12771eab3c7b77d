"""The checks that the closed formulas of the mechanics room make on their arguments."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError

__all__ = ["finite", "positive"]

Array = NDArray[np.float64]


def positive(name: str, value: ArrayLike, *, zero: bool = False) -> Array:
    """Give the values as an array of floats, or raise if one is not finite and above zero (or zero, if allowed)."""
    array = np.asarray(value, dtype=np.float64)
    if not np.all((array >= 0.0 if zero else array > 0.0) & np.isfinite(array)):
        allowed = "0 or more" if zero else "positive"
        raise ArgumentError(f"{name} is {value!r}: every value must be {allowed} and finite.")
    return array


def finite(name: str, value: ArrayLike) -> Array:
    """Give the values as an array of floats, or raise if one is not finite."""
    array = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(array)):
        raise ArgumentError(f"{name} is {value!r}: every value must be finite.")
    return array
