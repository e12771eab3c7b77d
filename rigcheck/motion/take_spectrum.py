"""The amplitude spectrum of a swing, for a figure beside the fit."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rigcheck.errors import ArgumentError
from rigcheck.motion._checks import FloatArray, increasing_times
from rigcheck.motion.take_part import on_even_grid

__all__ = ["amplitude_spectrum"]

_PADDING = 2  # so many times as many points as there are frames: peaks look smooth


def amplitude_spectrum(times: ArrayLike, positions: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Give how far a track swings at each frequency.

    Parameters
    ----------
    times : array_like, (n,)
        When each frame was taken [s], increasing; gaps are bridged by straight lines. n at least 4.
    positions : array_like, (n, 2)
        On both axes of the screen, drift taken out.

    Returns
    -------
    frequencies : ndarray, (m,)
        From 0 to half the frame rate [Hz].
    amplitudes : ndarray, (m,)
        Both axes together [as positions]. A lasting straight swing of amplitude A peaks at A, within 0.2 %;
        one that dies down peaks lower.

    Raises
    ------
    ArgumentError
        The shapes do not fit, or a number is not finite.

    Notes
    -----
    Windowed by von Hann's raised cosine w, with ``2 |FFT(w y)| / sum(w)`` on each axis and the root of their
    squares (F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform",
    Proceedings of the IEEE 66 (1978) 51-83, from memory).

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(500) / 50
    >>> frequencies, amplitudes = amplitude_spectrum(t, np.stack([3 * np.cos(2 * np.pi * 7 * t), 0 * t], axis=1))
    >>> round(float(frequencies[amplitudes.argmax()]), 6), round(float(amplitudes.max()), 2)
    (7.0, 3.0)
    """
    at = increasing_times(times, least=4)
    track = np.asarray(positions, dtype=np.float64)
    if track.shape != (at.size, 2) or not np.isfinite(track).all():
        raise ArgumentError(f"positions: wanted {at.size} rows of two finite numbers; given {track.shape}.")
    grid, even = on_even_grid(at, track)
    window = np.hanning(grid.size + 2)[1:-1]
    count = _PADDING * grid.size
    both = 2.0 * np.abs(np.fft.rfft(window[:, None] * even, count, axis=0)) / window.sum()
    step = (grid[-1] - grid[0]) / (grid.size - 1)
    return np.fft.rfftfreq(count, step), np.hypot(both[:, 0], both[:, 1])
