"""The checks that every function of the motion room makes on its oscillators."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError

__all__ = ["increasing_times", "oscillator", "positive", "positive_number"]

FloatArray = NDArray[np.float64]


def positive(name: str, value: ArrayLike, unit: str) -> FloatArray:
    """Give the values as an array of floats, or raise if one of them is not a number above zero."""
    array = np.asarray(value, dtype=np.float64)
    if not (np.isfinite(array).all() and (array > 0.0).all()):
        worst = array[~(np.isfinite(array) & (array > 0.0))].flat[0]
        raise ArgumentError(f"{name}: given {worst:g} {unit}; it has to be a finite number above 0 {unit}.")
    return array


def positive_number(name: str, value: float, unit: str) -> float:
    """Give the value as a float, or raise if it is not one finite number above zero."""
    array = positive(name, value, unit)
    if array.ndim:
        raise ArgumentError(f"{name}: given {array.size} values; one number in {unit} is wanted here.")
    return float(array)


def oscillator(angular_frequency: ArrayLike, damping_ratio: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Give angular frequency and damping ratio as arrays of one shape, or raise.

    Parameters
    ----------
    angular_frequency : array_like, (..., m)
        Undamped angular frequency [rad/s], above 0.
    damping_ratio : array_like, broadcasts with `angular_frequency`
        Share of critical damping, 0 <= value < 1: at 1 and above nothing oscillates.

    Returns
    -------
    tuple of ndarray
        Both, broadcast to one shape of at least one axis.
    """
    omega = np.atleast_1d(positive("angular_frequency", angular_frequency, "rad/s"))
    zeta = np.asarray(damping_ratio, dtype=np.float64)
    good = np.isfinite(zeta) & (zeta >= 0.0) & (zeta < 1.0)
    if not good.all():
        raise ArgumentError(
            f"damping_ratio: given {zeta[~good].flat[0]:g}; allowed is 0 up to, but not including, 1 "
            "(at 1 the support no longer oscillates). A wire in a firm jaw has about 0.003."
        )
    try:
        shape = np.broadcast_shapes(omega.shape, zeta.shape)
    except ValueError:
        raise ArgumentError(
            f"damping_ratio has shape {zeta.shape}, angular_frequency {omega.shape}; give one value a mode, "
            "or one for all."
        ) from None
    return np.broadcast_to(omega, shape), np.broadcast_to(zeta, shape)


def increasing_times(times: ArrayLike, *, least: int = 1) -> FloatArray:
    """Give the sample times as a one-axis array, or raise if they do not strictly increase."""
    array = np.asarray(times, dtype=np.float64)
    if array.ndim != 1 or array.size < least:
        raise ArgumentError(
            f"times: given an array of shape {array.shape}; wanted (n,) with n at least {least}."
        )
    if not np.isfinite(array).all():
        raise ArgumentError("times: not all are finite numbers.")
    steps = np.diff(array)
    if not (steps > 0.0).all():
        index = int(np.argmax(steps <= 0.0))
        raise ArgumentError(
            f"times: sample {index + 1} at {array[index + 1]:g} s does not come after sample {index} at "
            f"{array[index]:g} s; they have to increase."
        )
    return array
