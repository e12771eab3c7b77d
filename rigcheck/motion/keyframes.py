"""A move given as keyframes: its velocity and acceleration, and what its sampling adds of its own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError
from rigcheck.motion._checks import FloatArray, increasing_times, positive_number

__all__ = [
    "KeyframePath",
    "Rounding",
    "SamplingLine",
    "chord_error",
    "keyframe_path",
    "rounding",
    "sampling_line",
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
    if ends not in ("rest", "free"):
        raise ArgumentError(f'ends: given "{ends}"; allowed are "rest" and "free".')
    t = increasing_times(times, least=2 if ends == "rest" else 4)
    y = _values(values, t)
    velocity, acceleration = _at_rest(t, y) if ends == "rest" else _running_on(t, y)
    return KeyframePath(times=t, displacement=y, velocity=velocity, acceleration=acceleration, ends=ends)


def _at_rest(times: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Velocity and acceleration at the keyframes, at rest at both ends.

    With the accelerations M, spacings h and slopes d, continuous velocity asks for ``h_(k-1) M_(k-1) + 2 (h_(k-1) +
    h_k) M_k + h_k M_(k+1) = 6 (d_k - d_(k-1))``, a slope of zero standing beyond either end. A tridiagonal system,
    symmetric and positive definite; scipy's own spline does the same, but takes longer to load than a whole check.
    """
    from scipy.linalg import solveh_banded  # type: ignore[import-untyped]

    h = np.diff(times)
    slope = np.diff(values) / h
    bands = np.zeros((2, times.size))
    bands[0, 1:] = h
    bands[1, :-1] = 2.0 * h
    bands[1, 1:] += 2.0 * h
    jumps = np.diff(slope, prepend=0.0, append=0.0)
    acceleration = np.asarray(solveh_banded(bands, 6.0 * jumps, check_finite=False), dtype=np.float64)
    velocity = np.zeros_like(values)
    velocity[1:-1] = slope[1:] - h[1:] * (2.0 * acceleration[1:-1] + acceleration[2:]) / 6.0
    return velocity, acceleration


def _running_on(times: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The same where the curve runs on at both ends (not-a-knot)."""
    from scipy.interpolate import CubicSpline  # type: ignore[import-untyped]

    spline = CubicSpline(times, values, bc_type="not-a-knot")
    return np.asarray(spline(times, 1), dtype=np.float64), np.asarray(spline(times, 2), dtype=np.float64)


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


def chord_error(
    path: KeyframePath, *, per_stretch: int = 8, most: int = 25_000
) -> tuple[FloatArray, FloatArray]:
    """Give how far a head is off the path that joins its keyframes by straight lines.

    Parameters
    ----------
    path : KeyframePath
        From `keyframe_path`.
    per_stretch : int
        Samples from one keyframe to the next. Straight between 8 of them the error is good to 1.6 % of its height.
    most : int
        Stretches looked at, about the largest acceleration, where there are more.

    Returns
    -------
    times, error : ndarray, (n,)
        [s] and straight line less path [m or rad]; zero at every keyframe.

    Notes
    -----
    Over a stretch h of acceleration a the error is a parabola a h^2/8 high. As an excitation it is a row of velocity
    jumps a h, whose spectrum has a line 2 a high at the sampling rate and at each of its multiples: see
    `sampling_line`.
    """
    count = path.times.size - 1
    first = int(np.clip(int(np.abs(path.acceleration).argmax()) - most // 2, 0, max(0, count - most)))
    knots = path.times[first : first + most + 1]
    share = np.arange(per_stretch) / per_stretch
    times = np.append((knots[:-1, None] + np.diff(knots)[:, None] * share).ravel(), knots[-1])
    return times, np.interp(times, path.times, path.displacement) - path.at(times)[0]


def _values(values: ArrayLike, times: NDArray[np.float64]) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    if array.shape != times.shape:
        raise ArgumentError(f"values: given shape {array.shape}; wanted one for each of {times.size} times.")
    if not np.isfinite(array).all():
        raise ArgumentError(f"values: sample {int(np.argmin(np.isfinite(array)))} is not a finite number.")
    return array
