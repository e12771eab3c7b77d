r"""First guesses of the poles of a track, by the matrix pencil.

Rows of successive samples, cut from both axes and from every stretch without a gap, are stacked into one
Hankel matrix. The right singular vectors V of its p largest singular values span the same space as the powers
:math:`z_k^j` of the poles, and shifting that space by one sample multiplies it by them: the eigenvalues of
:math:`V_1^+ V_2`, V without its last and without its first row, are the z. A decaying oscillation is a pair of
conjugate z, and lambda = ln(z)/step.

References
----------
Y. Hua and T. K. Sarkar, "Matrix pencil method for estimating parameters of exponentially damped/undamped
sinusoids in noise", IEEE Transactions on Acoustics, Speech and Signal Processing 38 (1990) 814-824, from
memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from rigcheck.motion._checks import FloatArray
from rigcheck.motion.take_fit import ComplexArray

__all__ = ["candidate_poles", "pencil"]

_ORDERS = (2, 4, 6, 8, 12, 16)
_WINDOWS = (64, 160, 400)  # samples from the start: heavily damped components live in the first few only
_SPARE = 8  # vectors carried along beside those wanted
_ROUNDS = 10
_SHORT_GAP = 2  # missing frames that are filled in for the guess


def pencil(stretches: Sequence[FloatArray], orders: Sequence[int]) -> list[ComplexArray]:
    """Give the poles, as factors from sample to sample, for several orders.

    Parameters
    ----------
    stretches : sequence of ndarray, (m, 2)
        Evenly sampled, without gaps; each centred by the caller.
    orders : sequence of int
        How many poles to look for; a decaying oscillation takes two.

    Returns
    -------
    list of ndarray
        The factors z for each order, real ones included; none where the stretches are too short for it.
    """
    longest = max((part.shape[0] for part in stretches), default=0)
    width = longest // 3 + 1  # a third of the samples: near the least variance, from memory
    blocks = [
        np.lib.stride_tricks.sliding_window_view(part[:, axis], width)
        for part in stretches
        if part.shape[0] >= width
        for axis in range(2)
    ]
    if not blocks or width < 3:
        return [np.zeros(0, dtype=np.complex128) for _ in orders]
    # The square loses singular values below 1e-8 of the largest, far under any camera's noise.
    square = np.zeros((width, width))
    for block in blocks:
        square += block.T @ block
    vectors = _leading_vectors(square, max(orders))
    rows = sum(block.shape[0] for block in blocks)
    found: list[ComplexArray] = []
    for order in orders:
        if order > min(width - 1, rows - 1):
            found.append(np.zeros(0, dtype=np.complex128))
            continue
        space = vectors[:, -order:]
        shift = np.linalg.lstsq(space[:-1], space[1:], rcond=None)[0]
        found.append(np.asarray(np.linalg.eigvals(shift), dtype=np.complex128))
    return found


def _leading_vectors(square: FloatArray, count: int) -> FloatArray:
    """Give the eigenvectors of the largest eigenvalues of a symmetric matrix, the largest last.

    By subspace iteration: a guess needs no more, and thin products do not make the linear algebra library
    start threads, which for matrices of this size costs many times the work itself. A direction whose
    eigenvalue is twice that of the ones left out is found to a thousandth in ten rounds.
    """
    width = square.shape[0]
    size = min(width, count + _SPARE)
    if size < width:
        block = square[:, np.linspace(0, width - 1, size).astype(np.intp)]
        for _ in range(_ROUNDS):
            block = square @ np.linalg.qr(block)[0]
        basis = np.linalg.qr(block)[0]
    else:
        basis = np.eye(width)
    _, turned = np.linalg.eigh(basis.T @ square @ basis)
    return np.asarray(basis @ turned)


def candidate_poles(times: FloatArray, track: FloatArray) -> ComplexArray:
    """Give poles that may be in a track, from several lengths and orders.

    Parameters
    ----------
    times : ndarray, (n,)
        Increasing [s].
    track : ndarray, (n, 2)
        Positions.

    Returns
    -------
    ndarray, (c,)
        Poles [1/s] of positive frequency, near doubles thrown out. Empty where too little is there.

    Notes
    -----
    Uneven times are brought to an even grid by straight lines: the guess need not be exact.
    """
    step = float(np.median(np.diff(times)))
    found: list[ComplexArray] = []
    size = times.size
    for samples, stride in [(window, 1) for window in _WINDOWS] + [(size, max(1, -(-size // _WINDOWS[-1])))]:
        if samples > size and samples != _WINDOWS[0]:
            continue
        part = slice(0, min(samples, size))
        stretches = _stretches(times[part], track[part], step, stride)
        for factors in pencil(stretches, _ORDERS):
            # A negative factor is a swing at half the frame rate; a positive real one does not swing.
            swings = (factors.imag > 1e-6) | ((factors.real < 0.0) & (np.abs(factors.imag) <= 1e-6))
            use = (np.abs(factors) > 0.3) & (np.abs(factors) < 1.1) & swings
            factors = np.where(factors.imag < 0.0, factors.conj(), factors)
            found.append(np.asarray(np.log(factors[use]) / (step * stride), dtype=np.complex128))
    poles = np.concatenate(found) if found else np.zeros(0, dtype=np.complex128)
    duration = float(times[-1] - times[0])
    poles = poles[poles.imag * duration > 0.7 * 2.0 * np.pi]
    kept: list[complex] = []
    for pole in poles:
        if all(abs(pole - other) * duration > 0.3 for other in kept):
            kept.append(complex(min(pole.real, 0.0), pole.imag))
    return np.array(kept, dtype=np.complex128)


def _stretches(times: FloatArray, track: FloatArray, step: float, stride: int) -> list[FloatArray]:
    """Cut a track at its long gaps, fill the short ones, and average blocks of `stride` samples."""
    gaps = np.flatnonzero(np.diff(times) > (_SHORT_GAP + 1.5) * step) + 1
    parts: list[FloatArray] = []
    line = np.polynomial.polynomial.Polynomial
    for low, high in pairwise([0, *gaps.tolist(), times.size]):
        own_times, values = times[low:high], track[low:high]
        count = round(float(own_times[-1] - own_times[0]) / step) + 1
        if count // stride < 6:
            continue
        grid = own_times[0] + step * np.arange(count)
        even = np.stack([np.interp(grid, own_times, values[:, axis]) for axis in range(2)], axis=1)
        even = even[: count // stride * stride].reshape(-1, stride, 2).mean(axis=1)
        place = np.linspace(-1.0, 1.0, even.shape[0])
        for axis in range(2):
            even[:, axis] -= line.fit(place, even[:, axis], 1, domain=[-1, 1])(place)
        parts.append(even)
    return parts
