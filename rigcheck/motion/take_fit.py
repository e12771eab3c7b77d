r"""Damped components and a slow drift fitted to a track by least squares.

The track of one point, on both axes of the screen, is taken as

.. math:: y(t) = d(t) + \sum_k \mathrm{Re}\,(a_k e^{\lambda_k t}), \qquad \lambda_k = -\alpha_k + i\omega_k,

with t counted from the start of the part that is fitted, complex amplitudes :math:`a_k` for x and y, poles
shared by both axes, and a polynomial drift d of low degree. Amplitudes and drift enter linearly and are
eliminated at every step (variable projection); only the poles are searched for.

How many components there are is decided by the Bayesian information criterion, with a noise level of its own
for each axis:

.. math:: \mathrm{BIC} = \sum_{axes} n \ln(\mathrm{RSS}/n) + \frac{p \ln(2 n)}{1 - (p + 1)/(2 n)},

p = 6 for a component (frequency, decay, two amplitudes and two phases) and 2 for a degree of the drift. The
denominator, 1 for a long track, keeps a short one from being fitted to its noise; it is the small-sample
correction known from Akaike's criterion, put to this one (our choice). In white noise alone the criterion
admits a component about once in a thousand takes of 100 frames, less often in longer ones: the largest of n/2
ordinates of a periodogram, each a chi-square of four degrees of freedom, exceeds 6 ln(2 n) with about that
chance (derived here; tests hold it).

References
----------
G. H. Golub and V. Pereyra, "Separable nonlinear least squares: the variable projection method and its
applications", Inverse Problems 19 (2003) R1-R26. G. Schwarz, "Estimating the dimension of a model", Annals of
Statistics 6 (1978) 461-464. Both from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.motion._checks import FloatArray

__all__ = [
    "ComplexArray",
    "Covariance",
    "Fit",
    "Selection",
    "covariance",
    "fit_given",
    "noise_spectrum",
    "predict",
    "refine",
    "select",
]

ComplexArray = NDArray[np.complex128]

MOST_COMPONENTS = 6
MOST_DRIFT = 6

_COMPONENT_PARAMETERS = 6
_LEAST_CYCLES = 1.0  # slower than this in the part, and nobody can tell it from drift
_MOST_AMPLITUDE = 5.0  # times the extent of the track; more means two components that cancel
_MOST_GROWTH = 0.5  # exponent of growth over the whole part that noise can fake


@dataclass(frozen=True, kw_only=True)
class Fit:
    """Components and drift that fit a part of a track.

    Attributes
    ----------
    poles : ndarray, (k,)
        -decay + i angular frequency [1/s].
    amplitudes : ndarray, (k, 2)
        Complex amplitudes at the start of the part, for x and y.
    drift : ndarray, (d + 1, 2)
        Coefficients of Legendre polynomials over the part.
    duration : float
        Length of the part [s].
    residuals : ndarray, (n, 2)
        Track less fit.
    bic : float
        The criterion, see the module.
    """

    poles: ComplexArray
    amplitudes: ComplexArray
    drift: FloatArray
    duration: float
    residuals: FloatArray
    bic: float

    @property
    def degree(self) -> int:
        """Degree of the drift."""
        return int(self.drift.shape[0]) - 1


@dataclass(frozen=True, kw_only=True)
class Selection:
    """A fit with the number of components that the criterion calls for.

    Attributes
    ----------
    fit : Fit
        The one chosen.
    tried : dict
        Best value of the criterion for each number of components that was tried.
    """

    fit: Fit
    tried: dict[int, float]


@dataclass(frozen=True, kw_only=True)
class Covariance:
    """Spread of the fitted numbers of one component.

    Attributes
    ----------
    matrix : ndarray, (6, 6)
        Of decay, angular frequency, then real and imaginary amplitude of x, of y.
    freedom : float
        Degrees of freedom behind the noise level.
    """

    matrix: FloatArray
    freedom: float


def predict(fit: Fit, times: FloatArray) -> FloatArray:
    """Give the fitted track at times [s] since the start of the part; shape (n, 2)."""
    return _basis(times, fit.poles, fit.degree, fit.duration)[0] @ _coefficients(fit)


def fit_given(
    times: FloatArray, track: FloatArray, poles: ComplexArray, degree: int, floor: FloatArray
) -> Fit:
    """Fit amplitudes and drift to given poles.

    Parameters
    ----------
    times : ndarray, (n,)
        Since the start of the part [s], increasing.
    track : ndarray, (n, 2)
        Positions.
    poles : ndarray, (k,)
        Poles [1/s].
    degree : int
        Of the drift.
    floor : ndarray, (2,)
        Noise level that is never gone below in the criterion, so that an axis that stands still to the last
        digit does not outweigh all else.

    Returns
    -------
    Fit
        With the poles as given.
    """
    columns, _ = _basis(times, poles, degree, float(times[-1]))
    q, r = _orthonormal(columns)
    coefficients = _solve(r, q.T @ track)
    return _fit(times, track, poles, coefficients, columns, floor)


def refine(
    times: FloatArray,
    track: FloatArray,
    poles: ComplexArray,
    degree: int,
    floor: FloatArray,
    *,
    iterations: int = 25,
) -> Fit:
    """Fit poles, amplitudes and drift, starting from poles that are nearly right.

    Parameters
    ----------
    times, track, poles, degree, floor
        As in `fit_given`.
    iterations : int
        Most steps; it stops when a step changes nothing any more.

    Returns
    -------
    Fit
        The best found. It may be no minimum where two poles run into each other; the criterion then sees to
        it that it is not chosen.

    Notes
    -----
    Damped Gauss-Newton steps on the projected problem, with the Jacobian of Kaufman: the derivatives of the
    fitted track by decay and frequency, less what amplitudes and drift could make good.
    """
    duration = float(times[-1])
    highest = np.pi / float(np.median(np.diff(times)))
    weight = times[:, None]
    columns, powers = _basis(times, poles, degree, duration)
    q, r = _orthonormal(columns)
    coefficients = _solve(r, q.T @ track)
    residuals = track - columns @ coefficients
    cost = float((residuals**2).sum())
    size = float(((track - track.mean(axis=0)) ** 2).sum())
    k = poles.size
    damping = 1e-3
    for _ in range(iterations if k else 0):
        amplitudes = coefficients[:k] + 1j * coefficients[k : 2 * k]
        turned = (weight * powers)[:, :, None] * amplitudes
        jacobian = np.concatenate([-turned.real, -turned.imag], axis=1)  # (n, 2k, 2): decay, frequency
        flat = jacobian.reshape(times.size, -1)
        flat = flat - q @ (q.T @ flat)
        jacobian = flat.reshape(jacobian.shape)
        flat = jacobian.transpose(2, 0, 1).reshape(-1, 2 * k)
        normal = flat.T @ flat
        gradient = flat.T @ residuals.T.reshape(-1)
        scale = np.maximum(normal.diagonal(), 1e-300)
        better = False
        for _ in range(6):
            step = np.linalg.lstsq(normal + damping * np.diag(scale), gradient, rcond=1e-14)[0]
            # Half a cycle over the part at most: beyond that the linear picture means nothing.
            step *= min(1.0, np.pi / max(1e-300, float(np.abs(step).max()) * duration))
            trial = _folded(poles - step[:k] + 1j * step[k:], highest, duration)
            columns, new_powers = _basis(times, trial, degree, duration)
            new_q, r = _orthonormal(columns)
            new_coefficients = _solve(r, new_q.T @ track)
            new_residuals = track - columns @ new_coefficients
            new_cost = float((new_residuals**2).sum())
            if new_cost < cost:
                better = True
                break
            damping *= 10.0
        if not better:
            break
        gain = cost - new_cost
        poles, powers, q = trial, new_powers, new_q
        coefficients, residuals, cost = new_coefficients, new_residuals, new_cost
        damping = max(1e-12, 0.1 * damping)
        # What is left to gain moves no pole by more than a hundredth of its spread.
        if gain <= 1e-4 * cost / times.size or cost <= 1e-24 * size:
            break
    columns, _ = _basis(times, poles, degree, duration)
    return _fit(times, track, poles, coefficients, columns, floor)


def select(
    times: FloatArray,
    track: FloatArray,
    candidates: ComplexArray,
    floor: FloatArray,
    *,
    begin: Fit | None = None,
    most: int = MOST_COMPONENTS,
) -> Selection:
    """Choose how many components there are, and fit them.

    Parameters
    ----------
    times, track
        As in `fit_given`.
    candidates : ndarray, (c,)
        Poles that may be there [1/s], from `rigcheck.motion.take_pencil`. Peaks of the residual spectrum are
        tried beside them.
    floor
        As in `fit_given`.
    begin : Fit, optional
        Where to go on from, for example from a shorter part.
    most : int
        Most components.

    Returns
    -------
    Selection
        The fit of the lowest criterion that was found by adding, one at a time, a component or a degree of
        drift, and then taking away what is not needed.
    """
    room = (2 * times.size - 8) // _COMPONENT_PARAMETERS
    most = max(0, min(most, room))
    if begin is None:
        current = fit_given(times, track, np.zeros(0, dtype=np.complex128), 1, floor)
    else:
        current = refine(times, track, begin.poles, begin.degree, floor)
    tried = {current.poles.size: current.bic}
    extent = float(np.ptp(track, axis=0).max())
    while True:
        degrees = range(current.degree + 1, min(current.degree + 2, _drift_limit(current)) + 1)
        options = [_drifted(times, track, current, degree, floor) for degree in degrees]
        if current.poles.size < most:
            for pole in _most_promising(times, current, candidates):
                option = refine(times, track, np.append(current.poles, pole), current.degree, floor)
                if _sound(option, extent):
                    options.append(option)
        for option in options:
            count = option.poles.size
            tried[count] = min(option.bic, tried.get(count, np.inf))
        best = min(options, key=lambda option: option.bic, default=None)
        if best is None or best.bic >= current.bic:
            break
        current = best
    return Selection(fit=_pruned(times, track, current, floor, tried), tried=tried)


def noise_spectrum(residuals: FloatArray, times: FloatArray, frequencies: FloatArray) -> FloatArray:
    """Give the power of the residuals around some frequencies, over that of white noise of the same size.

    Parameters
    ----------
    residuals : ndarray, (n, 2)
        What the fit leaves.
    times : ndarray, (n,)
        When [s].
    frequencies : ndarray, (k,)
        Where to look [Hz].

    Returns
    -------
    ndarray, (2, k)
        For x and y; 1 for white noise, more where neighbouring residuals hang together at that frequency.

    Notes
    -----
    The cosine sum of the autocorrelation over few lags, weighted with Parzen's window, which cannot become
    negative (G. M. Jenkins and D. G. Watts, *Spectral Analysis and its Applications*, 1968, from memory).
    Missing frames are left out pair by pair.
    """
    step = float(np.median(np.diff(times)))
    places = np.rint((times - times[0]) / step).astype(np.int64)
    count = int(places[-1]) + 1
    lags = int(np.clip(times.size // 10, 3, 24))
    result = np.ones((2, frequencies.size))
    if count > 4 * times.size + 64:
        return result  # more gap than track: no neighbours to speak of
    there = np.zeros(count)
    there[places] = 1.0
    for axis in range(2):
        series = np.zeros(count)
        series[places] = residuals[:, axis]
        power = float(series @ series) / times.size
        if power <= 0.0:
            continue
        for lag in range(1, min(lags, count)):
            pairs = float(there[lag:] @ there[:-lag])
            if pairs < 2.0:
                continue
            correlation = float(series[lag:] @ series[:-lag]) / pairs / power
            x = lag / lags
            window = 1.0 - 6.0 * x**2 * (1.0 - x) if x <= 0.5 else 2.0 * (1.0 - x) ** 3
            result[axis] += 2.0 * window * correlation * np.cos(2.0 * np.pi * frequencies * lag * step)
    return result


def covariance(fit: Fit, times: FloatArray, *, least_noise: float = 0.0) -> list[Covariance]:
    """Give the covariance of each component's numbers.

    Parameters
    ----------
    fit : Fit
        From `refine` or `select`.
    times : ndarray, (n,)
        The same times [s].
    least_noise : float
        Noise level of each axis that is known from elsewhere; the larger of it and the residuals counts.

    Returns
    -------
    list of Covariance
        One for each component.

    Notes
    -----
    H^-1 (sum over axes of s J^T J) H^-1 with J the Jacobian of an axis, H = sum J^T J, and s the variance of
    that axis' residuals (degrees of freedom counted) times the larger of 1 and its spectrum at the
    component's frequency: a component feels the noise of its own frequency only.
    """
    k = fit.poles.size
    columns, powers = _basis(times, fit.poles, fit.degree, fit.duration)
    linear = columns.shape[1]
    turned = (times[:, None] * powers)[:, :, None] * fit.amplitudes
    total = 2 * k + 2 * linear
    axes = []
    for axis in range(2):
        jacobian = np.concatenate([-turned[:, :, axis].real, -turned[:, :, axis].imag, columns], axis=1)
        places = np.concatenate([np.arange(2 * k), 2 * k + axis * linear + np.arange(linear)])
        part = np.zeros((total, total))
        part[np.ix_(places, places)] = jacobian.T @ jacobian
        axes.append(part)
    normal = axes[0] + axes[1]
    # A column of nothing, as the frequency's at half the frame rate exactly, tells nothing: it is left out.
    diagonal = normal.diagonal()
    told = diagonal > 1e-18 * diagonal.max()
    scale = np.where(told, 1.0 / np.sqrt(np.where(told, diagonal, 1.0)), 0.0)
    inverse = np.linalg.pinv(normal * np.outer(scale, scale), rcond=1e-13, hermitian=True) * np.outer(
        scale, scale
    )
    freedom = max(1.0, times.size - linear - k)
    variances = np.maximum((fit.residuals**2).sum(axis=0) / freedom, least_noise**2)
    colour = np.maximum(1.0, noise_spectrum(fit.residuals, times, fit.poles.imag / (2.0 * np.pi)))
    found = []
    for j in range(k):
        middle = sum(variances[axis] * colour[axis, j] * axes[axis] for axis in range(2))
        own = [j, k + j] + [2 * k + axis * linear + part for axis in range(2) for part in (j, k + j)]
        found.append(Covariance(matrix=(inverse @ middle @ inverse)[np.ix_(own, own)], freedom=2.0 * freedom))
    return found


def _basis(
    times: FloatArray, poles: ComplexArray, degree: int, duration: float
) -> tuple[FloatArray, ComplexArray]:
    """Give the columns of the linear problem, and the powers exp(pole t)."""
    # Far outside the part, where only a prediction is asked for, a power may grow without end.
    powers = np.exp(
        np.clip((poles * times[:, None]).real, -700.0, 300.0) + 1j * (poles.imag * times[:, None])
    )
    place = 2.0 * times / duration - 1.0
    drift = np.polynomial.legendre.legvander(place, degree)
    return np.concatenate([powers.real, -powers.imag, drift], axis=1), powers


def _orthonormal(columns: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give q and r, columns = q r, q orthonormal and r an upper triangle.

    Cholesky's factor of the Gram matrix, twice over, is several times as fast as Householder's reflections for
    long thin columns, and as good where the first pass leaves them nearly orthonormal (CholeskyQR2: Y.
    Yamamoto et al., Electronic Transactions on Numerical Analysis 44 (2015) 306-326, from memory). Where it
    does not, because columns are nearly the same, the reflections take over.
    """
    scale = np.sqrt(np.einsum("ij,ij->j", columns, columns))
    if not scale.all():
        return np.linalg.qr(columns)
    q, r = columns / scale, np.diag(scale)
    for last in (False, True):
        gram = q.T @ q
        if last and np.abs(gram - np.eye(gram.shape[0])).max() > 0.1:
            return np.linalg.qr(columns)
        try:
            factor = np.linalg.cholesky(gram).T
        except np.linalg.LinAlgError:
            return np.linalg.qr(columns)
        q, r = q @ np.linalg.inv(factor), factor @ r
    return q, r


def _solve(triangle: FloatArray, right: FloatArray) -> FloatArray:
    """Solve the triangular system; where columns are the same, take the shortest solution."""
    size = np.abs(triangle.diagonal())
    if size.min() > 1e-11 * size.max():
        return np.asarray(np.linalg.solve(triangle, right))
    return np.asarray(np.linalg.lstsq(triangle, right, rcond=1e-11)[0])


def _coefficients(fit: Fit) -> FloatArray:
    return np.concatenate([fit.amplitudes.real, fit.amplitudes.imag, fit.drift])


def _fit(
    times: FloatArray,
    track: FloatArray,
    poles: ComplexArray,
    coefficients: FloatArray,
    columns: FloatArray,
    floor: FloatArray,
) -> Fit:
    k = poles.size
    residuals = track - columns @ coefficients
    n = times.size
    level = np.maximum((residuals**2).sum(axis=0) / n, floor**2)
    parameters = _COMPONENT_PARAMETERS * k + 2 * (columns.shape[1] - 2 * k)
    penalty = parameters * np.log(2.0 * n) / max(0.1, 1.0 - (parameters + 1) / (2.0 * n))
    return Fit(
        poles=poles,
        amplitudes=coefficients[:k] + 1j * coefficients[k : 2 * k],
        drift=coefficients[2 * k :],
        duration=float(times[-1]),
        residuals=residuals,
        bic=float(n * np.log(level).sum() + penalty),
    )


def _folded(poles: ComplexArray, highest: float, duration: float) -> ComplexArray:
    """Bring frequencies back between 0 and half the frame rate, and decay into what can be told."""
    angular = np.abs(poles.imag)
    angular = np.where(angular > highest, 2.0 * highest - angular, angular)
    angular = np.clip(angular, 0.0, highest)
    decay = np.clip(-poles.real, -_MOST_GROWTH / duration, 2.0 * highest)
    return np.asarray(-decay + 1j * angular)


def _drift_limit(fit: Fit) -> int:
    """Allow no drift that could bend as fast as the slowest component swings."""
    if not fit.poles.size:
        return 2
    cycles = float(fit.poles.imag.min()) * fit.duration / (2.0 * np.pi)
    return int(np.clip(cycles, 1, MOST_DRIFT))


def _drifted(times: FloatArray, track: FloatArray, fit: Fit, degree: int, floor: FloatArray) -> Fit:
    return refine(times, track, fit.poles, degree, floor, iterations=6)


def _sound(fit: Fit, extent: float) -> bool:
    """Say whether every component swings at least once in the part, and none only cancels another."""
    if float(np.abs(fit.amplitudes).max()) > _MOST_AMPLITUDE * extent:
        return False
    cycles = fit.poles.imag * fit.duration / (2.0 * np.pi)
    swings = bool((cycles >= _LEAST_CYCLES).all() and (-fit.poles.real < fit.poles.imag).all())
    gaps = np.abs(fit.poles[:, None] - fit.poles) + np.eye(fit.poles.size) * 1e300
    return swings and bool((gaps * fit.duration > 0.2).all())


def _most_promising(times: FloatArray, fit: Fit, candidates: ComplexArray) -> Sequence[complex]:
    """Give the two poles that would take most away from the residuals."""
    duration = fit.duration
    peaks = _spectral_peaks(times, fit.residuals)
    decays = np.array([0.0, 2.0, 8.0, 32.0]) / duration
    guesses = (-decays + 1j * peaks[:, None]).ravel()
    poles = np.concatenate([candidates, guesses])
    poles = poles[poles.imag * duration > 2.0 * np.pi * 0.7]
    if not poles.size:
        return []
    columns, _ = _basis(times, fit.poles, fit.degree, duration)
    q, _ = _orthonormal(columns)
    waves = np.exp(times[:, None] * poles)
    pair = np.stack([waves.real, waves.imag], axis=1)  # (n, 2, c)
    flat = pair.reshape(times.size, -1)
    flat = flat - q @ (q.T @ flat)
    pair = flat.reshape(pair.shape)
    gram = np.einsum("nac,nbc->cab", pair, pair)
    right = np.einsum("nac,nx->cax", pair, fit.residuals)
    trace = np.trace(gram, axis1=1, axis2=2)[:, None, None]
    gain = np.einsum("cax,cax->c", right, np.linalg.solve(gram + (1e-9 * trace + 1e-300) * np.eye(2), right))
    order = np.argsort(gain)[::-1]
    first = complex(poles[order[0]])
    others = [complex(poles[i]) for i in order if abs(poles[i].imag - first.imag) * duration > 3.0]
    return [first, *others[:1]]


def _spectral_peaks(times: FloatArray, residuals: FloatArray, most: int = 3) -> FloatArray:
    """Give the angular frequencies of the highest peaks of the residuals' spectrum."""
    step = float(np.median(np.diff(times)))
    places = np.rint(times / step).astype(np.int64)
    count = min(int(places[-1]) + 1, 8 * times.size + 64)
    series = np.zeros((count, 2))
    inside = places < count
    series[places[inside]] = residuals[inside]
    length = 1 << int(np.ceil(np.log2(2 * count)))
    power = (np.abs(np.fft.rfft(series, length, axis=0)) ** 2).sum(axis=1)
    beyond = np.append(power[1:], 0.0)  # half the frame rate may be a peak itself
    tops = np.flatnonzero((power[1:] >= power[:-1]) & (power[1:] >= beyond[1:])) + 1
    tops = tops[np.argsort(power[tops])[::-1][:most]]
    return np.asarray(2.0 * np.pi * tops / (length * step))


def _pruned(
    times: FloatArray, track: FloatArray, fit: Fit, floor: FloatArray, tried: dict[int, float]
) -> Fit:
    """Take components and degrees of drift away as long as the criterion falls."""
    while True:
        options = [
            refine(times, track, np.delete(fit.poles, j), fit.degree, floor, iterations=8)
            for j in range(fit.poles.size)
        ]
        options += [_drifted(times, track, fit, degree, floor) for degree in range(1, fit.degree)]
        for option in options:
            count = option.poles.size
            tried[count] = min(option.bic, tried.get(count, np.inf))
        best = min(options, key=lambda option: option.bic, default=None)
        if best is None or best.bic >= fit.bic:
            return fit
        fit = best
