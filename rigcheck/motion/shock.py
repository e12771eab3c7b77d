r"""Worst case of a move of which only the peak acceleration is known.

The move is taken to speed up once and slow down once, from rest to rest: an acceleration g(t) A with one
pulse of either sign, each rising once and falling once (not both several times), abs(g) <= 1, equal areas.
Lengths are in units of A/omega^2, the deflection under A held steady.

Why a bang-bang move is the worst. The response at any time is linear in g, q = -int k g, with k the impulse
response looking back from that time. A pulse that rises and falls once is a stack of rectangles 1 high (its
level sets are intervals), so q cannot exceed the best rectangle for the speeding up plus the best for the
slowing down. Looking back from time t, k is a decaying sine: lobes of alternate sign, each half a damped
period long, of areas (1 + x), x(1 + x), x^2(1 + x) ... times A/omega^2, with

.. math:: x = \exp(-\pi \zeta / \sqrt{1 - \zeta^2}).

The best the slowing down can do is the first lobe, the best left to the speeding up the second; together
(1 + x)^2, which is 4 undamped. The move that reaches it speeds up at full A for half a damped period and
slows down at full A for another half, without a coast, and the deflection peaks just as it ends. With a
duration T given (as the longest the move may take: a pulse with a faint tail can always be shorter) each half
lasts min(T/2, half a period).

The vibration left behind is, with lambda = -zeta omega + i omega_d and halves of length b, of amplitude
abs(1 - exp(lambda b))^2 / sqrt(1 - zeta^2) at the end of the move; with a coast the two factors have lengths
b and T - b.

All this is derived here. The peak without a duration is proved above; that nothing does worse within a given
duration, and the residual, are held by tests: linear programmes over all single pulses, random moves, coasts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError, NotConvergedError
from rigcheck.motion._checks import FloatArray, oscillator, positive

__all__ = ["WorstCase", "worst_case"]

ComplexArray = NDArray[np.complex128]


@dataclass(frozen=True, kw_only=True)
class WorstCase:
    """Worst response to a move that speeds up once and slows down once at no more than a given acceleration.

    Attributes
    ----------
    peak : ndarray, (..., m)
        Largest deviation, during the move or after it [A/omega^2].
    residual : ndarray, (..., m)
        Largest amplitude of the vibration left at the end [A/omega^2]; peak to peak is at most twice that.
    half_duration : ndarray, (..., m)
        How long the move that peaks highest speeds up, and then slows down [s].
    """

    peak: FloatArray
    residual: FloatArray
    half_duration: FloatArray


def worst_case(
    *, angular_frequency: ArrayLike, damping_ratio: ArrayLike, duration: ArrayLike | None = None
) -> WorstCase:
    """Give the worst deviation and the worst residual amplitude for a peak acceleration A.

    Parameters
    ----------
    angular_frequency : array_like, (..., m)
        Undamped angular frequencies [rad/s], above 0.
    damping_ratio : array_like
        Share of critical damping, 0 <= value < 1.
    duration : array_like, optional
        The longest the move may take [s]; broadcasts with `angular_frequency`. Any length if absent.

    Returns
    -------
    WorstCase
        In units of A/omega^2. For several modes, adding their magnitudes stays on the safe side.

    Notes
    -----
    See the module for the derivation. Without a duration, peak = (1 + x)^2 exactly, and the residual lies
    above it by at most 1.5 zeta^2 of it (damping up to 0.3). With one, and no damping, both are 4 sin^2(omega
    T/4) up to omega T = 2 pi and 4 beyond.

    A move that stops and starts again in step with the support can do more; so can a move that turns back.

    Examples
    --------
    >>> float(worst_case(angular_frequency=30.0, damping_ratio=0.0).peak[0])
    4.0
    """
    omega, zeta = oscillator(angular_frequency, damping_ratio)
    root = np.sqrt(1.0 - zeta**2)
    half_period = np.pi / root  # in unit time omega t, as everything below
    best = _longest_chord(zeta)
    if duration is None:
        length, chord = half_period, best
    else:
        longest = positive("duration", duration, "s")
        try:
            half = 0.5 * omega * longest
        except ValueError:
            raise ArgumentError(
                f"duration has shape {longest.shape}, angular_frequency {omega.shape}; they have to fit."
            ) from None
        length, chord = np.minimum(half, half_period), np.minimum(half, best)
    exponent = -zeta + 1j * root
    residual = np.abs(np.expm1(exponent * chord)) ** 2 / root
    return WorstCase(peak=_bang_bang_peak(exponent, length), residual=residual, half_duration=length / omega)


def _bang_bang_peak(exponent: ComplexArray, length: FloatArray) -> FloatArray:
    """Give the largest deviation of a move that speeds up and slows down for `length` each, in unit time."""
    exponent = np.broadcast_to(exponent, np.broadcast_shapes(exponent.shape, length.shape))
    length = np.broadcast_to(length, exponent.shape)
    # z' = lambda z - a: at rest with a = 1 it sits at z = 1/lambda, with a = -1 at -1/lambda
    level = 1.0 / exponent
    turn = np.expm1(exponent * length)
    at_turn, at_end = -level * turn, -level * turn**2
    return np.maximum(
        np.maximum(
            _largest(level, -level, exponent, length), _largest(-level, at_turn + level, exponent, length)
        ),
        _largest(np.zeros_like(level), at_end, exponent, np.full(length.shape, np.inf)),
    )


def _largest(
    level: ComplexArray, swing: ComplexArray, exponent: ComplexArray, length: FloatArray
) -> FloatArray:
    """Give the largest abs(q), with z = level + swing exp(lambda t), over 0 <= t <= length.

    q stands still where lambda swing exp(lambda t) is real; its first two extremes are the largest of either
    sign.
    """
    root = exponent.imag
    first = np.mod(-np.angle(exponent * swing), np.pi) / root
    values = [np.abs((level + swing).imag)]
    for t in (first, first + np.pi / root, length):
        t = np.minimum(t, length)
        decayed = np.where(np.isinf(t), 0.0, np.exp(exponent * np.where(np.isinf(t), 0.0, t)))
        values.append(np.abs((level + swing * decayed).imag))
    return np.asarray(np.max(values, axis=0) / root)


def _longest_chord(zeta: FloatArray) -> FloatArray:
    """Give the unit time at which abs(1 - exp(lambda t)) is largest, just before half a damped period.

    With sin(phi) = zeta and theta = omega_d t it obeys theta = pi - phi - asin(zeta exp(-zeta
    theta/omega_d)).
    """
    root = np.sqrt(1.0 - zeta**2)
    theta = np.full(zeta.shape, np.pi)
    for _ in range(200):
        following = np.pi - np.arcsin(zeta) - np.arcsin(zeta * np.exp(-zeta * theta / root))
        change = np.abs(following - theta).max(initial=0.0)
        theta = following
        if change < 1e-14:
            return np.asarray(theta / root)
    raise NotConvergedError(
        f"worst_case: the worst half duration still moved by {change:g} rad after 200 steps."
    )
