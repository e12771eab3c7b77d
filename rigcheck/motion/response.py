r"""Exact response of modal oscillators to a rest-to-rest move of their base.

Each mode obeys, with unit participation and the base acceleration a(t) = stroke s''((t - start)/T)/T^2,

.. math:: \ddot q + 2 \zeta \omega \dot q + \omega^2 q = -a(t).

With :math:`\lambda = -\zeta\omega + i\omega_d`, :math:`\omega_d = \omega\sqrt{1 - \zeta^2}` and the complex
state :math:`z = \dot q + (\zeta\omega + i\omega_d) q` this is the first-order equation :math:`\dot z =
\lambda z - a`, from which q = Im z / omega_d and q' = Re z - zeta omega q. Each piece of a `Profile` has a
polynomial and one harmonic term as its acceleration, so z has a closed form in it; nothing is stepped.

Everything runs in unit time u = t/T with Omega = omega T, and scales with the stroke: the functions answer
for a stroke of 1. The units of q are those of the stroke times the participation.
"""

from __future__ import annotations

from collections.abc import Iterator
from copy import copy

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError
from rigcheck.motion._checks import FloatArray, oscillator, positive, positive_number
from rigcheck.motion.profiles import Piece, Profile

__all__ = [
    "decay_extent",
    "end_state",
    "free_decay",
    "peak_bound",
    "unit_displacement",
    "unit_response",
]

ComplexArray = NDArray[np.complex128]

_BLOCK = 1 << 17  # numbers worked on at a time: temporaries of a megabyte stay in the cache


def unit_response(
    profile: Profile,
    *,
    duration: float,
    angular_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    times: ArrayLike,
) -> tuple[FloatArray, FloatArray]:
    """Give the modal displacement and velocity for a move of unit stroke.

    Parameters
    ----------
    profile : Profile
        How the stroke is spread over the duration.
    duration : float
        T [s], above 0.
    angular_frequency : array_like, (..., m)
        Undamped angular frequencies [rad/s], above 0.
    damping_ratio : array_like
        Share of critical damping, 0 <= value < 1; broadcasts with `angular_frequency`.
    times : array_like, (n,)
        Times since the move began [s], in any order. Before 0 the mode is at rest; after T it rings freely.

    Returns
    -------
    displacement, velocity : ndarray, (..., m, n)
        q [stroke] and q' [stroke/s].

    Raises
    ------
    ArgumentError
        An argument is not finite, has the wrong sign or the wrong shape.

    Notes
    -----
    In a piece that begins in state z0 the solution is z = p(x) + (z0 - p(0)) exp(Lambda x) with Lambda =
    lambda T and p the particular solution, a polynomial and a harmonic of the same degree and rate as the
    acceleration. Where abs(Lambda) times the length of the piece is small, or could meet the rate of the
    harmonic (resonance), p grows without bound while z does not; there z is summed as its power series
    instead.

    Error: rounding only, about 1e-14 of the largest response plus 2e-16 Omega for the phase. Checked to 1e-9
    for 0.01 <= Omega <= 1e4 and damping 0 to 0.2. Towards critical damping the error grows as 1/sqrt(1 -
    zeta^2).

    Evenly spaced times are several times faster than uneven ones.
    """
    displacement, velocity = _response(
        profile, duration, angular_frequency, damping_ratio, times, with_velocity=True
    )
    return displacement, velocity


def unit_displacement(
    profile: Profile,
    *,
    duration: float,
    angular_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    times: ArrayLike,
) -> FloatArray:
    """Give the modal displacement alone, in half the time and memory of `unit_response`.

    Parameters
    ----------
    profile, duration, angular_frequency, damping_ratio, times
        As in `unit_response`.

    Returns
    -------
    ndarray, (..., m, n)
        q [stroke].
    """
    return _response(profile, duration, angular_frequency, damping_ratio, times, with_velocity=False)[0]


def end_state(
    profile: Profile, *, duration: ArrayLike, angular_frequency: ArrayLike, damping_ratio: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Give modal displacement and velocity at the moment a move of unit stroke ends.

    Parameters
    ----------
    profile : Profile
        How the stroke is spread over the duration.
    duration : array_like
        T [s], above 0; broadcasts with `angular_frequency`.
    angular_frequency : array_like, (..., m)
        Undamped angular frequencies [rad/s].
    damping_ratio : array_like
        Share of critical damping, 0 <= value < 1.

    Returns
    -------
    displacement, velocity : ndarray, (..., m)
        q [stroke] and q' [stroke/s], ready for `free_decay`.

    Examples
    --------
    A constant-acceleration ramp that lasts a whole period leaves nothing behind:

    >>> from rigcheck.motion.profiles import profile
    >>> ramps = profile("trapezoidal", ramp=0.25)
    >>> q, rate = end_state(ramps, duration=4.0, angular_frequency=2 * np.pi, damping_ratio=0.0)
    >>> bool(abs(q[0]) < 1e-15 and abs(rate[0]) < 1e-14)
    True
    """
    z, omega, zeta, time = _end(profile, duration, angular_frequency, damping_ratio)
    q = z.imag
    return q, (np.sqrt(1.0 - zeta**2) * z.real - zeta * q) * omega / time


def peak_bound(
    profile: Profile,
    *,
    duration: ArrayLike,
    angular_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    samples: int = 96,
) -> FloatArray:
    """Give a close bound on the largest modal displacement during a move of unit stroke.

    Parameters
    ----------
    profile, duration, angular_frequency, damping_ratio
        As in `end_state`.
    samples : int
        Places looked at on the way.

    Returns
    -------
    ndarray, (..., m)
        [stroke].

    Notes
    -----
    The response is the slow lag -a/omega^2 plus an oscillation r = q + a/omega^2. Its amplitude
    ``hypot(r, r'/omega)`` changes slowly against the oscillation itself (it is driven by a'' only), so a few places
    serve whatever the frequency; ``max(abs(a)/omega^2 + amplitude)`` is what q reaches if the phase is at its worst.
    Above the true peak by up to the change of a within half a cycle.
    """
    omega, zeta = oscillator(angular_frequency, damping_ratio)
    time = positive("duration", duration, "s")
    unit_omega, zeta = np.broadcast_arrays(omega * time, zeta)
    edges = np.asarray(profile.boundaries)
    share = np.diff(edges)
    places = np.concatenate(
        [
            start + length * (np.arange(count) + 0.5) / count
            for start, length, count in zip(
                edges, share, np.maximum(8, np.ceil(samples * share)).astype(int), strict=False
            )
        ]
    )
    shape = unit_omega.shape
    value, speed = unit_response(
        profile,
        duration=1.0,
        angular_frequency=unit_omega.reshape(-1),
        damping_ratio=zeta.reshape(-1),
        times=places,
    )
    square = unit_omega.reshape(-1, 1) ** 2
    lag = profile.acceleration(places) / square
    lag_rate = profile.jerk(places) / square
    swing = np.hypot(value + lag, (speed + lag_rate) / np.sqrt(square))
    return np.asarray((np.abs(lag) + swing).max(axis=-1).reshape(shape))


def free_decay(
    displacement: ArrayLike,
    velocity: ArrayLike,
    *,
    angular_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    times: ArrayLike,
    rates: bool = True,
) -> tuple[FloatArray, FloatArray]:
    """Give the free vibration that follows from a displacement and a velocity at time 0.

    Parameters
    ----------
    displacement, velocity : array_like, (..., m)
        q and q' at time 0.
    angular_frequency : array_like, (..., m)
        Undamped angular frequencies [rad/s].
    damping_ratio : array_like
        Share of critical damping, 0 <= value < 1.
    times : array_like, (n,) or (..., n)
        Times [s]. With leading axes they broadcast with those before the mode axis, so that each member of a
        batch can have its own times, for example two periods of its own lowest mode.
    rates : bool
        False leaves q' out, which takes half the time; an empty array stands in its place.

    Returns
    -------
    displacement, velocity : ndarray, (..., m, n)
        q and q' at the times.

    Notes
    -----
    q = exp(-zeta omega t) (q0 cos omega_d t + (q0' + zeta omega q0)/omega_d sin omega_d t).
    """
    omega, zeta = oscillator(angular_frequency, damping_ratio)
    t = np.asarray(times, dtype=np.float64)
    q0, rate0 = np.asarray(displacement, dtype=np.float64), np.asarray(velocity, dtype=np.float64)
    if t.ndim == 0 or not np.isfinite(t).all():
        raise ArgumentError("times: wanted an array (n,) or (..., n) of finite numbers.")
    if not (np.isfinite(q0).all() and np.isfinite(rate0).all()):
        raise ArgumentError("displacement, velocity: not all are finite numbers.")
    try:
        lead = np.broadcast_shapes(omega.shape, q0.shape, rate0.shape, (*t.shape[:-1], 1))
    except ValueError:
        raise ArgumentError(
            f"shapes do not fit: angular_frequency {omega.shape}, displacement {q0.shape}, "
            f"velocity {rate0.shape}, times {t.shape}."
        ) from None
    count = t.shape[-1]
    damped = omega * np.sqrt(1.0 - zeta**2)
    weight = np.broadcast_to((rate0 + zeta * omega * q0) / damped + 1j * q0, lead).ravel()
    exponent = np.broadcast_to(-zeta * omega + 1j * damped, lead).ravel()
    line = None
    if t.ndim > 1:  # to each mode the times of its batch member
        line = np.broadcast_to(np.arange(t[..., 0].size).reshape(*t.shape[:-1], 1), lead).ravel()
    grid = _Grid(t, line)
    q, rate = np.empty((weight.size, count)), np.empty((weight.size, count if rates else 0))
    block = max(1, _BLOCK // max(1, count))
    for first in range(0, weight.size, block):
        part = slice(first, first + block)
        own = exponent[part]
        q[part], real = _oscillation(weight[part], own, grid.rows(part), with_real=rates)
        if rates:
            rate[part] = real
            rate[part] *= own.imag[:, None]
            rate[part] += own.real[:, None] * q[part]
    return q.reshape(*lead, count), rate.reshape(*lead, rate.shape[1])


def decay_extent(
    displacement: ArrayLike,
    velocity: ArrayLike,
    *,
    angular_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    duration: ArrayLike,
) -> FloatArray:
    """Give how far a free vibration goes from one side to the other.

    Parameters
    ----------
    displacement, velocity : array_like, (..., m)
        q and q' at time 0.
    angular_frequency, damping_ratio : array_like, (..., m)
        As in `free_decay`.
    duration : array_like, (..., m)
        Until when it is watched [s], above 0.

    Returns
    -------
    ndarray, (..., m)
        Greatest less least q from time 0 to the duration.

    Notes
    -----
    With ``q = c exp(-zeta omega t) sin(omega_d t + b)`` the velocity is nought where ``omega_d t + b`` is a multiple
    of pi less ``pi/2 + asin zeta``. Every turn is nearer than the one before, so that the first to each side, the
    beginning and the end of the time hold the greatest and the least.
    """
    omega, zeta = oscillator(angular_frequency, damping_ratio)
    time = positive("duration", duration, "s")
    q0, rate0 = np.asarray(displacement, dtype=np.float64), np.asarray(velocity, dtype=np.float64)
    damped = omega * np.sqrt(1.0 - zeta**2)
    sine = (rate0 + zeta * omega * q0) / damped
    size, phase = np.hypot(sine, q0), np.arctan2(q0, sine)
    first = np.mod(-(phase + np.pi / 2 + np.arcsin(zeta)), np.pi) / damped
    turns = (np.minimum(first, time), np.minimum(first + np.pi / damped, time))
    times = np.stack(np.broadcast_arrays(0.0, *turns, time))
    places = size * np.exp(-zeta * omega * times) * np.sin(damped * times + phase)
    return np.asarray(places.max(axis=0) - places.min(axis=0))


def _end(
    profile: Profile, duration: ArrayLike, angular_frequency: ArrayLike, damping_ratio: ArrayLike
) -> tuple[ComplexArray, FloatArray, FloatArray, FloatArray]:
    """Give the state z/Omega_d at the end, with Omega, damping ratio and duration of the same shape."""
    omega, zeta = oscillator(angular_frequency, damping_ratio)
    time = positive("duration", duration, "s")
    try:
        shape = np.broadcast_shapes(omega.shape, time.shape)
    except ValueError:
        raise ArgumentError(
            f"duration has shape {time.shape}, angular_frequency {omega.shape}; they have to broadcast."
        ) from None
    omega = np.broadcast_to(omega * time, shape)
    zeta = np.broadcast_to(zeta, shape)
    exponent, damped = _exponent(omega.ravel(), zeta.ravel())
    state = np.zeros(exponent.shape, dtype=np.complex128)
    for piece in profile.pieces:
        state = _PieceSolution(piece, exponent, damped, state).end()
    return state.reshape(shape), omega, zeta, np.broadcast_to(time, shape)


def _exponent(omega: FloatArray, zeta: FloatArray) -> tuple[ComplexArray, FloatArray]:
    """Give Lambda = Omega (-zeta + i sqrt(1 - zeta^2)) and its imaginary part."""
    damped = omega * np.sqrt(1.0 - zeta**2)
    return -zeta * omega + 1j * damped, damped


class _PieceSolution:
    """z/Omega_d within one piece, for many oscillators (rows) that enter it with the given states."""

    def __init__(self, piece: Piece, exponent: ComplexArray, damped: FloatArray, state: ComplexArray) -> None:
        self.piece = piece
        self.exponent = exponent
        self.state = state
        scale = -1.0 / damped  # of the acceleration: the load is -s'', and the state is kept over Omega_d
        # Where the particular solution would cancel against the free one. With polynomials of degree d its
        # terms reach d!/(Lambda length)^(d + 2); with a harmonic they must stay away from resonance, Lambda =
        # i rate.
        degree = len(piece.polynomial)
        limit = piece.rate * piece.length + 1.0 if piece.rate else (1.0 if degree <= 2 else 3.0)
        self.series = np.flatnonzero(np.abs(exponent) * piece.length <= limit)
        self.closed = np.flatnonzero(np.abs(exponent) * piece.length > limit)
        self._limit, self._scale = limit, scale
        self._particular = self._particular_coefficients(scale)
        start = self._particular[:, 0].copy()
        if piece.rate:
            start += self._particular[:, -2]
        self._free = state[self.closed] - start

    def end(self) -> ComplexArray:
        """Give the states in which the rows leave the piece."""
        states = np.empty_like(self.state)
        total = np.zeros(self.series.size, dtype=np.complex128)
        for term in self._series_terms():  # never all at once: many durations are tried together
            total += term
        states[self.series] = total
        length = np.array([self.piece.length])
        states[self.closed] = (self._particular @ self._basis(length))[:, 0] + self._free * np.exp(
            self.exponent[self.closed] * self.piece.length
        )
        return states

    def write(self, x: FloatArray, imaginary: FloatArray, real: FloatArray | None) -> None:
        """Write Im and Re of z/Omega_d at unit times `x` since the piece began into (rows, n) arrays."""
        if self.series.size:
            coefficients = np.stack(list(self._series_terms()), axis=1)
            powers = _powers(x / self.piece.length, coefficients.shape[1])
            _put(imaginary, self.series, coefficients.imag @ powers)
            if real is not None:
                _put(real, self.series, coefficients.real @ powers)
        if self.closed.size:
            basis = self._basis(x)
            free_imaginary, free_real = _oscillation(
                self._free, self.exponent[self.closed], _Grid(x), with_real=real is not None
            )
            if self._particular.any():
                free_imaginary += self._particular.imag @ basis
            _put(imaginary, self.closed, free_imaginary)
            if real is not None:
                if self._particular.any():
                    free_real += self._particular.real @ basis
                _put(real, self.closed, free_real)

    def _series_terms(self) -> Iterator[ComplexArray]:
        """Give the coefficients of z in powers of x/length: (j + 1) b_(j+1) = length (Lambda b_j + f_j)."""
        piece, length = self.piece, self.piece.length
        if not self.series.size:
            return
        rate, loads = self.exponent[self.series] * length, length * self._scale[self.series]
        largest = max(float(np.abs(rate).max()), piece.rate * length)
        terms = _terms(min(largest, self._limit)) + len(piece.polynomial)
        load = np.zeros(terms)
        load[: len(piece.polynomial)] = np.asarray(piece.polynomial) * length ** np.arange(
            len(piece.polynomial)
        )
        if piece.rate:
            factor = 1.0
            for j in range(terms):  # Taylor terms of the cosine (even) and the sine (odd)
                sign = -1.0 if j % 4 in (2, 3) else 1.0
                load[j] += sign * factor * (piece.sine if j % 2 else piece.cosine)
                factor *= piece.rate * length / (j + 1)
        term = self.state[self.series]
        yield term
        for j in range(terms - 1):
            term = (rate * term + loads * load[j]) / (j + 1)
            yield term

    def _particular_coefficients(self, scale: FloatArray) -> ComplexArray:
        """Give the coefficients of the particular solution on 1, x, x^2 ... and cos, sin of the rate."""
        piece, exponent = self.piece, self.exponent[self.closed]
        degree = len(piece.polynomial)
        columns = max(degree, 1) + (2 if piece.rate else 0)
        result = np.zeros((exponent.size, columns), dtype=np.complex128)
        above: ComplexArray = np.zeros(exponent.size, dtype=np.complex128)
        for k in reversed(range(degree)):  # p' = Lambda p + f, power by power
            above = ((k + 1) * above - piece.polynomial[k] * scale[self.closed]) / exponent
            result[:, k] = above
        if piece.rate:
            # cos(rate x) = (e^(i rate x) + e^(-i rate x))/2 and likewise the sine; f = c e^(i rate x) gives
            # p = c e^(i rate x)/(i rate - Lambda).
            amplitude = 0.5 * (piece.cosine - 1j * piece.sine) * scale[self.closed]
            forward = amplitude / (1j * piece.rate - exponent)
            backward = amplitude.conj() / (-1j * piece.rate - exponent)
            result[:, -2] = forward + backward
            result[:, -1] = 1j * (forward - backward)
        return result

    def _basis(self, x: FloatArray) -> FloatArray:
        """Give 1, x, x^2 ... and cos, sin of the rate at the unit times, one row each."""
        powers = _powers(x, max(len(self.piece.polynomial), 1))
        if not self.piece.rate:
            return powers
        angle = self.piece.rate * x
        return np.vstack([powers, np.cos(angle), np.sin(angle)])


def _terms(radius: float) -> int:
    """Give how many terms of exp(radius) it takes until the rest is below the last bit."""
    count, term = 1, 1.0
    while term > 1e-18 or count < radius:
        term *= radius / count
        count += 1
    return count + 1


def _powers(x: FloatArray, count: int) -> FloatArray:
    """Give x^0 ... x^(count - 1), one row each."""
    rows = np.ones((count, x.size))
    for k in range(1, count):
        np.multiply(rows[k - 1], x, out=rows[k])
    return rows


def _put(target: FloatArray, rows: NDArray[np.intp], values: FloatArray) -> None:
    """Write rows; a plain copy where they are all of them."""
    if rows.size == target.shape[0]:
        target[...] = values
    else:
        target[rows] = values


class _Grid:
    """Times, (n,) for all rows or (k, n) with one line for each row, and their spacing if it is even."""

    def __init__(self, times: FloatArray, line: NDArray[np.intp] | None = None) -> None:
        self.times = times if times.ndim == 1 else times.reshape(-1, times.shape[-1])
        self.count = times.shape[-1]
        self.begin = self.times[..., :1]
        self.step = (self.times[..., -1:] - self.begin) / max(1, self.count - 1)
        self.line = line  # which one each row takes, where there are several
        self.even = False
        if self.count >= 32:  # below that the tables cost more than they save
            drift = np.abs(self.times - (self.begin + self.step * np.arange(self.count))).max(initial=0.0)
            size = max(1.0, float(np.abs(self.times).max(initial=0.0)))
            self.even = bool(drift <= 8.0 * np.finfo(np.float64).eps * size)

    def rows(self, part: slice) -> _Grid:
        """Give the grid of some of the rows."""
        if self.line is None:
            return self
        chosen = copy(self)
        index = self.line[part]
        chosen.begin, chosen.step = self.begin[index], self.step[index]
        chosen.times = self.times if self.even else self.times[index]
        return chosen


def _oscillation(
    weight: ComplexArray, exponent: ComplexArray, grid: _Grid, *, with_real: bool
) -> tuple[FloatArray, FloatArray]:
    """Give Im and (if asked for, else empty) Re of weight exp(exponent x), (rows, n).

    Evenly spaced x split into j = a M + b, so that exp(exponent x_j) is a product of two short tables: two
    multiplications in place of a sine, a cosine and an exponential for each number.
    """
    rate = exponent[:, None]
    if not grid.even:
        values = weight[:, None] * np.exp(rate * grid.times)
        return values.imag, values.real if with_real else np.empty(0)
    count, rows = grid.count, weight.size
    inner = int(np.ceil(np.sqrt(count)))
    outer = -(-count // inner)
    coarse = weight[:, None] * np.exp(rate * (grid.begin + grid.step * (inner * np.arange(outer))))
    fine = np.exp(rate * (grid.step * np.arange(inner)))
    c_re, c_im = coarse.real[:, :, None].copy(), coarse.imag[:, :, None].copy()
    f_re, f_im = fine.real[:, None, :].copy(), fine.imag[:, None, :].copy()
    imaginary = c_re * f_im
    imaginary += c_im * f_re
    imaginary = imaginary.reshape(rows, outer * inner)[:, :count]
    if not with_real:
        return imaginary, np.empty(0)
    real = c_re * f_re
    real -= c_im * f_im
    return imaginary, real.reshape(rows, outer * inner)[:, :count]


def _response(
    profile: Profile,
    duration: float,
    angular_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    times: ArrayLike,
    *,
    with_velocity: bool,
) -> tuple[FloatArray, ...]:
    """Give q and, if asked for, q' at the times."""
    omega, zeta = oscillator(angular_frequency, damping_ratio)
    time = positive_number("duration", duration, "s")
    t = np.asarray(times, dtype=np.float64)
    if t.ndim != 1 or not np.isfinite(t).all():
        raise ArgumentError(f"times: given an array of shape {t.shape}; wanted (n,), all finite, in seconds.")
    order = None if t.size < 2 or bool((t[1:] >= t[:-1]).all()) else np.argsort(t, kind="stable")
    unit = (t if order is None else t[order]) / time
    shape = (*omega.shape, t.size)
    exponent, damped = _exponent((omega * time).ravel(), zeta.ravel())
    # where each piece begins among the times; the last slice is the free vibration
    cuts = [*np.searchsorted(unit, profile.boundaries, side="left").tolist(), t.size]
    rows = exponent.size
    displacement = np.zeros((rows, t.size))
    velocity = np.zeros((rows, t.size)) if with_velocity else None
    block = max(1, _BLOCK // max(1, t.size))
    for first in range(0, rows, block):
        part = slice(first, min(first + block, rows))
        own, own_damped = exponent[part], damped[part]
        state = np.zeros(own.size, dtype=np.complex128)
        for number, piece in enumerate(profile.pieces):
            solution = _PieceSolution(piece, own, own_damped, state)
            low, high = cuts[number], cuts[number + 1]
            if high > low:
                solution.write(
                    unit[low:high] - piece.start,
                    displacement[part, low:high],
                    None if velocity is None else velocity[part, low:high],
                )
            state = solution.end()
        low = cuts[-2]
        if low < t.size:
            imaginary, real = _oscillation(state, own, _Grid(unit[low:] - 1.0), with_real=with_velocity)
            displacement[part, low:] = imaginary
            if velocity is not None:
                velocity[part, low:] = real
        if velocity is not None:  # Re z/Omega_d so far
            velocity[part] *= own_damped[:, None] / time
            velocity[part] += (own.real[:, None] / time) * displacement[part]
    if order is not None:
        back = np.empty_like(order)
        back[order] = np.arange(order.size)
        displacement = displacement[:, back]
        velocity = None if velocity is None else velocity[:, back]
    if velocity is None:
        return (displacement.reshape(shape),)
    return displacement.reshape(shape), velocity.reshape(shape)
