"""Frequencies that a camera cannot tell apart."""

from __future__ import annotations

import numpy as np

from rigcheck.errors import ArgumentError
from rigcheck.motion._checks import positive_number

__all__ = ["aliases"]


def aliases(frequency: float, *, frame_rate: float, highest: float) -> list[float]:
    """Give the true frequencies that look like one frequency at a frame rate.

    Parameters
    ----------
    frequency : float
        As seen [Hz], not negative; above half the frame rate it is folded first.
    frame_rate : float
        Frames a second [Hz], above 0.
    highest : float
        Up to where [Hz], above 0; at most 100,000 frame rates.

    Returns
    -------
    list of float
        m r + f and m r - f for all m from 0, increasing, from 0 to `highest`.

    Notes
    -----
    With a frame every 1/r, cos(2 pi f t) and cos(2 pi (m r +- f) t) are the same numbers (the sampling
    theorem: C. E. Shannon, "Communication in the presence of noise", Proceedings of the IRE 37 (1949) 10-21,
    from memory). A long exposure weakens the higher ones, but does not tell them apart.

    Examples
    --------
    >>> aliases(7.0, frame_rate=24.0, highest=60.0)
    [7.0, 17.0, 31.0, 41.0, 55.0]
    """
    rate = positive_number("frame_rate", frame_rate, "Hz")
    top = positive_number("highest", highest, "Hz")
    if not (np.isfinite(frequency) and frequency >= 0.0):
        raise ArgumentError(f"frequency: given {frequency:g} Hz; it has to be a finite number, not negative.")
    if top > 1e5 * rate:
        raise ArgumentError(
            f"highest: given {top:g} Hz, over 100,000 times the frame rate of {rate:g} Hz; give less."
        )
    seen = frequency % rate
    seen = min(seen, rate - seen)
    orders = np.arange(0.0, np.floor(top / rate) + 2.0)
    both = np.concatenate([orders * rate + seen, orders[1:] * rate - seen])
    # At 0 and at half the rate the two images of neighbouring orders are one.
    return [float(value) for value in np.unique(np.round(both, 12)) if value <= top]
