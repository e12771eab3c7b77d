"""The part of a cleaned track that rings, and the components that fit it.

The part comes from `rigcheck.motion.take_part`, the components from `rigcheck.motion.take_fit`; here they are
brought together: the start is set to where the fit holds, the window grows as long as there is ringing left in
it, and frames that cannot be right are left out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.motion._checks import FloatArray
from rigcheck.motion.take_cleaning import CleanTrack, MatchedMove, stuck_rows
from rigcheck.motion.take_fit import Fit, Selection, fit_given, noise_spectrum, predict, refine, select
from rigcheck.motion.take_part import adjusted_start, dying_swing, on_even_grid, ringing_parts
from rigcheck.motion.take_pencil import candidate_poles

__all__ = [
    "DRIFT_FREQUENCY",
    "ENOUGH_CYCLES",
    "FEW_CYCLES",
    "LEAST_FRAMES",
    "Part",
    "best_part",
    "noise_level",
]

BoolArray = NDArray[np.bool_]

LEAST_FRAMES = 12
"""Fewest frames in which a wobble is looked for."""

FEW_CYCLES = 2.0
"""Cycles below which a swing is hard to tell from drift."""

ENOUGH_CYCLES = 8.0
"""Cycles from which the damping is known well."""

DRIFT_FREQUENCY = 0.2
"""Hz. A swing this slow needs a pendulum of 6 m, or a spring that sags 6 m: g/(2 pi f)^2."""

_FIRST_WINDOW = 1024  # frames fitted first; a poor guess of the frequency survives that long
_LONGEST_SEARCH = 4096  # frames in which new components are looked for
_LONGEST_WINDOW = 16384  # frames fitted at most: by then all is known far better than any cure needs
_STARTS = 4  # rounds of setting the start
_LATE = 0.25  # periods of the main component to wait after the stop
_DEAD = 0.1  # of the noise of one frame: what is left of the ringing no longer tells anything
_OVERDAMPED = 0.3  # damping ratio beyond which it has sunk to a twentieth within one and a half swings
_MISSED = 0.3  # share of a dying swing that lies before the part, from which it is fitted instead
_FAST = 0.03  # damping ratio from which a component can stand for a quiet beginning
_SET_IN = 0.5  # of the largest swing: then it has set in
_QUIET = 0.2  # of the largest swing: under that it is quiet
_BEND = 0.15  # damping ratio beyond which a weak component may be the end of the move


@dataclass(frozen=True, kw_only=True)
class Part:
    """A part of a clean track with its fit.

    Attributes
    ----------
    start, stop : int
        Rows of the clean track, stop excluded.
    used : ndarray, (m,)
        Times since the start of the frames that were fitted [s].
    selection : Selection
        What fits.
    stuck : int
        Frames left out because the point was stuck at an edge.
    earlier : bool
        True where another move follows, and the stop before it tells more than the one after it.
    """

    start: int
    stop: int
    used: FloatArray
    selection: Selection
    stuck: int = 0
    earlier: bool = False


def best_part(cleaned: CleanTrack, track: FloatArray, move: MatchedMove | None, floor: float) -> Part:
    """Fit the part after the last stop, or the stop before the last move where that tells more.

    Parameters
    ----------
    cleaned : CleanTrack
        The track.
    track : ndarray, (m, 2)
        Its positions, less the planned move where that is known.
    move : MatchedMove or None
        The planned move.
    floor : float
        Noise level that is never gone below, such as that of rounding.

    Returns
    -------
    Part
        The part, or as much of it as still rings, with its fit.
    """
    low, high = (0, track.shape[0]) if move is None or move.hold is None else move.hold
    if high - low < LEAST_FRAMES:
        low, high = 0, track.shape[0]
    tried: list[Part] = []
    for start, stop in _parts(cleaned.times[low:high], track[low:high], floor):
        tried.append(_fitted(cleaned, track, low + start, low + stop, low, floor))
        if _told(tried[-1]) >= ENOUGH_CYCLES:
            break
    best = max(tried, key=_told)
    if move is None or not best.selection.fit.poles.size:
        died = _died(cleaned, track, low, high, best, floor)
        best = died or best
    return replace(best, earlier=any(best is other for other in tried[1:]))


def _died(
    cleaned: CleanTrack, track: FloatArray, low: int, high: int, best: Part, floor: float
) -> Part | None:
    """Fit a swing that dies by a law of its own, where the best part has only the end of it or nothing."""
    if best.start - low < LEAST_FRAMES or high - low < LEAST_FRAMES:
        return None
    grid, even = on_even_grid(cleaned.times[low:high], track[low:high])
    begin = min(int(np.searchsorted(grid, cleaned.times[best.start])), grid.size - 1)
    found = dying_swing(even, begin)
    if found is None or begin - found[0] < _MISSED * (found[1] - found[0]):
        return None
    start, stop = np.searchsorted(cleaned.times, grid[np.array(found)] - 0.01 * (grid[1] - grid[0]))
    if stop - start < LEAST_FRAMES:
        return None
    t = cleaned.times[start:stop] - cleaned.times[start]
    chosen = _grown(t, track[start:stop], np.full(2, floor))
    count = chosen.fit.residuals.shape[0]
    if not chosen.fit.poles.size:
        return None
    return Part(start=int(start), stop=int(start) + count, used=t[:count], selection=chosen)


def _parts(times: FloatArray, track: FloatArray, floor: float) -> list[tuple[int, int]]:
    """Give the parts to try, in rows of the track."""
    if times.size < LEAST_FRAMES:
        return [(0, times.size)]
    grid, even = on_even_grid(times, track)
    half = 0.5 * (grid[1] - grid[0])
    parts = []
    for start, stop in ringing_parts(even, floor=floor):
        rows = np.searchsorted(times, [grid[start] - half, grid[stop - 1] + half])
        if rows[1] - rows[0] >= 4:
            parts.append((int(rows[0]), int(rows[1])))
    return parts or [(0, times.size)]


def _told(part: Part) -> float:
    """Give how many cycles of the slowest component are in view; 0 where nothing rings."""
    poles = part.selection.fit.poles
    return float(poles.imag.min()) * part.selection.fit.duration / (2.0 * np.pi) if poles.size else 0.0


def _fitted(cleaned: CleanTrack, track: FloatArray, start: int, stop: int, lowest: int, floor: float) -> Part:
    """Fit a part, set its start to where the fit begins to hold, and leave out frames that cannot be right."""
    times = cleaned.times
    floors = np.full(2, floor)
    if start > lowest and _rings_throughout(times, track, start, stop, lowest, floors):
        start = lowest
    first = start
    for _ in range(_STARTS):
        looked = start
        chosen, begin = _look(times, track, start, stop, floors)
        begin = max(lowest, begin, _onset(chosen.fit, times, start, stop))
        if begin == start or stop - begin < LEAST_FRAMES:
            break
        start = begin
    if start > 0 and chosen.fit.poles.size:
        # The very end of a move hides in the noise; a moment later it is over.
        main = int(np.argmax((np.abs(chosen.fit.amplitudes) ** 2).sum(axis=1)))
        interval = float(np.median(np.diff(times[start:stop])))
        late = max(2.0, _LATE * 2.0 * np.pi / (float(chosen.fit.poles[main].imag) * interval))
        start += int(min(late, (stop - start) // 12))
    elif not chosen.fit.poles.size:
        start = max(first, start)
    t = times[start:stop] - times[start]
    chosen = _grown(t, track[start:stop], floors, known=chosen if start == looked else None)
    count = chosen.fit.residuals.shape[0]
    part = Part(start=start, stop=start + count, used=t[:count], selection=chosen)
    part = _without_stuck(part, cleaned, track, floors)
    part = _without_strays(part, track, floors)
    interval = float(np.median(np.diff(times)))
    rows = np.searchsorted(times, part.used + times[part.start] - 0.01 * interval)
    return replace(part, selection=_above_the_noise(part.selection, part.used, track[rows], floors))


def _look(
    times: FloatArray, track: FloatArray, start: int, stop: int, floors: FloatArray
) -> tuple[Selection, int]:
    """Fit the first frames of a part, and say from which row on the fit holds."""
    near = min(stop, start + _FIRST_WINDOW)
    t, y = times[start:near] - times[start], track[start:near]
    chosen = _first(t, y, floors)
    spread = np.maximum(1.4826 * np.median(np.abs(chosen.fit.residuals), axis=0), np.maximum(floors, 1e-300))
    fit = chosen.fit
    no_wobble = _no_wobble(fit)
    if no_wobble.any():
        # What bends so is the end of the move: go on to where it has sunk into the noise.
        decay = np.maximum(-fit.poles.real[no_wobble], 1.0 / fit.duration)
        over = np.abs(fit.amplitudes[no_wobble]).max(axis=1) / float(spread.min())
        wait = min(float((np.log(np.maximum(over, 1.0)) / decay).max()), 0.5 * fit.duration)
        return chosen, start + int(np.searchsorted(t, wait))
    plain = _without_bends(chosen, t, y, floors).fit
    return chosen, adjusted_start(times, track, start, near, plain, noise=spread)


def _onset(fit: Fit, times: FloatArray, start: int, stop: int) -> int:
    """Give the row where the swing sets in, if it is quiet before: what rings freely never grows.

    A quiet beginning is fitted by components that die fast and cancel; beats, which grow too, are no such.
    """
    if not fit.poles.size or not (-fit.poles.real > _FAST * np.abs(fit.poles)).any():
        return 0
    rows = times[start:stop] - times[start]
    rows = rows[rows <= fit.duration]
    bare = replace(fit, drift=np.zeros_like(fit.drift))
    size = np.hypot(*predict(bare, rows).T)
    energy = (np.abs(fit.amplitudes) ** 2).sum(axis=1) / np.maximum(-fit.poles.real, 0.5 / fit.duration)
    period = 2.0 * np.pi / float(fit.poles.imag[np.argmax(energy)])
    first = int(np.argmax(size >= _SET_IN * size.max()))
    quiet = rows[first] > 0.5 * period and float(np.median(size[:first])) < _QUIET * size.max()
    return start + first if quiet else 0


def _rings_throughout(
    times: FloatArray, track: FloatArray, start: int, stop: int, lowest: int, floors: FloatArray
) -> bool:
    """Say whether it rings from the very first frame on: a take cut to the ringing, in which a gap misled."""
    gaps = np.diff(times[lowest:stop])
    if start - lowest > min(stop - start, _FIRST_WINDOW // 2) or gaps.max() < 1.5 * np.median(gaps):
        return False
    whole, begin = _look(times, track, lowest, stop, floors)
    if begin != lowest:
        return False
    part, _ = _look(times, track, start, stop, floors)
    levels = [noise_level(chosen.fit, chosen.fit.residuals.shape[0]) for chosen in (whole, part)]
    return levels[0] < 1.2 * levels[1]


def _first(times: FloatArray, track: FloatArray, floor: FloatArray) -> Selection:
    """Choose components without any knowledge of them."""
    if times.size < LEAST_FRAMES:
        return select(times, track, np.zeros(0, dtype=np.complex128), floor, most=0)
    return select(times, track, candidate_poles(times, track), floor)


def _grown(
    times: FloatArray, track: FloatArray, floor: FloatArray, *, known: Selection | None = None
) -> Selection:
    """Choose and fit components on ever longer windows, as long as there is ringing left in them.

    `known` is what was found in the first window already. A guess from a short window is near enough for twice
    that window, and so on: the frequency sharpens with the length of the window to the power 3/2. Where the
    ringing has died, the rest of the part is left out.
    """
    longest = min(times.size, _LONGEST_WINDOW)
    window = min(longest, _FIRST_WINDOW)
    t, y = times[:window], track[:window]
    chosen = known or _first(t, y, floor)
    while window < longest:
        found = chosen.fit.poles.size > 0
        if window >= _LONGEST_SEARCH and not found:
            break
        if found and _alive_until(chosen.fit) < float(t[-1]):
            break
        window = min(longest, 2 * window)
        t, y = times[:window], track[:window]
        if window <= _LONGEST_SEARCH:
            none = np.zeros(0, dtype=np.complex128)
            chosen = select(t, y, none, floor, begin=_lengthened(chosen.fit, t))
        else:
            begin = _lengthened(chosen.fit, t)
            chosen = replace(chosen, fit=refine(t, y, begin.poles, begin.degree, floor))
    if chosen.fit.poles.size:
        dead = int(np.searchsorted(t, 1.25 * _alive_until(chosen.fit)))
        dead = max(dead, 64, int(np.searchsorted(t, 4.0 * np.pi / float(chosen.fit.poles.imag.min()))))
        if dead < 0.8 * window:
            t, y = times[:dead], track[:dead]
            chosen = _first(t, y, floor)
    return _wobbles_only(chosen, t, y, floor)


def _lengthened(fit: Fit, times: FloatArray) -> Fit:
    """Give the fit as a beginning for a longer window, in which a growing pole is out of the question."""
    decay = np.maximum(-fit.poles.real, 0.0)
    return replace(fit, poles=-decay + 1j * fit.poles.imag, duration=float(times[-1]))


def _above_the_noise(chosen: Selection, t: FloatArray, y: FloatArray, floor: FloatArray) -> Selection:
    """Take out what stands out of white noise, but not out of the noise at its own frequency.

    The criterion asks for 6 ln(2 n) in units of the noise variance; here it is asked for once more, in units
    of the spectrum of the residuals at the component, as in the ranges.
    """
    while chosen.fit.poles.size:
        fit = _wobbles_only(chosen, t, y, floor).fit
        chosen = replace(chosen, fit=fit)
        if not fit.poles.size:
            break
        power = np.maximum((fit.residuals**2).mean(axis=0), np.maximum(floor**2, 1e-300))
        colour = np.maximum(1.0, noise_spectrum(fit.residuals, t, fit.poles.imag / (2.0 * np.pi)))
        gains = []
        for j in range(fit.poles.size):
            without = fit_given(t, y, np.delete(fit.poles, j), fit.degree, floor)
            more = (without.residuals**2).sum(axis=0) - (fit.residuals**2).sum(axis=0)
            gains.append(float((more / power / colour[:, j]).sum()))
        weakest = int(np.argmin(gains))
        if gains[weakest] >= 6.0 * np.log(2.0 * t.size):
            break
        chosen = replace(chosen, fit=refine(t, y, np.delete(fit.poles, weakest), fit.degree, floor))
    return chosen


def _wobbles_only(chosen: Selection, t: FloatArray, y: FloatArray, floor: FloatArray) -> Selection:
    """Take out what no one would call a wobble: bends that die at once, and slow ones not seen twice."""
    out = _no_wobble(chosen.fit)
    if not out.any():
        return chosen
    return replace(chosen, fit=refine(t, y, chosen.fit.poles[~out], chosen.fit.degree, floor))


def _no_wobble(fit: Fit) -> BoolArray:
    """Mark bends that die at once, and slow swings that are not seen twice."""
    frequencies = np.abs(fit.poles) / (2.0 * np.pi)
    slow = (frequencies < DRIFT_FREQUENCY) & (frequencies * fit.duration < FEW_CYCLES)
    return np.asarray(slow | (-fit.poles.real > _OVERDAMPED * np.abs(fit.poles)))


def _without_bends(chosen: Selection, t: FloatArray, y: FloatArray, floor: FloatArray) -> Selection:
    """Take out heavily damped components beside a stronger one: the end of a move is fitted by such."""
    fit = chosen.fit
    if fit.poles.size < 2:
        return chosen
    decay = np.maximum(-fit.poles.real, 0.5 / fit.duration)
    energy = (np.abs(fit.amplitudes) ** 2).sum(axis=1) / decay
    bends = (-fit.poles.real > _BEND * np.abs(fit.poles)) & (energy < energy.max())
    if not bends.any():
        return chosen
    return replace(chosen, fit=refine(t, y, fit.poles[~bends], fit.degree, floor))


def _alive_until(fit: Fit) -> float:
    """Give when the last component has sunk to a tenth of the noise of one frame [s]."""
    if not fit.poles.size:
        return 0.0
    level = _DEAD * max(noise_level(fit, fit.residuals.shape[0]), 1e-300)
    size = np.abs(fit.amplitudes).max(axis=1)
    decay = np.maximum(-fit.poles.real, 1e-12)
    return float((np.log(np.maximum(size / level, 1.0)) / decay).max())


def noise_level(fit: Fit, count: int) -> float:
    """Give the noise of one frame on one axis.

    Parameters
    ----------
    fit : Fit
        Any.
    count : int
        Frames that were fitted.

    Returns
    -------
    float
        Root of the sum of squared residuals over the degrees of freedom left, as the track.
    """
    freedom = max(1, 2 * count - 6 * fit.poles.size - 2 * fit.drift.shape[0])
    return float(np.sqrt((fit.residuals**2).sum() / freedom))


def _without_stuck(part: Part, cleaned: CleanTrack, track: FloatArray, floor: FloatArray) -> Part:
    """Leave out frames in which the point was stuck at an edge, where the fit of the others says so."""
    rows = slice(part.start, part.stop)
    raw = cleaned.track[rows] + cleaned.shake[rows]
    stuck = stuck_rows(raw)
    free = np.flatnonzero(~stuck)
    if not stuck.any() or free.size < LEAST_FRAMES:
        return part
    t, y = part.used, track[rows]
    origin = float(t[free[0]])
    chosen = _grown(t[free] - origin, y[free], floor)
    if chosen.fit.residuals.shape[0] < free.size or not chosen.fit.poles.size:
        return part
    beyond = predict(chosen.fit, t[stuck] - origin) - y[stuck]
    limit = 3.0 * noise_level(chosen.fit, free.size) + cleaned.step
    if float(np.median(np.abs(beyond).max(axis=1))) <= limit:
        return part
    return Part(
        start=part.start + int(free[0]),
        stop=part.stop,
        used=t[free] - origin,
        selection=chosen,
        stuck=int(stuck.sum()),
    )


def _without_strays(part: Part, track: FloatArray, floor: FloatArray) -> Part:
    """Leave out single frames whose residual noise would not leave once in ten million times."""
    if part.stuck:
        return part
    residuals = part.selection.fit.residuals
    spread = np.maximum(1.4826 * np.median(np.abs(residuals), axis=0), np.maximum(floor, 1e-300))
    stray = np.asarray((np.abs(residuals) > 6.0 * spread).any(axis=1))
    stray &= part.used > 0.0  # the first frame carries the start
    count = int(stray.sum())
    if not count or count > max(1, stray.size // 50):
        return part
    y = track[part.start : part.stop][~stray]
    chosen = part.selection
    fit = refine(part.used[~stray], y, chosen.fit.poles, chosen.fit.degree, floor)
    return replace(part, used=part.used[~stray], selection=replace(chosen, fit=fit))
