"""Finding the part of a take in which the prop rings freely: after the move has stopped.

While a support rings freely its track is a sum of a few damped oscillations and a slow drift; while the head
drives it, it is not. So the part wanted is the longest stretch up to the end that such a sum fits down to the
noise. It is looked for in the whole take in a hundred-odd averaged blocks, and then around the place found in
shorter and shorter blocks, down to single frames.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rigcheck.motion._checks import FloatArray
from rigcheck.motion.take_fit import Fit, predict
from rigcheck.motion.take_pencil import pencil

__all__ = ["adjusted_start", "dying_swing", "frame_noise", "on_even_grid", "ringing_parts"]

BoolArray = NDArray[np.bool_]

_BLOCKS = 128  # a level's view of the take
_LEAST_BLOCKS = 20  # below this any track is fitted by the sum
_STEP = 1.12  # from one length to the next
_ZOOM = 4
_ORDER = 8  # poles of the sum: up to four oscillations
_DRIFT = 1  # degree
_MOST_GROWTH = 6.0  # exponent over the view that noise and a crooked decay can fake; more is no ringing
_SOUND = 8  # blocks whose changes are averaged
_MISFIT = 1.5  # over the noise of the shorter stretches
_HOPELESS = 3.0  # times the noise of one frame
_CLEAR = 4.0  # times the noise of one frame: beyond that the point is clear of its place of rest
_LEAST_HALVES = 6
_SUNK = 0.4  # of the first half swing: what keeps its size, such as a roll out of true, does not die
_STEADY, _MOST_SHRINK = 0.7, 3.0  # from one half swing to the next
_EVEN = 1.6  # from one swing's time to the next
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


def frame_noise(track: FloatArray) -> float:
    """Estimate the noise of one frame from second differences.

    Parameters
    ----------
    track : ndarray, (n, 2)
        Positions at even times.

    Returns
    -------
    float
        Noise of the noisier axis, as the track; too large where it rings near half the frame rate, 0 for fewer
        than three frames.

    Notes
    -----
    The second difference of white noise is sqrt(6) as large, and half of all normal numbers lie within 0.6745
    of their standard deviation. A slow swing of amplitude A adds (2 pi f/rate)^2 A.
    """
    if track.shape[0] < 3:
        return 0.0
    middle = np.median(np.abs(np.diff(track, n=2, axis=0)), axis=0).max()
    return float(middle / (0.6745 * np.sqrt(6.0)))


def ringing_parts(track: FloatArray, *, floor: float) -> list[tuple[int, int]]:
    """Find the parts that damped oscillations and a drift fit down to the noise.

    Parameters
    ----------
    track : ndarray, (n, 2)
        Positions at even times.
    floor : float
        Misfit that does not matter, such as the rounding of the track.

    Returns
    -------
    list of (int, int)
        Start and stop rows, stop excluded. First the part that reaches to the end. Where that is short
        because the take ends in another move, also the longest one before that move.
    """
    n = track.shape[0]
    start = _suffix_start(track, floor)
    parts = [(start, n)]
    if n - start >= max(3 * _LEAST_BLOCKS, n // 4):
        return parts
    best = (0, 0)
    for share in (0.98, 0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3):
        stop = int(share * start)
        if stop < 3 * _LEAST_BLOCKS:
            break
        begin = _suffix_start(track[:stop], floor)
        if stop - begin > best[1] - best[0]:
            best = (begin, stop)
    return [*parts, best] if best[1] - best[0] > n - start else parts


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
    (its standard deviation is 1/sqrt(w)). To move the start later, a fiftieth of the ringing has to
    be missed besides.
    """
    step = float(np.median(np.diff(times[start:stop])))
    slowest = float(fit.poles.imag.min()) if fit.poles.size else 2.0 * np.pi / (20.0 * step)
    width = int(np.clip(0.25 * 2.0 * np.pi / (slowest * step), 5, max(5, (stop - start) // 8)))
    low = max(0, start - (stop - start) // 2 - 4 * width)
    high = min(stop - 4 * width, start + (stop - start) // 2)
    if high <= low or start > high:
        return start
    rows = slice(low, high + width)
    model = predict(fit, times[rows] - times[start])
    drift = predict(_without_components(fit), times[rows] - times[start])
    # Later, where the ringing is large, a real support is not quite linear: a share of it is let pass there.
    allowed = np.minimum(np.abs(model - drift), np.abs(fit.amplitudes).sum(axis=0)).max(axis=0, initial=0.0)
    misses = (track[rows] - model) ** 2
    place = start - low
    if _holds(misses / (noise**2 + (allowed / 50.0) ** 2), width)[place]:
        squares = misses / noise**2
        bad = np.flatnonzero(~_holds(squares, width)[:place])
        begin = int(bad[-1]) + 1 if bad.size else 0
        if begin >= place:
            return start
    else:
        squares = misses / (noise**2 + (allowed / 50.0) ** 2)
        after = np.flatnonzero(_holds(squares, width)[place:])
        begin = place + int(after[0]) if after.size else place
    # A window can hide one bad frame at its head.
    while begin < squares.shape[0] - width and (squares[begin : begin + 2].mean(axis=1) > 9.0).any():
        begin += 1
    return low + begin


def dying_swing(track: FloatArray, start: int) -> tuple[int, int] | None:
    """Find a swing that has died before the end, whatever its law of damping.

    Play or friction can still a swing within seconds; no sum of damped oscillations fits it down to the noise, and
    all that is found is the stillness after it.

    Parameters
    ----------
    track : ndarray, (n, 2)
        Positions at even times.
    start : int
        Row from which the point is still.

    Returns
    -------
    (int, int) or None
        First and last row of at least six half swings about the place of rest that come at nearly even times and
        shrink (those of a move do neither), on the axis or diagonal that shows most of them.
    """
    n = track.shape[0]
    rest = np.median(track[start:], axis=0) if n - start >= 4 else track[-1]
    band = _CLEAR * max(frame_noise(track), 1e-300)
    best: tuple[int, int, int] | None = None
    for angle in np.arange(4) * 0.25 * np.pi:
        along = (track[:n] - rest) @ np.array([np.cos(angle), np.sin(angle)])
        extremes = _extremes(along, band)
        first, last = _shrinking(along, extremes)
        count = last - first + 1
        if count < _LEAST_HALVES or abs(along[extremes[last]]) > _SUNK * abs(along[extremes[first]]):
            continue
        if best is None or count > best[0]:
            best = (count, extremes[first], extremes[last])
    return None if best is None else best[1:]


def _extremes(along: FloatArray, band: float) -> list[int]:
    """Give the row of the largest value between one change of side and the next, all beyond the band."""
    rows = np.flatnonzero(np.abs(along) > band)
    if not rows.size:
        return []
    turns = np.flatnonzero(np.diff(np.sign(along[rows])) != 0) + 1
    return [int(run[np.argmax(np.abs(along[run]))]) for run in np.split(rows, turns)]


def _shrinking(along: FloatArray, extremes: list[int]) -> tuple[int, int]:
    """Give the first and the last of the longest run of extremes that come at nearly even times and shrink."""
    best, first = (0, -1), 0
    for place in range(1, len(extremes)):
        before, here = extremes[place - 1], extremes[place]
        shrinks = _STEADY < abs(along[before] / along[here]) < _MOST_SHRINK
        # Whole swings are compared: of fast ones, half a swing is but a frame or two.
        even = (
            place < first + 3
            or 1.0 / _EVEN < (here - extremes[place - 2]) / (before - extremes[place - 3]) < _EVEN
        )
        if not shrinks:
            first = place
        elif not even:
            first = place - 2
        if place - first > best[1] - best[0]:
            best = (first, place)
    return best


def _holds(squares: FloatArray, width: int) -> BoolArray:
    """Say for each window of rows whether its mean is what noise would leave."""
    sums = np.concatenate([[0.0], np.cumsum(np.minimum(squares.mean(axis=1), 1e12))])
    return np.asarray((sums[width:] - sums[:-width]) / width <= 1.0 + 4.5 / np.sqrt(width))


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
    noise = max(floor, frame_noise(track[-max(64, n // 4) :]))
    low = 0
    while True:
        block = max(1, -(-(n - low) // _BLOCKS))
        view, first = _blocks(track, low, n, block)
        begin, misfit = _suffix_blocks(view, noise, least=_LEAST_BLOCKS)
        start = first + block * begin
        if block == 1 or misfit <= _HOPELESS * noise:
            break
        # Not even the last blocks fit: the stop lies among them.
        low = n - _LEAST_BLOCKS * block * 3 // 2
    while block > 1:  # the same place in shorter blocks, and what rings there too fast for the long ones
        block = max(1, block // _ZOOM)
        reach = block * _BLOCKS // 2
        view, first = _blocks(track, max(0, start - reach), min(n, start + reach), block)
        later = view.shape[0] - (start - first) // block
        if later < _LEAST_BLOCKS or later >= view.shape[0]:
            continue
        start = first + block * _suffix_blocks(view, noise, least=later)[0]
    return _at_the_loudest(track, start, noise)


def _blocks(track: FloatArray, low: int, high: int, block: int) -> tuple[FloatArray, int]:
    """Average the end of a stretch in whole blocks; give them and the row where the first begins."""
    count = min(_BLOCKS, (high - low) // block)
    first = high - count * block
    return track[first:high].reshape(count, block, 2).mean(axis=1), first


def _suffix_blocks(view: FloatArray, noise: float, *, least: int) -> tuple[int, float]:
    """Give the first block of the longest end of the view that the sum fits, and the least misfit of any."""
    n = view.shape[0]
    lengths = [min(n, least)]
    while lengths[-1] < n:
        lengths.append(min(n, max(lengths[-1] + 1, int(lengths[-1] * _STEP))))
    fits = [_misfit(view[n - length :]) for length in lengths]
    lowest = min(misfit for misfit, _ in fits)
    best, size = lengths[0], fits[0][1]
    for length, (misfit, new_size) in zip(lengths, fits, strict=True):
        if misfit <= max(_MISFIT * lowest, _OWN_MISFIT * size, 0.5 * noise):
            best, size = length, new_size
    return n - best, lowest


def _at_the_loudest(track: FloatArray, start: int, noise: float) -> int:
    """Move the start to where it rings most, if that is far behind it.

    A tap that rings for a short while in a long quiet take vanishes in the average of a long block; the
    changes from one short block to the next still show it.
    """
    rows = track.shape[0] - start
    block = 1
    while rows // block >= 4 * _LEAST_BLOCKS:
        count = rows // (block * _SOUND)
        means = track[start : start + count * block * _SOUND].reshape(-1, block, 2).mean(axis=1)
        changes = np.diff(means, axis=0, append=means[-1:])
        loudness = (changes**2).sum(axis=1).reshape(count, _SOUND).mean(axis=1)
        loudest = int(np.argmax(loudness))
        quiet = max(float(np.median(loudness)), float(loudness[:4].max()))
        if loudest > 4 and loudness[loudest] > 4.0 * quiet and loudness[loudest] > noise**2:
            place = start + loudest * block * _SOUND
            low = max(0, place - _BLOCKS // 2 * block)
            view, first = _blocks(track, low, min(track.shape[0], low + _BLOCKS * block), block)
            return first + block * _suffix_blocks(view, noise, least=_LEAST_BLOCKS)[0]
        block *= _ZOOM
    return start


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
    factors = factors[(angle * n > 2.0 * np.pi) & (growth < _MOST_GROWTH / n) & (-growth < 0.5 * angle)]
    factors = factors / np.maximum(np.abs(factors), 1.0)
    powers = factors ** np.arange(n)[:, None]
    columns = np.concatenate([drift, powers.real, powers.imag], axis=1)
    fitted = columns @ np.linalg.lstsq(columns, centred, rcond=1e-10)[0]
    freedom = max(1, 2 * n - 2 * columns.shape[1] - 2 * factors.size)
    return float(np.sqrt(((centred - fitted) ** 2).sum() / freedom)), float(np.sqrt((fitted**2).mean()))
