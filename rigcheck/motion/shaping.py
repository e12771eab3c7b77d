"""Timing a move so that it arrives still: input shapers, durations on a null, shortest still durations."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.motion._checks import FloatArray, increasing_times, oscillator, positive, positive_number
from rigcheck.motion.profiles import Profile

__all__ = [
    "Shaper",
    "StillDurations",
    "convolved",
    "durations_to_try",
    "insensitivity_width",
    "lowest_durations",
    "residual_envelope",
    "shaper_factor",
    "shaper_residual",
    "still_durations",
    "zv_shaper",
    "zvd_shaper",
]

_Function = Callable[[FloatArray], FloatArray]

_PER_PERIOD = 64  # durations tried in a period of a mode; a null lies a period from the next, or more
_MOST = 1 << 16  # durations tried at most
_STEPS = 60  # halvings of a bracket, down to the last bits
_HARMONIC_ORDERS = 8  # derivatives of harmonic pieces that the envelope takes one by one


@dataclass(frozen=True, kw_only=True)
class Shaper:
    """A sequence of impulses: the shaped move is the sum of delayed, scaled copies of the move.

    Attributes
    ----------
    times : ndarray, (k,)
        Delays [s], the first 0, increasing.
    amplitudes : ndarray, (k,)
        Shares; their sum is 1, so that the move ends where it did.
    """

    times: FloatArray
    amplitudes: FloatArray

    @property
    def delay(self) -> float:
        """How much longer the shaped move takes [s]."""
        return float(self.times[-1])


@dataclass(frozen=True, kw_only=True)
class StillDurations:
    """How long a move has to last to arrive still.

    Attributes
    ----------
    first : float
        Shortest duration whose residual is within the limit [s]; longer ones may exceed it again.
    until : float
        Where the stretch of still durations that begins at `first` ends [s]: how lucky `first` is.
    always : float
        From here on every longer duration is within the limit [s].
    """

    first: float
    until: float
    always: float


def zv_shaper(*, angular_frequency: float, damping_ratio: float) -> Shaper:
    """Give the two-impulse shaper that leaves no vibration at one frequency (zero vibration).

    Parameters
    ----------
    angular_frequency : float
        Undamped angular frequency [rad/s], above 0.
    damping_ratio : float
        Share of critical damping, 0 <= value < 1.

    Returns
    -------
    Shaper
        Impulses 1/(1 + K) and K/(1 + K), half a damped period apart.

    Notes
    -----
    K = exp(-pi zeta/sqrt(1 - zeta^2)).

    References
    ----------
    N. C. Singer and W. P. Seering, "Preshaping command inputs to reduce system vibration", Journal of Dynamic
    Systems, Measurement, and Control 112 (1990), pp. 76-82 (formulas from memory; the tests check what they
    do).

    Examples
    --------
    >>> zv_shaper(angular_frequency=10.0, damping_ratio=0.0).amplitudes.tolist()
    [0.5, 0.5]
    """
    return _binomial_shaper(1, angular_frequency, damping_ratio)


def zvd_shaper(*, angular_frequency: float, damping_ratio: float) -> Shaper:
    """Give the three-impulse shaper whose residual has no slope either (zero vibration and derivative).

    Parameters
    ----------
    angular_frequency, damping_ratio
        As in `zv_shaper`.

    Returns
    -------
    Shaper
        Impulses 1, 2 K, K^2 over (1 + K)^2, half a damped period apart. Twice the delay of `zv_shaper`.

    References
    ----------
    As in `zv_shaper`.
    """
    return _binomial_shaper(2, angular_frequency, damping_ratio)


def convolved(*shapers: Shaper) -> Shaper:
    """Give the shaper that does what all the given ones do, one after another: one for each mode.

    Parameters
    ----------
    *shapers : Shaper
        At least one.

    Returns
    -------
    Shaper
        Its delay is the sum of the delays; impulses at the same moment are joined.
    """
    if not shapers:
        raise ArgumentError("convolved: give at least one shaper.")
    times, amplitudes = shapers[0].times, shapers[0].amplitudes
    for other in shapers[1:]:
        times = (times[:, None] + other.times).ravel()
        amplitudes = (amplitudes[:, None] * other.amplitudes).ravel()
    times, place = np.unique(times, return_inverse=True)
    joined = np.zeros(times.size)
    np.add.at(joined, place.ravel(), amplitudes)
    return Shaper(times=times, amplitudes=joined)


def shaper_residual(shaper: Shaper, *, angular_frequency: ArrayLike, damping_ratio: ArrayLike) -> FloatArray:
    """Give the vibration that a shaper leaves, as a share of what a single impulse at its end would leave.

    Parameters
    ----------
    shaper : Shaper
        The impulses.
    angular_frequency : array_like, (..., m)
        True undamped angular frequencies [rad/s]; not those the shaper was made for.
    damping_ratio : array_like
        True share of critical damping, 0 <= value < 1.

    Returns
    -------
    ndarray, (..., m)
        abs(sum A_i exp(lambda (t_last - t_i))), lambda = -zeta omega + i omega_d.

    Notes
    -----
    The same as exp(-zeta omega t_last) sqrt(C^2 + S^2), C = sum A_i exp(zeta omega t_i) cos(omega_d t_i), and
    S with the sine, written so that nothing overflows.
    """
    return np.asarray(
        np.abs(shaper_factor(shaper, angular_frequency=angular_frequency, damping_ratio=damping_ratio))
    )


def shaper_factor(
    shaper: Shaper, *, angular_frequency: ArrayLike, damping_ratio: ArrayLike
) -> NDArray[np.complex128]:
    """Give what a shaper makes of a mode's vibration: its size as in `shaper_residual`, and its phase.

    Parameters
    ----------
    shaper, angular_frequency, damping_ratio
        As in `shaper_residual`.

    Returns
    -------
    ndarray of complex, (..., m)
        sum A_i exp(lambda (t_last - t_i)). Times the complex state q' + (zeta omega + i omega_d) q in which
        the move itself ends, it is the state in which the shaped move ends.
    """
    omega, zeta = oscillator(angular_frequency, damping_ratio)
    exponent = -zeta * omega + 1j * omega * np.sqrt(1.0 - zeta**2)
    terms = shaper.amplitudes * np.exp(exponent[..., None] * (shaper.times[-1] - shaper.times))
    return np.asarray(terms.sum(axis=-1))


def insensitivity_width(
    shaper: Shaper, *, angular_frequency: float, damping_ratio: float, limit: float = 0.05
) -> float:
    """Give how wide a band of frequencies around the design frequency stays within a residual limit.

    Parameters
    ----------
    shaper : Shaper
        The impulses.
    angular_frequency : float
        Frequency the shaper was made for [rad/s].
    damping_ratio : float
        Share of critical damping.
    limit : float
        Residual share allowed, between 0 and 1.

    Returns
    -------
    float
        (highest - lowest frequency)/design frequency of the band around it; 0 if the design frequency itself
        is outside the limit. The band is looked for within 0 and three times the design frequency.

    Notes
    -----
    Undamped, the two-impulse shaper has (4/pi) asin(limit), the three-impulse one (4/pi) asin(sqrt(limit)):
    0.064 and 0.287 at 5 % (derived here; 0.06 and 0.29 are printed in the literature, from memory).
    """
    omega = positive_number("angular_frequency", angular_frequency, "rad/s")
    if not 0.0 < limit < 1.0:
        raise ArgumentError(
            f"limit: given {limit:g}; it is a share of the unshaped vibration, between 0 and 1."
        )

    def excess(ratio: ArrayLike) -> FloatArray:
        return (
            shaper_residual(shaper, angular_frequency=omega * np.asarray(ratio), damping_ratio=damping_ratio)
            - limit
        )

    if excess(1.0)[0] > 0.0:
        return 0.0
    edges = []
    for far in (1e-6, 3.0):
        ratios = np.linspace(1.0, far, 4001)
        outside = np.flatnonzero(excess(ratios) > 0.0)
        if not outside.size:
            edges.append(far)
            continue
        edges.append(
            _crossing(excess, ratios[outside[0] - 1 : outside[0]], ratios[outside[0] : outside[0] + 1])[0]
        )
    return float(abs(edges[1] - edges[0]))


def residual_envelope(
    profile: Profile, *, duration: ArrayLike, angular_frequency: ArrayLike, damping_ratio: ArrayLike
) -> FloatArray:
    """Give a bound on the residual amplitude that has no nulls and falls steadily with the duration.

    Parameters
    ----------
    profile, duration, angular_frequency, damping_ratio
        As in `rigcheck.motion.response.end_state`.

    Returns
    -------
    ndarray, (..., m)
        Bound [stroke]; infinity where omega T is not above 1.5 times the fastest harmonic rate in the
        profile.

    Notes
    -----
    The residual is the sum over piece boundaries of the jump that the particular solution makes there, each
    turned by its own phase. Bounding every derivative's jump by its magnitude gives

    sum over boundaries, k of abs(jump of s^(k + 2)) / (Omega_d Omega^(k + 1)),

    in which the harmonic terms sum to a geometric series, convergent above their rate. Damping between the
    boundaries is left out; it only lowers the residual.
    """
    omega, zeta = oscillator(angular_frequency, damping_ratio)
    time = positive("duration", duration, "s")
    omega = omega * time
    fastest = max(piece.rate for piece in profile.pieces)
    usable = omega > 1.5 * fastest
    safe = np.where(usable, omega, 1.5 * fastest + 1.0)
    total = np.zeros(safe.shape)
    for order, jump in _jumps(profile):
        total += jump / safe ** (order + 1)
    for piece in profile.pieces:
        if piece.rate:  # derivatives of order _HARMONIC_ORDERS and above, at both ends of the piece
            amplitude = float(np.hypot(piece.cosine, piece.sine))
            ratio = piece.rate / safe
            total += 2.0 * amplitude * ratio**_HARMONIC_ORDERS / (safe * (1.0 - ratio))
    return np.where(usable, total / (safe * np.sqrt(1.0 - zeta**2)), np.inf)


def lowest_durations(left: _Function, *, tried: ArrayLike, resolution: float = 0.0) -> FloatArray:
    """Give the durations that leave less than their neighbours.

    Parameters
    ----------
    left : callable
        As in `still_durations`.
    tried : array_like, (k,)
        Increasing durations [s], at least 3, dense enough to see every dip.
    resolution : float
        As in `still_durations`.

    Returns
    -------
    ndarray, (d,)
        The dips [s], each refined by golden section; those at the ends are not counted.
    """
    times = increasing_times(tried, least=3)
    amplitude = left(times)
    dips = np.flatnonzero((amplitude[1:-1] <= amplitude[:-2]) & (amplitude[1:-1] < amplitude[2:])) + 1
    return _golden(left, times[dips - 1], times[dips + 1], _halvings(times, resolution))


def durations_to_try(
    profiles: Sequence[Profile],
    *,
    angular_frequency: ArrayLike,
    damping_ratio: ArrayLike,
    weights: ArrayLike,
    amplitude_limit: float,
    shares: ArrayLike = 1.0,
) -> FloatArray:
    """Give durations from very short ones up to one from which on the residual is certain to keep a limit.

    Parameters
    ----------
    profiles : sequence of Profile
        One for each move that is stretched with the others.
    angular_frequency : array_like, (m,)
        Undamped angular frequencies [rad/s].
    damping_ratio : array_like
        Share of critical damping, 0 <= value < 1.
    weights : array_like, (moves, m)
        What an amplitude of 1 stroke of each move in each mode is worth [m]; signs do not matter.
    amplitude_limit : float
        Limit on the sum of all amplitudes [m].
    shares : array_like, (moves,)
        Duration of each move as a share of the durations given back.

    Returns
    -------
    ndarray, (k,)
        Increasing [s]: in each octave 64 to a period of the fastest mode that can still matter there, by its
        own bound. The last is certain by `residual_envelope`, and so is every longer one.

    Raises
    ------
    ValidityError
        The limit is so small that the durations between cannot all be tried; the message says what to do.
    """
    omega, zeta = oscillator(angular_frequency, damping_ratio)
    limit = positive_number("amplitude_limit", amplitude_limit, "m")
    weight = np.abs(np.asarray(weights, dtype=np.float64))
    if omega.ndim != 1 or weight.shape != (len(profiles), omega.size) or not np.isfinite(weight).all():
        raise ArgumentError(
            f"weights: given shape {weight.shape}; wanted ({len(profiles)}, {omega.size}), all finite."
        )
    part = np.broadcast_to(positive("shares", shares, "of the duration"), (len(profiles),))

    def worth(time: float) -> FloatArray:
        """Bound on what each mode is worth after moves of this duration; infinite where none is known."""
        total = np.zeros(omega.size)
        for shape, row, share in zip(profiles, weight, part, strict=True):
            envelope = residual_envelope(
                shape, duration=time * share, angular_frequency=omega, damping_ratio=zeta
            )
            driven = row > 0.0  # the envelope may be infinite where nothing drives the mode
            total[driven] += row[driven] * envelope[driven]
        return total

    sure = 2.0 * np.pi / float(omega.min())
    while worth(sure).sum() > limit:
        sure *= 1.25
    # A residual is never above 2 strokes: the envelope knows nothing of short moves.
    most = 2.0 * weight.sum(axis=0)
    fastest = 2.0 * np.pi / float(omega.max()) / _PER_PERIOD
    parts, begin, count = [], fastest, 0
    while begin < sure:
        matters = np.minimum(worth(begin), most) > 1e-3 * limit / omega.size
        matters |= omega == omega.min()
        step = 2.0 * np.pi / float(omega[matters].max()) / _PER_PERIOD
        end = min(2.0 * begin, sure)
        pieces = int(np.ceil((end - begin) / step)) + 1
        count += pieces
        if count > _MOST:
            raise ValidityError(
                f"amplitude_limit: {limit:g} m would need durations up to {sure:.3g} s tried every "
                f"{step:.2g} s with the {profiles[0].name} profile. Allow more, or take a smoother profile."
            )
        parts.append(np.linspace(begin, end, pieces, endpoint=False))
        begin = end
    return np.concatenate([*parts, [sure]])


def still_durations(
    left: _Function, *, tried: ArrayLike, limit: float, resolution: float = 0.0
) -> StillDurations:
    """Find out of durations tried in a row from when on what is left of a move keeps within a limit.

    Parameters
    ----------
    left : callable
        Durations (k,) [s] to what each leaves, (k,), in any unit; also called with durations between those
        tried.
    tried : array_like, (k,)
        Increasing durations [s], dense enough to see every crest; see `durations_to_try`.
    limit : float
        In the unit of `left`, above 0.
    resolution : float
        How closely crossings are wanted [s]; as closely as numbers go where it is 0.

    Returns
    -------
    StillDurations
        With infinities where none tried is within the limit, or the last one is not.

    Notes
    -----
    Crossings are refined by bisection, and dips before the first good duration by golden section.
    """
    times = increasing_times(tried)
    if not (np.isfinite(limit) and limit > 0.0):
        raise ArgumentError(f"limit: given {limit:g}; it has to be a finite number above 0.")
    threshold = float(limit)
    amplitude = left(times)
    good = amplitude <= threshold
    steps = _halvings(times, resolution)

    def excess(time: FloatArray) -> FloatArray:
        return left(time) - threshold

    if good.all():
        return StillDurations(first=0.0, until=np.inf, always=0.0)
    bad = np.flatnonzero(~good)
    always = np.inf
    if good[-1]:
        always = float(
            _crossing(excess, times[bad[-1] + 1 : bad[-1] + 2], times[bad[-1] : bad[-1] + 1], steps)[0]
        )
    if good[0]:
        return StillDurations(first=0.0, until=_end(excess, times, good, 0, steps), always=always)
    # A null can dip below the limit between two durations tried: look into every dip before the first good
    # one.
    entry = int(np.flatnonzero(good)[0]) if good.any() else times.size - 1
    inside = times[entry : entry + 1]
    dips = np.flatnonzero(
        (amplitude[1:entry] <= amplitude[: entry - 1]) & (amplitude[1:entry] < amplitude[2 : entry + 1])
    )
    bottoms = _golden(left, times[dips], times[dips + 2], steps)
    deep = np.flatnonzero(left(bottoms) <= threshold) if bottoms.size else dips
    if deep.size:
        inside, before = bottoms[deep[:1]], int(dips[deep[0]])
        first = _crossing(excess, inside, times[before : before + 1], steps)[0]
        until = _crossing(excess, inside, times[before + 2 : before + 3], steps)[0]
        return StillDurations(first=float(first), until=float(until), always=always)
    if not good.any():
        return StillDurations(first=np.inf, until=np.inf, always=np.inf)
    first = _crossing(excess, inside, times[entry - 1 : entry], steps)[0]
    return StillDurations(first=float(first), until=_end(excess, times, good, entry, steps), always=always)


def _halvings(times: FloatArray, resolution: float) -> int:
    """Give how often a bracket between times tried has to be halved to be as narrow as the resolution."""
    if resolution <= 0.0:
        return _STEPS
    widest = 2.0 * float(np.diff(times).max(initial=0.0))
    return min(_STEPS, max(1, int(np.ceil(np.log2(max(widest / resolution, 1.0)))) + 1))


def _end(excess: _Function, times: FloatArray, good: NDArray[np.bool_], entry: int, steps: int) -> float:
    """Give where a row of good durations that begins at `entry` ends; infinity where it does not."""
    bad = np.flatnonzero(~good[entry:])
    if not bad.size:
        return float("inf")
    last = entry + int(bad[0]) - 1
    return float(_crossing(excess, times[last : last + 1], times[last + 1 : last + 2], steps)[0])


def _binomial_shaper(order: int, angular_frequency: float, damping_ratio: float) -> Shaper:
    """Give (1 + K delay)^order/(1 + K)^order, the delay being half a damped period."""
    omega, zeta = oscillator(
        positive_number("angular_frequency", angular_frequency, "rad/s"), float(damping_ratio)
    )
    root = float(np.sqrt(1.0 - zeta[0] ** 2))
    decay = float(np.exp(-np.pi * zeta[0] / root))
    amplitudes = np.ones(1)
    for _ in range(order):
        amplitudes = np.convolve(amplitudes, [1.0, decay])
    return Shaper(
        times=np.arange(order + 1, dtype=np.float64) * (np.pi / (float(omega[0]) * root)),
        amplitudes=amplitudes / (1.0 + decay) ** order,
    )


@lru_cache(maxsize=256)
def _jumps(profile: Profile) -> tuple[tuple[int, float], ...]:
    """List (k, abs(jump of the k-th derivative of the acceleration)) at all piece boundaries."""
    orders = max(len(piece.polynomial) for piece in profile.pieces)
    if any(piece.rate for piece in profile.pieces):
        orders = max(orders, _HARMONIC_ORDERS)
    found = []
    for k in range(orders):
        starts, ends = [], []
        for piece in profile.pieces:
            power = np.polynomial.Polynomial(piece.polynomial or (0.0,)).deriv(k)
            values = [float(power(0.0)), float(power(piece.length))]
            if piece.rate and k < _HARMONIC_ORDERS:
                wave = (piece.cosine - 1j * piece.sine) * (1j * piece.rate) ** k
                values[0] += wave.real
                values[1] += (wave * np.exp(1j * piece.rate * piece.length)).real
            starts.append(values[0])
            ends.append(values[1])
        before, after = [0.0, *ends], [*starts, 0.0]
        found.append((k, float(np.abs(np.subtract(after, before)).sum())))
    return tuple(found)


def _golden(function: _Function, low: FloatArray, high: FloatArray, steps: int = _STEPS) -> FloatArray:
    """Give the place of the smallest value in each bracket, by golden section."""
    share = float(np.sqrt(5.0) - 1.0) / 2.0
    if not low.size:
        return low
    one, two = high - share * (high - low), low + share * (high - low)
    value_one, value_two = function(one), function(two)
    for _ in range(steps + steps // 2):  # one halving is worth 1.44 of these
        left = value_one < value_two
        low, high = np.where(left, low, one), np.where(left, two, high)
        fresh = np.where(left, high - share * (high - low), low + share * (high - low))
        value = function(fresh)
        one, two = np.where(left, fresh, two), np.where(left, one, fresh)
        value_one, value_two = np.where(left, value, value_two), np.where(left, value_one, value)
    return np.asarray(0.5 * (low + high))


def _crossing(
    function: _Function, inside: FloatArray, outside: FloatArray, steps: int = _STEPS
) -> FloatArray:
    """Give where the function rises above 0 between a place inside (not above) and one outside."""
    for _ in range(steps):
        middle = 0.5 * (inside + outside)
        good = function(middle) <= 0.0
        inside, outside = np.where(good, middle, inside), np.where(good, outside, middle)
    return inside
