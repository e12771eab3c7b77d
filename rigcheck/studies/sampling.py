"""Few variants that fill all inputs evenly, and what their figures say.

The variants are a mirrored Latin hypercube in plain Python and numpy, and not a sequence of scipy.stats.qmc, whose
import alone takes longer than an ordinary check. At so few variants it is at least as even (`sample`).
"""

from __future__ import annotations

from functools import cache
from math import ceil
from random import Random

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError

__all__ = ["POINTS", "SEED", "Z90", "enough_points", "first_order_shares", "quantile_range", "sample"]

Array = NDArray[np.float64]

SEED = 20_240_229
"""Starts the sample; any number will do, the same one gives the same digits."""
POINTS = 32
"""Variants of an ordinary check; more where there are many inputs, see `enough_points`."""
_POINTS_PER_INPUT = 2.5
_SWEEPS = 3
"""Rounds of taking out correlation; the third changes it by less than a hundredth."""
_SIGNIFICANT = 2.0
"""Standard errors from which a coefficient of the fit is taken to be more than noise."""
_HUGE = 1e200
Z90 = 1.6448536269514722
"""Standard normal deviate that one in twenty exceeds."""


def enough_points(inputs: int) -> int:
    """How many variants that many inputs need: 32, or the next multiple of it from 2.5 for each input.

    Parameters
    ----------
    inputs : int
        How many inputs have a range.

    Returns
    -------
    int

    Notes
    -----
    With 32 each end of a 90 % range has a standard error of about a fifth of a standard deviation of the figure, and
    a chance near one half one of about 0.08; over many rigs the ranges hold what they say, within 3 %
    (``tests/evidence/test_ranges.py``).
    """
    return POINTS * max(1, ceil(_POINTS_PER_INPUT * inputs / POINTS))


@cache
def sample(inputs: int, points: int, seed: int) -> Array:
    """Standard normal deviates that fill all inputs evenly, shape (points, inputs).

    Parameters
    ----------
    inputs : int
        How many inputs.
    points : int
        An even number from 32 on, at least 2.5 for each input.
    seed : int
        The same one gives the same digits, on every machine and with every version of the libraries.

    Returns
    -------
    array
        Read-only: it is kept, because many props have as many inputs.

    Raises
    ------
    ArgumentError
        `points` is not such a number.

    Notes
    -----
    A Latin hypercube (M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21, 1979, 239-245): each input takes
    the middles of `points` equally likely slices once. It is mirrored, every point with its opposite, so that what
    goes straight with one input is told apart from what goes with the square of any; and its columns are reordered
    by the Cholesky factor of their correlation until next to none is left (R. L. Iman, W. J. Conover, Commun. Stat.
    B 11, 1982, 311-334; both cited from memory). At 32 points in 9 dimensions its centred discrepancy is under that
    of a scrambled Sobol sequence, whose columns still correlate by up to 0.5 there
    (``tests/studies/test_uncertainty.py``).
    """
    if points < 32 or points % 2 or points < _POINTS_PER_INPUT * inputs:
        raise ArgumentError(
            f"points: given {points} for {inputs} inputs with a range; give an even number from"
            f" {max(32, ceil(_POINTS_PER_INPUT * inputs))} on, such as {enough_points(inputs)}."
        )
    from statistics import NormalDist

    half = points // 2
    levels = np.array([NormalDist().inv_cdf((slice_ + 0.5) / points) for slice_ in range(half, points)])
    # Python promises the same numbers from `Random.random` for good; numpy's generators may change.
    draw = Random(seed).random
    noise = np.array([draw() for _ in range(inputs * points)]).reshape(inputs, points).T
    deviates = _levelled(noise[:half], noise[half:] - 0.5, levels)
    for _ in range(_SWEEPS):
        correlation = deviates.T @ deviates / (levels @ levels)
        freed = np.asarray(np.linalg.solve(np.linalg.cholesky(correlation), deviates.T).T, dtype=np.float64)
        deviates = _levelled(np.abs(freed), freed, levels)
    whole = np.concatenate([deviates, -deviates])
    whole.setflags(write=False)
    return whole


def _levelled(order: Array, signs: Array, levels: Array) -> Array:
    """Columns that hold each level once, in the order given, with the signs given."""
    rank = np.argsort(np.argsort(order, axis=0, kind="stable"), axis=0, kind="stable")
    return np.asarray(np.where(signs < 0, -1.0, 1.0) * levels[rank])


def quantile_range(values: Array) -> tuple[float, float]:
    """Where values lie nine times in ten: their 5 % and 95 % quantiles, which may be infinite.

    Notes
    -----
    Median-unbiased quantiles, as so few values would otherwise give too narrow a range; as ``method =
    "median_unbiased"`` of `numpy.quantile`, which also loads numpy.ma.
    """
    ordered = np.sort(np.where(np.isposinf(values), _HUGE, values))
    ranks = (len(ordered) + 1 / 3) * np.array([0.05, 0.95]) - 2 / 3
    low, high = np.interp(ranks, np.arange(len(ordered)), ordered)
    return tuple(float("inf") if end > 1e-3 * _HUGE else float(end) for end in (low, high))  # type: ignore[return-value]


def first_order_shares(deviates: Array, values: Array) -> Array:
    """Share of the variance of a figure that each input causes by itself.

    Parameters
    ----------
    deviates : array, shape (n, k)
        Independent standard normal inputs; n above k.
    values : array, shape (n,)
        The figure.

    Returns
    -------
    array, shape (k,)
        First-order Sobol indices, from 0; their sum is under 1 by what acts jointly and by what the fit misses.

    Notes
    -----
    Least squares on the first two Hermite polynomials of each input, ``z`` and ``(z^2 - 1)/sqrt(2)``, which are
    orthonormal for a normal z: the share is ``(a^2 + b^2)/variance`` (B. Sudret, Reliab. Eng. Syst. Saf. 93, 2008,
    964-979, from memory). The noise of each coefficient, from the residual, is taken off, and a coefficient under
    twice its own standard error counts as nothing. Where n is under 2 k + 2, on the first alone.
    """
    n, k = deviates.shape
    spread = float(np.var(values))
    if not spread > 0:
        return np.zeros(k)
    terms = [np.ones((n, 1)), deviates]
    if n > 2 * k + 1:
        terms.append((deviates**2 - 1) / np.sqrt(2))
    basis = np.concatenate(terms, axis=1)
    coefficients, *_ = np.linalg.lstsq(basis, values, rcond=None)
    left = values - basis @ coefficients
    noise = float(left @ left) / max(1, n - basis.shape[1]) / n
    found = coefficients[1:] ** 2
    parts = np.where(found > _SIGNIFICANT**2 * noise, found - noise, 0.0).reshape(-1, k).sum(axis=0)
    return np.asarray(np.minimum(parts / spread, 1.0))
