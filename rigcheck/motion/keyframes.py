"""A move given as keyframes: its velocity and acceleration, and what its sampling adds of its own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError
from rigcheck.motion._checks import FloatArray, increasing_times, oscillator, positive_number

__all__ = [
    "KeyframePath",
    "Rounding",
    "SamplingLine",
    "keyframe_path",
    "rounding",
    "sampling_line",
    "steady_amplitude",
]

_SPLINE_NOISE = 6.0  # spline acceleration over noise of the values, for a spacing of 1: see `rounding`

Ends = Literal["rest", "free"]
Playback = Literal["linear", "hold"]


@dataclass(frozen=True, kw_only=True)
class KeyframePath:
    """A smooth path through keyframes.

    Attributes
    ----------
    times : ndarray, (n,)
        Times of the keyframes [s].
    displacement, velocity, acceleration : ndarray, (n,)
        At the keyframes [m or rad, and per s, s^2]. Between them the acceleration is straight, so that these
        are all that `rigcheck.motion.sampled_load.piecewise_linear_response` needs.
    ends : str
        "rest" or "free", see `keyframe_path`.
    """

    times: FloatArray
    displacement: FloatArray
    velocity: FloatArray
    acceleration: FloatArray
    ends: Ends

    def at(self, times: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Give displacement, velocity and acceleration at any times.

        Parameters
        ----------
        times : array_like
            Times [s]. Before the first and after the last keyframe the path holds still.

        Returns
        -------
        tuple of ndarray
            Three arrays of the shape of `times`.
        """
        t = np.asarray(times, dtype=np.float64)
        index = np.clip(np.searchsorted(self.times, t, side="right") - 1, 0, self.times.size - 2)
        inside = (t >= self.times[0]) & (t <= self.times[-1])
        x = np.where(inside, t - self.times[index], 0.0)
        jerk = np.diff(self.acceleration)[index] / np.diff(self.times)[index]
        a, v, s = self.acceleration[index], self.velocity[index], self.displacement[index]
        acceleration = np.where(inside, a + jerk * x, 0.0)
        velocity = np.where(inside, v + x * (a + 0.5 * jerk * x), 0.0)
        displacement = s + x * (v + x * (0.5 * a + jerk * x / 6.0))
        displacement = np.where(t < self.times[0], self.displacement[0], displacement)
        return np.where(t > self.times[-1], self.displacement[-1], displacement), velocity, acceleration


@dataclass(frozen=True, kw_only=True)
class Rounding:
    """Signs that keyframe values were rounded to a step.

    Attributes
    ----------
    step : float or None
        The step that all values are whole multiples of, counted from the first [m or rad]; None if there is
        none, or if the path does not move.
    acceleration_noise : float
        Root mean square of the acceleration that rounding to the step adds to the reconstruction, between and
        at the keyframes; 0 without a step.
    peak_acceleration : float
        Largest reconstructed acceleration, for comparison.
    jerk_ratio : float
        Root mean square change of the jerk from one stretch to the next, over that of the jerk. A sine with N
        samples a period has 2 pi/N; pure rounding noise has 1.92 (derived here, like the noise in
        `rounding`).
    visible : bool
        True where the noise is more than a tenth of the peak and the jerk confirms it: the keyframes need
        more digits, or fewer samples.
    """

    step: float | None
    acceleration_noise: float
    peak_acceleration: float
    jerk_ratio: float
    visible: bool


@dataclass(frozen=True, kw_only=True)
class SamplingLine:
    """The vibration a head adds by playing samples back without smoothing: a line at the sampling rate.

    Attributes
    ----------
    frequency : float
        Where the line lies [Hz]: the sampling rate.
    acceleration : float
        Amplitude of the line [m/s^2 or rad/s^2], at the worst moment of the path.
    displacement : float
        The same as a displacement [m or rad].
    """

    frequency: float
    acceleration: float
    displacement: float


def keyframe_path(times: ArrayLike, values: ArrayLike, *, ends: Ends = "rest") -> KeyframePath:
    """Reconstruct a path with continuous velocity and acceleration from uneven keyframes.

    Parameters
    ----------
    times : array_like, (n,)
        Increasing times [s]; n at least 2 for "rest", 4 for "free".
    values : array_like, (n,)
        Displacement [m] or angle [rad] at those times.
    ends : {"rest", "free"}
        "rest": the move starts and stops from a standstill. "free": the curve simply runs on at both ends
        (not-a-knot); a velocity left at an end then means that the head starts or stops with a jolt.

    Returns
    -------
    KeyframePath
        Values, velocities and accelerations at the keyframes.

    Notes
    -----
    The cubic spline through the values with continuous second derivative. Its error falls with the fourth
    power of the spacing for the displacement and with the second for the acceleration (C. de Boor, *A
    Practical Guide to Splines*, from memory). What happens between keyframes faster than their spacing is not
    known to anyone.
    """
    # Loading it takes longer than a whole check without keyframes.
    from scipy.interpolate import CubicSpline  # type: ignore[import-untyped]

    if ends not in ("rest", "free"):
        raise ArgumentError(f'ends: given "{ends}"; allowed are "rest" and "free".')
    t = increasing_times(times, least=2 if ends == "rest" else 4)
    y = _values(values, t)
    spline = CubicSpline(t, y, bc_type=((1, 0.0), (1, 0.0)) if ends == "rest" else "not-a-knot")
    return KeyframePath(
        times=t,
        displacement=y,
        velocity=np.asarray(spline(t, 1), dtype=np.float64),
        acceleration=np.asarray(spline(t, 2), dtype=np.float64),
        ends=ends,
    )


def rounding(path: KeyframePath) -> Rounding:
    """Look for a rounding step in keyframe values, and say what it does to the acceleration.

    Parameters
    ----------
    path : KeyframePath
        From `keyframe_path`.

    Returns
    -------
    Rounding
        Step, noise and ratios.

    Notes
    -----
    The step is the smallest difference between any two different values, if all differences are whole
    multiples of it to within a thousandth, and at least three different multiples occur from sample to sample
    (a constant speed alone is no sign of rounding). A finer grid that is hit only at multiples is not seen.

    Rounding adds an error of step/sqrt(12) to each value, independent of the next once the path moves by more
    than a step between samples. On evenly spaced samples the cubic spline turns white noise of the values,
    sigma, into an acceleration noise at the knots of 6 sigma/h^2. Derived here from the spline's own
    equations M_(k-1) + 4 M_k + M_(k+1) = 6 (y_(k-1) - 2 y_k + y_(k+1))/h^2: at the phase theta from sample to
    sample M/y = -6 (1 - cos theta)/(2 + cos theta)/h^2, whose mean square over all phases is 36/h^4. On
    uneven samples h is taken as the fourth-power mean that 1/h^2 calls for.
    """
    y, t = path.displacement, path.times
    step: float | None = None
    # Values that are equal but for their last bits are one level.
    gaps = np.diff(np.unique(y))
    gaps = gaps[gaps > 1e-12 * max(1e-300, float(np.abs(y).max()))]
    if gaps.size and y.size >= 4:
        smallest = float(gaps.min())
        multiples = (y - y[0]) / smallest
        # Even steps of a constant speed fit a grid too; rounding shows as several different whole increments.
        increments = np.unique(np.abs(np.diff(np.round(multiples))))
        if float(np.abs(multiples - np.round(multiples)).max()) < 1e-3 and increments.size >= 3:
            step = smallest
    h = np.diff(t)
    noise = 0.0
    if step is not None:
        noise = float(step / np.sqrt(12.0) * _SPLINE_NOISE * np.sqrt((h**-4.0).mean()))
    peak = float(np.abs(path.acceleration).max())
    jerk = np.diff(path.acceleration) / h
    size = float(np.sqrt((jerk**2).mean()))
    ratio = float(np.sqrt((np.diff(jerk) ** 2).mean())) / size if jerk.size > 1 and size > 0.0 else 0.0
    return Rounding(
        step=step,
        acceleration_noise=noise,
        peak_acceleration=peak,
        jerk_ratio=ratio,
        visible=noise > 0.1 * peak and ratio > 1.0,
    )


def sampling_line(
    *,
    sampling_rate: float,
    peak_velocity: float,
    peak_acceleration: float,
    playback: Playback = "linear",
) -> SamplingLine:
    """Give the excitation that a head adds when it joins samples by straight lines or jumps between them.

    Parameters
    ----------
    sampling_rate : float
        Samples a second that the head is sent [Hz].
    peak_velocity, peak_acceleration : float
        Of the path [m/s or rad/s, m/s^2 or rad/s^2]; not negative.
    playback : {"linear", "hold"}
        "linear": constant speed from sample to sample. "hold": each sample is held until the next.

    Returns
    -------
    SamplingLine
        The first line, at the sampling rate. Lines at its multiples k follow, as large in acceleration for
        "linear", k times as large for "hold".

    Notes
    -----
    Derived here. Joined by straight lines, the velocity jumps by a h at each sample, h the spacing: a row of
    impulses whose mean is the acceleration a and whose first harmonic is 2 a. Held, the error is a sawtooth
    of height v h, whose first harmonic is v h/pi as a displacement, 4 pi v/h as an acceleration. Both for a
    path that changes little over one sample.
    """
    rate = positive_number("sampling_rate", sampling_rate, "Hz")
    for name, value in (("peak_velocity", peak_velocity), ("peak_acceleration", peak_acceleration)):
        if not (np.isfinite(value) and value >= 0.0):
            raise ArgumentError(f"{name}: given {value:g}; it has to be a finite number, not negative.")
    if playback == "linear":
        acceleration = 2.0 * peak_acceleration
    elif playback == "hold":
        acceleration = 4.0 * np.pi * peak_velocity * rate
    else:
        raise ArgumentError(f'playback: given "{playback}"; allowed are "linear" and "hold".')
    return SamplingLine(
        frequency=rate,
        acceleration=acceleration,
        displacement=acceleration / (2.0 * np.pi * rate) ** 2,
    )


def steady_amplitude(
    *,
    angular_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    driving_angular_frequency: ArrayLike,
    acceleration: ArrayLike,
) -> FloatArray:
    """Give the amplitude that a mode reaches when its base is shaken by a lasting sine.

    Parameters
    ----------
    angular_frequency : array_like, (..., m)
        Undamped angular frequencies of the modes [rad/s].
    damping_ratio : array_like
        Share of critical damping, 0 <= value < 1.
    driving_angular_frequency : array_like
        Of the sine [rad/s].
    acceleration : array_like
        Its amplitude [m/s^2].

    Returns
    -------
    ndarray, (..., m)
        acceleration/abs(omega^2 - driving^2 + 2 i zeta omega driving) [m], for a participation of 1. An upper
        bound for a drive that does not last: near resonance it takes 1/(2 pi zeta) periods to build up.
        Infinity for an undamped mode driven exactly at its frequency.
    """
    omega, zeta = oscillator(angular_frequency, damping_ratio)
    drive = np.asarray(driving_angular_frequency, dtype=np.float64)
    size = np.abs(np.asarray(acceleration, dtype=np.float64))
    stiffness = np.abs(omega**2 - drive**2 + 2j * zeta * omega * drive)
    size, stiffness = np.broadcast_arrays(size, stiffness)
    result = np.full(size.shape, np.inf)
    np.divide(size, stiffness, out=result, where=stiffness > 0.0)
    return result


def _values(values: ArrayLike, times: NDArray[np.float64]) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    if array.shape != times.shape:
        raise ArgumentError(f"values: given shape {array.shape}; wanted one for each of {times.size} times.")
    if not np.isfinite(array).all():
        raise ArgumentError(f"values: sample {int(np.argmin(np.isfinite(array)))} is not a finite number.")
    return array
