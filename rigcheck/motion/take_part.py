"""Finding the part of a take in which the prop rings freely: after the move has stopped.

While a support rings freely its track is a sum of a few damped oscillations and a slow drift; while the head
drives it, it is not. So the part wanted is the longest stretch up to the end that such a sum fits down to the
noise. It is looked for from coarse to fine: the whole take in a hundred-odd averaged blocks, then the
neighbourhood of the place found in shorter blocks, and so on down to single frames.
"""

from __future__ import annotations

import numpy as np

from rigcheck.motion._checks import FloatArray
from rigcheck.motion.take_fit import Fit, predict
from rigcheck.motion.take_pencil import pencil

__all__ = ["adjusted_start", "last_ringing_part", "on_even_grid"]

_BLOCKS = 128  # a level's view of the take
_LEAST_BLOCKS = 20  # below this any track is fitted by the sum
_STEP = 1.12  # from one length to the next
_ZOOM = 4
_ORDER = 8  # poles of the sum: up to four oscillations
_DRIFT = 1  # degree
_MISFIT = 1.5  # over the noise of the shorter stretches
_OWN_MISFIT = 0.05  # over the size of the ringing itself: real supports are not quite linear


def on_even_grid(times: FloatArray, track: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Bring a track to even times, filling gaps with straight lines.

    Parameters
    ----------
    times : ndarray, (n,)
        Increasing [s].
    track : ndarray, (n, 2)
        Positions.

    Returns
    -------
    grid : ndarray, (m,)
        Even times [s]. A gap so long that the grid would be mostly gap cuts off what lies before it.
    even : ndarray, (m, 2)
        Positions there.
    """
    step = float(np.median(np.diff(times)))
    while times.size > 2 and (times[-1] - times[0]) / step > 4.0 * times.size + 64.0:
        after = int(np.argmax(np.diff(times))) + 1
        if after == times.size - 1:
            times, track = times[:after], track[:after]
        else:
            times, track = times[after:], track[after:]
    count = round(float(times[-1] - times[0]) / step) + 1
    grid = times[0] + step * np.arange(count)
    return grid, np.stack([np.interp(grid, times, track[:, axis]) for axis in range(2)], axis=1)


def last_ringing_part(track: FloatArray, *, floor: float) -> tuple[int, int]:
    """Find the part, up to the end, that damped oscillations and a drift fit down to the noise.

    Parameters
    ----------
    track : ndarray, (n, 2)
        Positions at even times.
    floor : float
        Misfit that does not matter, such as the rounding of the track.

    Returns
    -------
    start, stop : int
        Rows of the part, `stop` excluded. Where the take moves again at its end, `stop` lies before that.
    """
    n = track.shape[0]
    start = _suffix_start(track, floor)
    if n - start >= max(3 * _LEAST_BLOCKS, n // 10):
        return start, n
    # The take ends in a move, or nearly: try whether an earlier end leaves a longer part.
    best = (start, n)
    for share in (0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3):
        stop = int(share * start)
        if stop < 3 * _LEAST_BLOCKS:
            break
        begin = _suffix_start(track[:stop], floor)
        if stop - begin > 1.5 * (best[1] - best[0]):
            best = (begin, stop)
    return best


def adjusted_start(
    times: FloatArray, track: FloatArray, start: int, stop: int, fit: Fit, *, noise: FloatArray
) -> int:
    """Move the start of a part to where the fit begins to hold.

    Parameters
    ----------
    times : ndarray, (n,)
        Of the whole take [s].
    track : ndarray, (n, 2)
        Positions of the whole take.
    start, stop : int
        Rows of the part that was fitted.
    fit : Fit
        Of that part.
    noise : ndarray, (2,)
        Noise level of each axis.

    Returns
    -------
    int
        First row from which the residuals stay what noise would leave, averaged over a quarter of the slowest
        period (five frames at least).

    Notes
    -----
    A mean of 2 w squared normal numbers stays below 1 + 4.5/sqrt(w) but for about one window in a thousand
    (its standard deviation is 1/sqrt(w)). A twelfth of the ringing itself is let pass besides.
    """
    step = float(np.median(np.diff(times[start:stop])))
    slowest = float(fit.poles.imag.min()) if fit.poles.size else 2.0 * np.pi / (20.0 * step)
    width = int(np.clip(0.25 * 2.0 * np.pi / (slowest * step), 5, max(5, (stop - start) // 8)))
    low = max(0, start - (stop - start) // 2 - 4 * width)
    high = min(stop - 4 * width, start + (stop - start) // 2)
    if high <= low:
        return start
    rows = slice(low, high + width)
    model = predict(fit, times[rows] - times[start])
    drift = predict(_without_components(fit), times[rows] - times[start])
    # Before the start a damped component grows without end: no allowance there beyond its size at the start.
    allowed = np.minimum(np.abs(model - drift), np.abs(fit.amplitudes).sum(axis=0))
    size = noise**2 + (allowed.max(axis=0, initial=0.0) / 12.0) ** 2
    squares = ((track[rows] - model) ** 2 / size).mean(axis=1)
    sums = np.concatenate([[0.0], np.cumsum(np.minimum(squares, 1e12))])
    means = (sums[width:] - sums[:-width]) / width  # window that begins at each row
    good = means <= 1.0 + 4.5 / np.sqrt(width)
    place = start - low
    if good[place]:
        bad = np.flatnonzero(~good[:place])
        begin = int(bad[-1]) + 1 if bad.size else 0
    else:
        after = np.flatnonzero(good[place:])
        begin = place + int(after[0]) if after.size else place
    # A window can hide one bad frame at its head.
    while begin < squares.size - width and (squares[begin : begin + 2] > 9.0).any():
        begin += 1
    return low + begin


def _without_components(fit: Fit) -> Fit:
    return Fit(
        poles=fit.poles[:0],
        amplitudes=fit.amplitudes[:0],
        drift=fit.drift,
        duration=fit.duration,
        residuals=fit.residuals,
        bic=fit.bic,
    )


def _suffix_start(track: FloatArray, floor: float) -> int:
    """Give the first row of the longest end of the track that the sum fits."""
    n = track.shape[0]
    block = max(1, -(-n // _BLOCKS))
    low, high = 0, n
    while True:
        count = (high - low) // block
        # Whole blocks, counted from the end.
        first = high - count * block
        view = track[first:high].reshape(count, block, 2).mean(axis=1)
        start = first + block * _suffix_blocks(view, floor)
        if block == 1:
            return start
        finer = max(1, block // _ZOOM)
        reach = _BLOCKS * finer // 2
        low, high = max(0, start - reach), min(n, start + reach)
        if start == first and low == 0 and first < block:
            # All of it fits, down to the first block: there is no stop to look for.
            low, high = 0, min(n, 2 * reach)
        block = finer


def _suffix_blocks(view: FloatArray, floor: float) -> int:
    """Give the first block of the longest end of the view that the sum fits."""
    n = view.shape[0]
    length = min(n, _LEAST_BLOCKS)
    misfit, size = _misfit(view[n - length :])
    levels = [misfit]
    best = length
    while best < n:
        longer = min(n, max(best + 1, int(best * _STEP)))
        misfit, new_size = _misfit(view[n - longer :])
        if misfit > max(_MISFIT * float(np.median(levels)), _OWN_MISFIT * size, floor):
            break
        levels.append(misfit)
        best, size = longer, new_size
    return n - best


def _misfit(view: FloatArray) -> tuple[float, float]:
    """Give the misfit of the sum to a view, degrees of freedom counted, and the size of its oscillations.

    Only poles that swing and do not grow count: a slow bend that could stand for the end of a move must not
    be fitted away.
    """
    n = view.shape[0]
    drift = np.polynomial.legendre.legvander(np.linspace(-1.0, 1.0, n), _DRIFT)
    centred = view - drift @ np.linalg.lstsq(drift, view, rcond=None)[0]
    (factors,) = pencil([centred], (_ORDER,))
    angle, growth = np.angle(factors), np.log(np.maximum(np.abs(factors), 1e-12))
    factors = factors[(angle * n > 2.0 * np.pi) & (growth < 1.0 / n) & (-growth < 0.5 * angle)]
    powers = factors ** np.arange(n)[:, None]
    columns = np.concatenate([drift, powers.real, powers.imag], axis=1)
    fitted = columns @ np.linalg.lstsq(columns, centred, rcond=1e-10)[0]
    freedom = max(1, 2 * n - 2 * columns.shape[1] - 2 * factors.size)
    return float(np.sqrt(((centred - fitted) ** 2).sum() / freedom)), float(np.sqrt((fitted**2).mean()))
