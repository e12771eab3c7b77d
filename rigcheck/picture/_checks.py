"""The checks that the functions of the picture room make on what they are given."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError

__all__ = ["finite", "not_negative", "positive", "positive_number", "vectors", "whole_number"]

FloatArray = NDArray[np.float64]


def finite(name: str, value: ArrayLike) -> FloatArray:
    """Give the values as an array of floats, or raise if one of them is not a finite number."""
    array = np.asarray(value, dtype=np.float64)
    good = np.isfinite(array)
    if not good.all():
        raise ArgumentError(f"{name}: given {array[~good].flat[0]}; every value has to be a finite number.")
    return array


def positive(name: str, value: ArrayLike, unit: str) -> FloatArray:
    """Give the values as an array of floats, or raise if one of them is not a number above zero."""
    return _at_least(name, value, unit, allowed="above 0", zero_too=False)


def not_negative(name: str, value: ArrayLike, unit: str) -> FloatArray:
    """Give the values as an array of floats, or raise if one of them is not a number of at least zero."""
    return _at_least(name, value, unit, allowed="of at least 0", zero_too=True)


def positive_number(name: str, value: float, unit: str) -> float:
    """Give the value as a float, or raise if it is not one finite number above zero."""
    array = positive(name, value, unit)
    if array.ndim:
        raise ArgumentError(f"{name}: given {array.size} values; one number in {unit} is wanted here.")
    return float(array)


def whole_number(name: str, value: int, *, least: int) -> int:
    """Give the value, or raise if it is not a whole number of at least `least`."""
    if isinstance(value, bool) or not isinstance(value, int | np.integer) or value < least:
        raise ArgumentError(f"{name}: given {value!r}; it has to be a whole number of at least {least}.")
    return int(value)


def vectors(name: str, value: ArrayLike, *, length: int = 3, axes: int = 1) -> FloatArray:
    """Give the values as an array (..., `length`) of at least `axes` axes, all finite, or raise."""
    array = finite(name, value)
    if array.ndim < axes or array.shape[-1] != length:
        words = ", ".join(["...", *["n"] * (axes - 1), str(length)])
        raise ArgumentError(f"{name}: given an array of shape {array.shape}; wanted ({words}).")
    return array


def _at_least(name: str, value: ArrayLike, unit: str, *, allowed: str, zero_too: bool) -> FloatArray:
    array = np.asarray(value, dtype=np.float64)
    good = np.isfinite(array) & ((array >= 0.0) if zero_too else (array > 0.0))
    if not good.all():
        raise ArgumentError(
            f"{name}: given {array[~good].flat[0]:g} {unit}; it has to be a finite number {allowed} {unit}."
        )
    return array
