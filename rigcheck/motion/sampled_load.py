"""Exact response of modal oscillators to a load that is known at samples and straight between them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError
from rigcheck.motion._checks import FloatArray, increasing_times, oscillator, positive_number

__all__ = ["piecewise_linear_response"]

ComplexArray = NDArray[np.complex128]

_MANY_STEPS = 10_000
_SAMPLES_AT_ONCE = 1 << 16
"""Of all oscillators that are run side by side: 1 MB, which stays in the cache."""
_CLOCK = 1e-9
"""Share of the longest step below which two steps are the same."""


def piecewise_linear_response(
    load: ArrayLike,
    *,
    angular_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    time_step: float | None = None,
    times: ArrayLike | None = None,
    initial: tuple[ArrayLike, ArrayLike] | None = None,
) -> tuple[FloatArray, FloatArray]:
    r"""Give modal displacement and velocity at the samples of a piecewise-linear load.

    Parameters
    ----------
    load : array_like, (..., m, n) or (n,)
        Right-hand side of q'' + 2 zeta omega q' + omega^2 q = load at the samples; for a base acceleration a
        it is minus the participation times a.
    angular_frequency : array_like, (..., m)
        Undamped angular frequencies [rad/s], above 0.
    damping_ratio : array_like
        Share of critical damping, 0 <= value < 1.
    time_step : float, optional
        Spacing of the samples [s]; give this or `times`.
    times : array_like, (n,), optional
        Increasing sample times [s], evenly spaced or not.
    initial : tuple of two array_like, (..., m), optional
        q and q' at the first sample; at rest if absent.

    Returns
    -------
    displacement, velocity : ndarray, (..., m, n)
        q and q' at the samples.

    Raises
    ------
    ArgumentError
        Shapes do not fit, times do not increase, or a value is not finite.

    Notes
    -----
    With z and lambda as in `rigcheck.motion.response` and w = lambda h,

    .. math:: z_{k+1} = e^{w} z_k + h (\varphi_1(w) - \varphi_2(w)) f_k + h \varphi_2(w) f_{k+1},

    where phi_1(w) = (e^w - 1)/w and phi_2(w) = (e^w - 1 - w)/w^2. It is exact for a load that is straight
    between samples, whatever the step: the only error is that of the straight line. The recurrence runs over
    blocks side by side, and their ends are joined afterwards; since abs(e^w) <= 1 nothing grows.

    References
    ----------
    N. C. Nigam and P. C. Jennings, "Calculation of response spectra from strong-motion earthquake records",
    Bulletin of the Seismological Society of America 59 (1969): the same exact step for straight segments, in
    real form (from memory).
    """
    omega, zeta = oscillator(angular_frequency, damping_ratio)
    values = np.asarray(load, dtype=np.float64)
    if values.ndim == 0 or values.shape[-1] < 1 or not np.isfinite(values).all():
        raise ArgumentError(
            f"load: given shape {values.shape}; wanted (..., m, n), all finite, n at least 1."
        )
    count = values.shape[-1]
    steps = _steps(time_step, times, count)
    try:
        shape = np.broadcast_shapes(omega.shape, values.shape[:-1])
    except ValueError:
        raise ArgumentError(
            f"load has shape {values.shape}, angular_frequency {omega.shape}; all but the last axis of "
            "the load have to fit the modes."
        ) from None
    start = _initial_state(initial, omega, zeta, shape)
    displacement, velocity = np.empty((*shape, count)), np.empty((*shape, count))
    omega, zeta = np.broadcast_to(omega, shape), np.broadcast_to(zeta, shape)
    values = np.broadcast_to(values, (*shape, count))
    damped, decay = omega * np.sqrt(1.0 - zeta**2), zeta * omega
    if isinstance(steps, float):
        # As many oscillators side by side as stay in the cache.
        rates, shifts, loads = damped.reshape(-1), decay.reshape(-1), values.reshape(-1, count)
        places, speeds, begins = (
            displacement.reshape(-1, count),
            velocity.reshape(-1, count),
            start.reshape(-1),
        )
        at_once = max(1, _SAMPLES_AT_ONCE // count)
        for first in range(0, rates.size, at_once):
            part = slice(first, first + at_once)
            state = _run_even(-shifts[part] + 1j * rates[part], steps, loads[part], begins[part])
            np.divide(state.imag, rates[part, None], out=places[part])
            np.subtract(state.real, shifts[part, None] * places[part], out=speeds[part])
        return displacement, velocity
    if damped.size > count:  # many short records: step by step, all modes at once
        state = _march(-decay + 1j * damped, steps, values, start)
        np.divide(state.imag, damped[..., None], out=displacement)
        np.subtract(state.real, decay[..., None] * displacement, out=velocity)
        return displacement, velocity
    widths = _Widths(steps)
    for index in np.ndindex(shape):  # few long records: a mode at a time, to spare the memory
        exponent = complex(-decay[index], damped[index])
        state = _scan(exponent, widths, values[index], complex(start[index]))
        np.divide(state.imag, damped[index], out=displacement[index])
        np.subtract(state.real, decay[index] * displacement[index], out=velocity[index])
    return displacement, velocity


def _steps(time_step: float | None, times: ArrayLike | None, count: int) -> FloatArray | float:
    """Give one step for evenly spaced samples, or all of them."""
    if time_step is not None and times is None:
        return positive_number("time_step", time_step, "s")
    if times is None or time_step is not None:
        raise ArgumentError("time_step, times: give one of the two.")
    sample_times = increasing_times(times)
    if sample_times.size != count:
        raise ArgumentError(f"times has {sample_times.size} samples, the load {count}; they have to agree.")
    return np.diff(sample_times)


def _initial_state(
    initial: tuple[ArrayLike, ArrayLike] | None,
    omega: FloatArray,
    zeta: FloatArray,
    shape: tuple[int, ...],
) -> ComplexArray:
    """Give z = q' + (zeta omega + i omega_d) q at the first sample."""
    if initial is None:
        return np.zeros(shape, dtype=np.complex128)
    q, rate = (np.asarray(part, dtype=np.float64) for part in initial)
    if not (np.isfinite(q).all() and np.isfinite(rate).all()):
        raise ArgumentError("initial: displacement and velocity have to be finite numbers.")
    return np.broadcast_to(rate + (zeta * omega + 1j * omega * np.sqrt(1.0 - zeta**2)) * q, shape)


def _phi(w: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
    """Give phi_1(w) = (e^w - 1)/w and phi_2(w) = (e^w - 1 - w)/w^2, by series where abs(w) < 1."""
    w = np.asarray(w, dtype=np.complex128)
    small = np.abs(w) < 1.0
    near = np.where(small, w, 0.0)
    second = np.zeros_like(w)
    for k in reversed(range(20)):  # phi_2 = 1/2! + w/3! + ..., by Horner: 1/(k + 2) [1 + w/(k + 3) ...]
        second = (1.0 + near * second) / (k + 2)
    first = 1.0 + near * second
    far = np.where(small, 1.0, w)
    growth = np.exp(far)
    return np.where(small, first, (growth - 1.0) / far), np.where(
        small, second, (growth - 1.0 - far) / far**2
    )


def _run_even(exponent: ComplexArray, step: float, load: FloatArray, start: ComplexArray) -> ComplexArray:
    """Run z_(k+1) = e^w z_k + forcing with even steps over all samples, in blocks side by side, (modes, n)."""
    modes, count = load.shape
    state = np.empty((modes, count), dtype=np.complex128)
    state[:, 0] = start
    moves = count - 1
    if not moves:
        return state
    w = exponent * step
    first, second = _phi(w)
    blocks = max(1, int(np.sqrt(moves)))
    length = -(-moves // blocks)
    # Row k holds step k of every block of every oscillator, in one piece of memory.
    forcing = np.zeros((modes, blocks * length), dtype=np.complex128)
    np.multiply(((first - second) * step)[:, None], load[:, :-1], out=forcing[:, :moves])
    forcing[:, :moves] += (second * step)[:, None] * load[:, 1:]
    work = np.ascontiguousarray(forcing.reshape(modes, blocks, length).transpose(2, 0, 1))
    growth = np.exp(w)[:, None]
    for k in range(1, length):
        work[k] += growth * work[k - 1]
    # Join: each block begins in the state that the one before left.
    products = np.exp(w * np.arange(1, length + 1)[:, None])
    entry = np.empty((modes, blocks), dtype=np.complex128)
    carried = start
    for block in range(blocks):
        entry[:, block] = carried
        carried = work[-1, :, block] + products[-1] * carried
    work += products[:, :, None] * entry
    state[:, 1:] = work.transpose(1, 2, 0).reshape(modes, -1)[:, :moves]
    return state


def _march(exponent: ComplexArray, steps: FloatArray, load: FloatArray, start: ComplexArray) -> ComplexArray:
    """Run the recurrence step by step for many oscillators side by side."""
    count = load.shape[-1]
    state = np.empty((*exponent.shape, count), dtype=np.complex128)
    state[..., 0] = start
    for k in range(count - 1):
        w = exponent * steps[k]
        first, second = _phi(w)
        growth, before, after = np.exp(w), (first - second) * steps[k], second * steps[k]
        state[..., k + 1] = growth * state[..., k] + before * load[..., k] + after * load[..., k + 1]
    return state


class _Widths:
    """The steps of a record, each different one once: clocks are written to so many digits and repeat themselves."""

    def __init__(self, steps: FloatArray) -> None:
        self.distinct = np.asarray(steps, dtype=np.float64)
        self.place: NDArray[np.intp] | None = None
        if self.distinct.size < _MANY_STEPS:
            return
        # Equal but for the rounding of the clock itself, which moves no sample by more than this.
        unit = _CLOCK * float(self.distinct.max())
        ticks = np.round(self.distinct / unit)
        order = np.argsort(ticks, kind="stable")
        first = np.concatenate([[True], np.diff(ticks[order]) > 0])
        if int(first.sum()) > self.distinct.size // 4:
            return
        self.place = np.empty(self.distinct.size, dtype=np.intp)
        self.place[order] = np.cumsum(first) - 1
        self.distinct = self.distinct[order][first]

    def spread(self, values: ComplexArray) -> ComplexArray:
        """From one value for each different step to one for each step."""
        return values if self.place is None else values[self.place]


def _scan(exponent: complex, widths: _Widths, load: FloatArray, start: complex) -> ComplexArray:
    """Run z_(k+1) = e^w z_k + forcing over all samples, in blocks side by side."""
    count = load.size
    state = np.empty(count, dtype=np.complex128)
    state[0] = start
    if count == 1:
        return state
    w = np.asarray(exponent * widths.distinct, dtype=np.complex128)
    first, second = _phi(w)
    forcing = widths.spread((first - second) * widths.distinct) * load[:-1]
    forcing += widths.spread(second * widths.distinct) * load[1:]
    factor = widths.spread(np.exp(w))
    moves = count - 1
    blocks = max(1, int(np.sqrt(moves)))
    length = -(-moves // blocks)
    padding = blocks * length - moves
    # Column k of these holds step k of every block, in one piece of memory.
    work = np.ascontiguousarray(np.pad(forcing, (0, padding)).reshape(blocks, length).T)
    factors = np.ascontiguousarray(
        np.pad(factor, (0, padding), constant_values=1.0).reshape(blocks, length).T
    )
    products = np.cumprod(factors, axis=0)
    for k in range(1, length):
        work[k] += factors[k] * work[k - 1]
    # Join: each block begins in the state that the one before left.
    ends, spans = work[-1].tolist(), products[-1].tolist()
    entry = np.empty(blocks, dtype=np.complex128)
    carried = start
    for block in range(blocks):
        entry[block] = carried
        carried = ends[block] + spans[block] * carried
    work += products * entry
    state[1:] = work.T.reshape(-1)[:moves]
    return state
