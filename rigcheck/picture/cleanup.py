"""Clean it up in post, or rig it again? The user's own rates, multiplied out.

There is no default rate: how long a frame takes depends on the picture and on who paints.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import ArrayLike

from rigcheck.errors import ArgumentError
from rigcheck.picture._checks import FloatArray, not_negative, positive_number

__all__ = ["Choice", "time_by_area", "time_by_frames", "weigh"]

_PIXELS = 1e6  # in a megapixel


@dataclass(frozen=True, kw_only=True)
class Choice:
    """Cleaning up against rigging again, in working time.

    Attributes
    ----------
    cleanup_time, rerig_time : float
        [s]
    saving : float
        What rigging again saves [s]; negative where cleaning up is quicker.
    quicker : str
        ``clean up``, ``rig again`` or ``equal``.
    break_even : float
        Share of the clean-up rate at which both take equally long: 0.5 means that at half the time a frame
        (or area) cleaning up would be as quick. Infinite where there is nothing to clean up.
    """

    cleanup_time: float
    rerig_time: float
    saving: float
    quicker: str
    break_even: float


def time_by_frames(frames: ArrayLike, *, time_per_frame: float) -> FloatArray:
    """Give the clean-up time from the number of frames in which the support shows.

    Parameters
    ----------
    frames : array_like
        How many, at least 0.
    time_per_frame : float
        The user's own rate [s], above 0.

    Returns
    -------
    ndarray
        [s]

    Raises
    ------
    ArgumentError
        If a number is out of its range.
    """
    rate = positive_number("time_per_frame", time_per_frame, "s")
    return np.asarray(not_negative("frames", frames, "frames") * rate)


def time_by_area(area_px: ArrayLike, *, time_per_megapixel: float) -> FloatArray:
    """Give the clean-up time from the area that shows.

    Parameters
    ----------
    area_px : array_like, (..., n)
        In each of n frames [px], at least 0.
    time_per_megapixel : float
        The user's own rate [s] for a million pixels, above 0.

    Returns
    -------
    ndarray, (...)
        [s], all frames together.

    Raises
    ------
    ArgumentError
        If a number is out of its range.
    """
    rate = positive_number("time_per_megapixel", time_per_megapixel, "s")
    area = not_negative("area_px", area_px, "px")
    if area.ndim == 0:
        raise ArgumentError("area_px: given one number; give the area of each frame.")
    return np.asarray(area.sum(axis=-1) / _PIXELS * rate)


def weigh(cleanup_time: float, rerig_time: float) -> Choice:
    """Weigh cleaning up against rigging again.

    Parameters
    ----------
    cleanup_time : float
        [s], at least 0.
    rerig_time : float
        Working time of everybody who rigs and shoots again, added up [s], at least 0.

    Returns
    -------
    Choice

    Raises
    ------
    ArgumentError
        If a time is negative or not a number.

    Examples
    --------
    >>> weigh(cleanup_time=3600.0, rerig_time=1800.0).quicker
    'rig again'
    """
    cleanup, rerig = (
        float(not_negative(name, value, "s"))
        for name, value in (("cleanup_time", cleanup_time), ("rerig_time", rerig_time))
    )
    saving = cleanup - rerig
    return Choice(
        cleanup_time=cleanup,
        rerig_time=rerig,
        saving=saving,
        quicker="rig again" if saving > 0.0 else "clean up" if saving < 0.0 else "equal",
        break_even=rerig / cleanup if cleanup > 0.0 else inf,
    )
