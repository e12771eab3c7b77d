"""Poles and complex amplitudes turned into what a person would measure on screen, with ranges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigcheck.motion._checks import FloatArray
from rigcheck.motion.take_fit import ComplexArray, Covariance

__all__ = ["Component", "component"]

_CHANCE = 0.95  # one-sided: ranges hold 90 %


@dataclass(frozen=True, kw_only=True)
class Component:
    """One damped oscillation of the point on screen.

    Attributes
    ----------
    frequency : float
        Undamped natural frequency [Hz], seen: below half the frame rate.
    frequency_range : tuple of float
        90 % range [Hz].
    damped_frequency : float
        Swings a second as counted [Hz], frequency sqrt(1 - damping_ratio^2).
    damping_ratio : float
        Share of critical damping, 0 where none can be measured.
    damping_range : tuple of float
        90 % range, not below 0.
    amplitude : float
        Half the longest swing at the start of the part, as fitted [px or mm, as the track].
    amplitude_range : tuple of float
        90 % range [as amplitude], not below 0.
    minor_amplitude : float
        Half the shortest swing of the ellipse on screen [as amplitude]; positive where the point turns from
        x to y, negative the other way, near 0 for a straight swing.
    direction : ndarray, (2,)
        Unit vector of the longest swing on screen, x not negative.
    direction_range : tuple of float
        90 % range of its angle from x to y [rad]; spans pi where the ellipse is too round to tell.
    phase : float
        Of the swing along `direction`: amplitude cos(omega t + phase) at time t since the start [rad].
    cycles : float
        Swings in view, until it has sunk to a twentieth or the part ends.
    """

    frequency: float
    frequency_range: tuple[float, float]
    damped_frequency: float
    damping_ratio: float
    damping_range: tuple[float, float]
    amplitude: float
    amplitude_range: tuple[float, float]
    minor_amplitude: float
    direction: FloatArray
    direction_range: tuple[float, float]
    phase: float
    cycles: float


def component(
    pole: complex,
    amplitude: ComplexArray,
    spread: Covariance,
    *,
    duration: float,
    frame_rate: float,
) -> Component:
    """Turn a pole and its complex amplitudes into what a person would measure, with ranges.

    Parameters
    ----------
    pole : complex
        -decay + i angular frequency [1/s].
    amplitude : ndarray, (2,)
        Complex amplitudes of x and y at the start.
    spread : Covariance
        Of these numbers.
    duration : float
        Of the part [s].
    frame_rate : float
        Frames a second [Hz].

    Returns
    -------
    Component
        With ranges to first order in the spread, times Student's t.
    """
    from scipy.special import stdtrit  # type: ignore[import-untyped]

    reach = float(stdtrit(spread.freedom, _CHANCE))
    decay, angular = -pole.real, pole.imag
    size = float(np.hypot(decay, angular))
    ellipse = _ellipse(amplitude)
    numbers = np.array(
        [decay, angular, amplitude[0].real, amplitude[0].imag, amplitude[1].real, amplitude[1].imag]
    )
    slopes = np.zeros((4, 6))  # of frequency, damping ratio, amplitude, angle by the six numbers
    slopes[0, :2] = np.array([decay, angular]) / size / (2.0 * np.pi)
    slopes[1, :2] = angular**2 / size**3, -decay * angular / size**3
    scale = float(np.abs(amplitude).max())
    for j in range(2, 6):
        step = np.zeros(6)
        step[j] = 1e-6 * scale
        up, down = _ellipse(_amplitudes(numbers + step)), _ellipse(_amplitudes(numbers - step))
        slopes[2, j] = (up[0] - down[0]) / (2.0 * step[j])
        turn = (up[2] - down[2] + 0.5 * np.pi) % np.pi - 0.5 * np.pi
        slopes[3, j] = turn / (2.0 * step[j])
    reaches = reach * np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", slopes, spread.matrix, slopes), 0.0))
    # At half the frame rate exactly, a frequency a little to either side looks the same for a quarter cycle.
    if abs(angular / (2.0 * np.pi) - 0.5 * frame_rate) * duration < 0.25:
        reaches[0] = max(float(reaches[0]), 0.25 / duration)
    frequency, ratio = size / (2.0 * np.pi), decay / size
    major, minor, angle, phase = ellipse
    turn_reach = min(float(reaches[3]), 0.5 * np.pi)
    if major - abs(minor) < 2.0 * float(reaches[2]):
        turn_reach = 0.5 * np.pi  # too round to have a direction
    life = duration if decay <= 0.0 else min(duration, 3.0 / decay)
    return Component(
        frequency=frequency,
        frequency_range=(max(0.0, frequency - float(reaches[0])), frequency + float(reaches[0])),
        damped_frequency=float(angular) / (2.0 * np.pi),
        damping_ratio=float(max(0.0, ratio)),
        damping_range=(float(max(0.0, ratio - reaches[1])), float(max(0.0, ratio + reaches[1]))),
        amplitude=major,
        amplitude_range=(max(0.0, major - float(reaches[2])), major + float(reaches[2])),
        minor_amplitude=minor,
        direction=np.array([np.cos(angle), np.sin(angle)]),
        direction_range=(angle - turn_reach, angle + turn_reach),
        phase=phase,
        cycles=float(life * angular) / (2.0 * np.pi),
    )


def _amplitudes(numbers: FloatArray) -> ComplexArray:
    return np.array([numbers[2] + 1j * numbers[3], numbers[4] + 1j * numbers[5]])


def _ellipse(amplitude: ComplexArray) -> tuple[float, float, float, float]:
    r"""Give the half axes, the angle of the longer one, and the phase along it.

    With the phase phi that makes :math:`\sum (a e^{-i\phi})^2` real and positive, Re(a exp(-i phi)) and
    Im(a exp(-i phi)) are at right angles, the first the longer (derived here).
    """
    square = complex((amplitude**2).sum())
    phase = 0.5 * float(np.angle(square))
    turned = amplitude * np.exp(-1j * phase)
    long, short = turned.real, turned.imag
    if long[0] < 0.0 or (long[0] == 0.0 and long[1] < 0.0):
        long, short, phase = -long, -short, phase + np.pi
    major = float(np.hypot(long[0], long[1]))
    # The point moves as long cos - short sin: it turns from x to y where long x short is negative.
    minor = float(long[1] * short[0] - long[0] * short[1]) / max(major, 1e-300)
    return major, minor, float(np.arctan2(long[1], long[0])), (phase + np.pi) % (2.0 * np.pi) - np.pi
