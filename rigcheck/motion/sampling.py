"""At which times to look at a response: dense where it matters, and no more samples than can be afforded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.motion._checks import FloatArray, positive

__all__ = ["TRACED_SHARE", "SampleTimes", "distinct", "sample_times", "traced_frequency"]

TRACED_SHARE = 1e-3
"""Share of the largest swing from which a mode is followed sample by sample."""

_Number = TypeVar("_Number", np.float64, np.intp)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class SampleTimes:
    """Times at which a response is to be computed.

    Attributes
    ----------
    times : ndarray, (n,)
        Increasing [s], from start to stop.
    step : float
        Spacing where the samples are dense [s].
    thinned : bool
        True where they are dense only after each event, and coarse between.
    """

    times: FloatArray
    step: float
    thinned: bool


def sample_times(
    *,
    start: float,
    stop: float,
    angular_frequency: ArrayLike,
    share: ArrayLike | None = None,
    events: ArrayLike = (),
    samples_per_period: float = 48.0,
    tolerance: float = 1e-3,
    least: int = 401,
    most: int = 100_000,
    dense_periods: float = 4.0,
) -> SampleTimes:
    """Give times from start to stop, dense enough for every mode that matters.

    Parameters
    ----------
    start, stop : float
        First and last time [s].
    angular_frequency : array_like, (..., m)
        Angular frequencies of the modes [rad/s].
    share : array_like, (..., m), optional
        How much each mode can add to the result, in any unit; modes below `tolerance` times the largest of
        their batch member are not followed. All matter if absent.
    events : array_like, (k,)
        Times at which the acceleration changes its course [s], such as the ends of profile pieces; a sample
        falls on each that lies between start and stop.
    samples_per_period : float
        For the fastest mode that matters, at least 8. At 48 a parabola finds peaks within 4e-5.
    tolerance : float
        See `share`.
    least, most : int
        Number of samples to give at least, and at most.
    dense_periods : float
        When the samples would be too many: how many periods of the slowest mode stay dense after each event
        and before the stop.

    Returns
    -------
    SampleTimes
        Evenly spaced if there are no events inside and no thinning.

    Raises
    ------
    ValidityError
        Even the dense parts alone exceed `most`.

    Notes
    -----
    Thinning is sound for peaks with little damping: each event adds a free vibration to what there was, and
    within a few periods of the slowest mode the phases have met once. Between, only the decay goes on and the
    smooth lag, for which the coarse samples (a quarter of `most`) serve. It can miss a beat between two close
    modes whose period is longer than the dense part.
    """
    omega = np.atleast_1d(positive("angular_frequency", angular_frequency, "rad/s"))
    if not (np.isfinite([start, stop]).all() and stop > start):
        raise ArgumentError(f"start, stop: given {start:g} s and {stop:g} s; stop has to come after start.")
    if samples_per_period < 8.0:
        raise ArgumentError(f"samples_per_period: given {samples_per_period:g}; at least 8 are needed.")
    matters = np.ones(omega.shape, dtype=bool)
    if share is not None:
        size = np.abs(np.broadcast_to(np.asarray(share, dtype=np.float64), omega.shape))
        matters = size >= tolerance * size.max(axis=-1, keepdims=True)
    fastest = float(omega[matters].max())
    step = min(2.0 * np.pi / (fastest * samples_per_period), (stop - start) / (least - 1))
    inside = distinct(np.asarray(events, dtype=np.float64))
    inside = inside[(inside > start) & (inside < stop)]
    edges = np.concatenate([[start], inside, [stop]])
    if (stop - start) / step + edges.size <= most:
        return SampleTimes(times=_filled(edges, np.full(edges.size - 1, step)), step=step, thinned=False)
    slowest = float(omega[matters].min())
    dense = dense_periods * 2.0 * np.pi / slowest
    # dense from each event on, and before the stop; coarse in what is left
    ends = np.minimum(edges[:-1] + dense, edges[1:])
    all_edges = np.unique(np.concatenate([edges, ends, [max(start, stop - dense)]]))
    middles = 0.5 * (all_edges[1:] + all_edges[:-1])
    last_event = edges[np.searchsorted(edges, middles, side="right") - 1]
    is_dense = (middles - last_event < dense) | (stop - middles < dense)
    coarse = max(step, 4.0 * (stop - start) / most)
    steps = np.where(is_dense, step, coarse)
    count = float((np.diff(all_edges) / steps).sum()) + all_edges.size
    if count > most:
        raise ValidityError(
            f"sample_times: {count:.0f} samples would be needed from {start:g} s to {stop:g} s, "
            f"{most} are allowed: modes from {slowest / (2 * np.pi):.3g} Hz to "
            f"{fastest / (2 * np.pi):.3g} Hz at {samples_per_period:g} samples a period. "
            "Allow more, or leave out the fast modes."
        )
    return SampleTimes(times=_filled(all_edges, steps), step=step, thinned=True)


def traced_frequency(angular_frequency: ArrayLike, share: ArrayLike) -> FloatArray:
    """Give the frequency that free vibration of several modes has to be sampled for.

    Parameters
    ----------
    angular_frequency : array_like, (..., m)
        Of the modes [rad/s].
    share : array_like, (..., m)
        How far each swings, over what the largest does, 0 to 1.

    Returns
    -------
    ndarray, (...)
        [rad/s]; 0 where nothing swings.

    Notes
    -----
    A parabola through three of N samples a period misses a mode's top by ``2 (pi/N)^4`` of what that mode swings. A
    mode of share s is therefore followed as well with ``s^(1/4)`` times the samples of the largest. Modes below
    `TRACED_SHARE` are left out.
    """
    part = np.asarray(share, dtype=np.float64)
    closeness = np.where(part > TRACED_SHARE, part**0.25, 0.0)
    return np.asarray((np.asarray(angular_frequency, dtype=np.float64) * closeness).max(axis=-1))


def distinct(values: NDArray[_Number]) -> NDArray[_Number]:
    """Give the values in rising order, each once.

    Parameters
    ----------
    values : ndarray, (n,)
        Any numbers.

    Returns
    -------
    ndarray

    Notes
    -----
    As `numpy.unique`, which also loads numpy.ma: that takes longer than a whole response.

    Examples
    --------
    >>> distinct(np.array([2.0, 1.0, 2.0])).tolist()
    [1.0, 2.0]
    """
    ordered = np.sort(values)
    return ordered[np.concatenate([[True], ordered[1:] > ordered[:-1]])] if ordered.size else ordered


def _filled(edges: FloatArray, steps: FloatArray) -> FloatArray:
    """Fill each stretch between edges evenly, at its step or a little finer."""
    parts = [
        np.linspace(low, high, max(1, int(np.ceil((high - low) / step - 1e-9))), endpoint=False)
        for low, high, step in zip(edges[:-1], edges[1:], steps, strict=True)
    ]
    return np.concatenate([*parts, edges[-1:]])
