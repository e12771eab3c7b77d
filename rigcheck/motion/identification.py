r"""What wobbles in a take: damped components from the track of one point.

A track is cleaned of what camera and tracker did to it, the planned move is taken out where it is known, the
part after the stop is found, and damped oscillations on both axes of the screen are fitted to it by least
squares (`rigcheck.motion.take_fit`), starting from a matrix pencil (`rigcheck.motion.take_pencil`). Each
number comes with the range that holds the truth nine times in ten, for noise as it is seen in the residuals.

What a camera cannot tell: a frequency f and its images m r - f and m r + f, m = 1, 2 ..., look the same at r
frames a second. Frequencies here are the ones seen, below r/2; `aliases` gives all that fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from rigcheck.errors import ArgumentError
from rigcheck.motion._checks import FloatArray, increasing_times, positive_number
from rigcheck.motion.take_cleaning import CleanTrack, MatchedMove, clean, match_move, stuck_rows
from rigcheck.motion.take_fit import (
    ComplexArray,
    Covariance,
    Fit,
    Selection,
    covariance,
    predict,
    refine,
    select,
)
from rigcheck.motion.take_part import adjusted_start, frame_noise, on_even_grid, ringing_parts
from rigcheck.motion.take_pencil import candidate_poles

__all__ = ["Component", "Identification", "aliases", "identify"]

_LEAST_FRAMES = 12
_FIRST_WINDOW = 1024  # frames fitted first; a poor guess of the frequency survives that long
_LONGEST_SEARCH = 4096  # frames in which new components are looked for
_LONGEST_WINDOW = 16384  # frames fitted at most: by then all is known far better than any cure needs
_STARTS = 3  # rounds of setting the start
_LATE = 0.25  # periods of the main component to wait after the stop
_DEAD = 0.1  # of the noise of one frame: what is left of the ringing no longer tells anything
_FEW_CYCLES, _ENOUGH_CYCLES = 2.0, 8.0
_DRIFT_FREQUENCY = 0.2  # Hz; a swing this slow needs a pendulum of 6 m, or a spring that sags 6 m: g/(2 pi f)^2
_OVERDAMPED = 0.3  # damping ratio beyond which it has sunk to a twentieth within one and a half swings
_BEND = 0.15  # damping ratio beyond which a weak component may be the end of the move
_RESTLESS = 2.5  # times the noise from frame to frame: then the fit leaves more than noise
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


@dataclass(frozen=True, kw_only=True)
class Identification:
    """What was found in a take.

    Attributes
    ----------
    components : tuple of Component
        Largest first.
    start_index, stop_index : int
        First row of the part that was fitted, and the row after its last.
    start_time, stop_time : float
        Times of its first and last frame [s].
    frame_rate : float
        Frames a second [Hz].
    noise : float
        Noise of one frame on one axis [px or mm], degrees of freedom counted.
    residual_rms : float
        Root mean square of what the fit leaves, both axes [px or mm].
    fit : ndarray, (n, 2)
        The fitted track in the coordinates of the positions given, camera shake and planned move put back
        in; NaN in the rows that were not fitted.
    drift_degree : int
        Degree of the polynomial of drift in the part.
    planned_shift : float or None
        How much later than given the planned move was made [s]; None where it was not used.
    order_criterion : str
        How the number of components was chosen, with the figures.
    notes : tuple of str
        What was done to the track and what cannot be known from it, in plain sentences.
    is_noise : bool
        True where nothing was found and what is left looks like noise from frame to frame.
    """

    components: tuple[Component, ...]
    start_index: int
    stop_index: int
    start_time: float
    stop_time: float
    frame_rate: float
    noise: float
    residual_rms: float
    fit: FloatArray
    drift_degree: int
    planned_shift: float | None
    order_criterion: str
    notes: tuple[str, ...]
    is_noise: bool


@dataclass(frozen=True, kw_only=True)
class _Part:
    """A part with its fit: rows of the clean track, those of them used, what was chosen."""

    start: int
    stop: int
    used: FloatArray  # times since the start, of the frames used
    selection: Selection
    stuck: int = 0


def aliases(frequency: float, *, frame_rate: float, highest: float) -> list[float]:
    """Give the true frequencies that look like one frequency at a frame rate.

    Parameters
    ----------
    frequency : float
        As seen [Hz], not negative; above half the frame rate it is folded first.
    frame_rate : float
        Frames a second [Hz], above 0.
    highest : float
        Up to where [Hz], above 0; at most 100,000 frame rates.

    Returns
    -------
    list of float
        m r + f and m r - f for all m from 0, increasing, from 0 to `highest`.

    Notes
    -----
    With a frame every 1/r, cos(2 pi f t) and cos(2 pi (m r +- f) t) are the same numbers (the sampling
    theorem: C. E. Shannon, "Communication in the presence of noise", Proceedings of the IRE 37 (1949) 10-21,
    from memory). A long exposure weakens the higher ones, but does not tell them apart.

    Examples
    --------
    >>> aliases(7.0, frame_rate=24.0, highest=60.0)
    [7.0, 17.0, 31.0, 41.0, 55.0]
    """
    rate = positive_number("frame_rate", frame_rate, "Hz")
    top = positive_number("highest", highest, "Hz")
    if not (np.isfinite(frequency) and frequency >= 0.0):
        raise ArgumentError(f"frequency: given {frequency:g} Hz; it has to be a finite number, not negative.")
    if top > 1e5 * rate:
        raise ArgumentError(
            f"highest: given {top:g} Hz, over 100,000 times the frame rate of {rate:g} Hz; give less."
        )
    seen = frequency % rate
    seen = min(seen, rate - seen)
    orders = np.arange(0.0, np.floor(top / rate) + 2.0)
    both = np.concatenate([orders * rate + seen, orders[1:] * rate - seen])
    # At 0 and at half the rate the two images of neighbouring orders are one.
    return [float(value) for value in np.unique(np.round(both, 12)) if value <= top]


def identify(
    times: ArrayLike,
    positions: ArrayLike,
    *,
    planned: ArrayLike | None = None,
    background: ArrayLike | None = None,
    noise: float | None = None,
    unit: str = "px",
) -> Identification:
    """Find the damped oscillations of a point after its move has stopped.

    Parameters
    ----------
    times : array_like, (n,)
        When each frame was taken [s], increasing; uneven times and gaps are allowed. n at least 4.
    positions : array_like, (n, 2)
        Where the point is on screen [px or mm]; NaN in frames without a position.
    planned : array_like, (n, 2), optional
        Where it should be on screen at these times. Time, size, turn and mirroring are matched to the track.
    background : array_like, (n, 2), optional
        Positions of a fixed point: camera shake, taken off.
    noise : float, optional
        Noise of one frame on one axis, where it is known [as positions]. The ranges never go below what it
        means.
    unit : str
        Of the positions, for the notes.

    Returns
    -------
    Identification
        Components with ranges, the part used, and what cannot be known.

    Raises
    ------
    ArgumentError
        A shape does not fit, times do not increase, or fewer than 4 frames have a position.

    Notes
    -----
    The ranges come from the Jacobian of the fit with the noise seen in the residuals at each component's
    frequency, times Student's t. They hold for noise and drift; they do not cover a support whose damping or
    frequency changes with the amplitude, for which the numbers are means over the part.
    """
    t = increasing_times(times, least=4)
    y = _track("positions", positions, t.size)
    still = None if background is None else _track("background", background, t.size)
    intended = None if planned is None else _track("planned", planned, t.size)
    if intended is not None and not np.isfinite(intended).all():
        raise ArgumentError("planned: not all are finite numbers; give the intended path at every frame.")
    least_noise = 0.0 if noise is None else positive_number("noise", noise, unit)

    cleaned = clean(t, y, still)
    if cleaned.rows.size < 4:
        raise ArgumentError(
            f"positions: only {cleaned.rows.size} of {t.size} frames have a position; at least 4 are needed."
        )
    notes = _cleaning_notes(cleaned)
    track, rows = cleaned.track, cleaned.rows
    move: MatchedMove | None = None
    if intended is not None:
        move = match_move(cleaned.times, track, intended[rows])
        notes += _move_notes(move)
        if move is not None:
            track = track - move.path
    floor = max(0.3 * cleaned.step, 0.3 * least_noise, 1e-9 * float(np.ptp(track, axis=0).max()))
    part = _best_part(cleaned, track, move, floor)
    frame_rate = 1.0 / float(np.median(np.diff(cleaned.times)))
    fit = part.selection.fit
    level = _noise_level(fit, part.used.size)
    spread = covariance(fit, part.used, least_noise=least_noise) if fit.poles.size else []
    limit = max(level, least_noise)
    components = [
        _component(pole, amplitude, spread[j], fit.duration)
        for j, (pole, amplitude) in enumerate(zip(fit.poles, fit.amplitudes, strict=True))
    ]
    own_noise = max(frame_noise(track[part.start : part.stop]), floor, least_noise)
    restless = level > _RESTLESS * own_noise and not part.stuck
    components.sort(key=lambda component: -component.amplitude)

    stretch = slice(part.start, part.stop)
    whole = np.full_like(y, np.nan)
    model = predict(fit, cleaned.times[stretch] - cleaned.times[part.start]) + cleaned.shake[stretch]
    whole[rows[stretch]] = model if move is None else model + move.path[stretch]
    return Identification(
        components=tuple(components),
        start_index=int(rows[part.start]),
        stop_index=int(rows[part.stop - 1]) + 1,
        start_time=float(cleaned.times[part.start]),
        stop_time=float(cleaned.times[part.stop - 1]),
        frame_rate=frame_rate,
        noise=level,
        residual_rms=float(np.sqrt((fit.residuals**2).mean())),
        fit=whole,
        drift_degree=fit.degree,
        planned_shift=None if move is None else move.shift,
        order_criterion=_criterion(part.selection),
        notes=tuple(notes + _part_notes(part, cleaned, components, frame_rate, limit, restless, unit)),
        is_noise=not components and not restless,
    )


def _track(name: str, values: ArrayLike, count: int) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    if array.shape != (count, 2):
        raise ArgumentError(
            f"{name}: given an array of shape {array.shape}; wanted ({count}, 2), x and y for each time."
        )
    if np.isinf(array).any():
        raise ArgumentError(f"{name}: holds an infinite number; mark frames without a position by NaN.")
    return array


def _best_part(cleaned: CleanTrack, track: FloatArray, move: MatchedMove | None, floor: float) -> _Part:
    """Fit the part after the last stop; where nothing rings there, the one before the last move."""
    low, high = (0, track.shape[0]) if move is None or move.hold is None else move.hold
    if high - low < _LEAST_FRAMES:
        low, high = 0, track.shape[0]
    best: _Part | None = None
    for start, stop in _parts(cleaned.times[low:high], track[low:high], floor):
        part = _fitted(cleaned, track, low + start, low + stop, low, floor)
        if best is None or (_told(part) > _told(best)):
            best = part
        if _told(best) >= _FEW_CYCLES:
            break
    assert best is not None  # there is always a part
    return best


def _parts(times: FloatArray, track: FloatArray, floor: float) -> list[tuple[int, int]]:
    """Give the parts to try, in rows of the track."""
    if times.size < _LEAST_FRAMES:
        return [(0, times.size)]
    grid, even = on_even_grid(times, track)
    half = 0.5 * (grid[1] - grid[0])
    parts = []
    for start, stop in ringing_parts(even, floor=floor):
        rows = np.searchsorted(times, [grid[start] - half, grid[stop - 1] + half])
        if rows[1] - rows[0] >= 4:
            parts.append((int(rows[0]), int(rows[1])))
    return parts or [(0, times.size)]


def _told(part: _Part) -> float:
    """Give how many cycles of the slowest component are in view; 0 where nothing rings."""
    poles = part.selection.fit.poles
    return float(poles.imag.min()) * part.selection.fit.duration / (2.0 * np.pi) if poles.size else 0.0


def _fitted(
    cleaned: CleanTrack, track: FloatArray, start: int, stop: int, lowest: int, floor: float
) -> _Part:
    """Fit a part, set its start to where the fit begins to hold, and leave out frames that cannot be right."""
    times = cleaned.times
    floors = np.full(2, floor)
    if start > lowest and _rings_throughout(times, track, start, stop, lowest, floors):
        start = lowest
    first = start
    for _ in range(_STARTS):
        chosen, begin = _look(times, track, start, stop, floors)
        begin = max(lowest, begin)
        if begin == start or stop - begin < _LEAST_FRAMES:
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
    chosen = _grown(t, track[start:stop], floors)
    count = chosen.fit.residuals.shape[0]
    part = _Part(start=start, stop=start + count, used=t[:count], selection=chosen)
    part = _without_stuck(part, cleaned, track, floors)
    return _without_strays(part, track, floors)


def _look(
    times: FloatArray, track: FloatArray, start: int, stop: int, floors: FloatArray
) -> tuple[Selection, int]:
    """Fit the first frames of a part, and say from which row on the fit holds."""
    near = min(stop, start + _FIRST_WINDOW)
    t, y = times[start:near] - times[start], track[start:near]
    chosen = _without_bends(_first(t, y, floors), t, y, floors)
    spread = np.maximum(1.4826 * np.median(np.abs(chosen.fit.residuals), axis=0), np.maximum(floors, 1e-300))
    return chosen, adjusted_start(times, track, start, near, chosen.fit, noise=spread)


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
    levels = [_noise_level(chosen.fit, chosen.fit.residuals.shape[0]) for chosen in (whole, part)]
    return levels[0] < 1.2 * levels[1]


def _first(times: FloatArray, track: FloatArray, floor: FloatArray) -> Selection:
    """Choose components without any knowledge of them."""
    if times.size < _LEAST_FRAMES:
        return select(times, track, np.zeros(0, dtype=np.complex128), floor, most=0)
    return select(times, track, candidate_poles(times, track), floor)


def _grown(times: FloatArray, track: FloatArray, floor: FloatArray) -> Selection:
    """Choose and fit components on ever longer windows, as long as there is ringing left in them.

    A guess from a short window is near enough for twice that window, and so on: the frequency sharpens with
    the length of the window to the power 3/2. Where the ringing has died, the rest of the part is left out.
    """
    longest = min(times.size, _LONGEST_WINDOW)
    window = min(longest, _FIRST_WINDOW)
    t, y = times[:window], track[:window]
    chosen = _first(t, y, floor)
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


def _wobbles_only(chosen: Selection, t: FloatArray, y: FloatArray, floor: FloatArray) -> Selection:
    """Take out components that no one would call a wobble: bends that die within their first swing."""
    poles = chosen.fit.poles
    heavy = -poles.real > _OVERDAMPED * np.abs(poles)
    if not heavy.any():
        return chosen
    return replace(chosen, fit=refine(t, y, poles[~heavy], chosen.fit.degree, floor))


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
    level = _DEAD * max(_noise_level(fit, fit.residuals.shape[0]), 1e-300)
    size = np.abs(fit.amplitudes).max(axis=1)
    decay = np.maximum(-fit.poles.real, 1e-12)
    return float((np.log(np.maximum(size / level, 1.0)) / decay).max())


def _noise_level(fit: Fit, count: int) -> float:
    """Give the noise of one frame on one axis, degrees of freedom counted."""
    freedom = max(1, 2 * count - 6 * fit.poles.size - 2 * fit.drift.shape[0])
    return float(np.sqrt((fit.residuals**2).sum() / freedom))


def _without_stuck(part: _Part, cleaned: CleanTrack, track: FloatArray, floor: FloatArray) -> _Part:
    """Leave out frames in which the point was stuck at an edge, where the fit of the others says so."""
    rows = slice(part.start, part.stop)
    raw = cleaned.track[rows] + cleaned.shake[rows]
    stuck = stuck_rows(raw)
    free = np.flatnonzero(~stuck)
    if not stuck.any() or free.size < _LEAST_FRAMES:
        return part
    t, y = part.used, track[rows]
    origin = float(t[free[0]])
    chosen = _grown(t[free] - origin, y[free], floor)
    if chosen.fit.residuals.shape[0] < free.size or not chosen.fit.poles.size:
        return part
    beyond = predict(chosen.fit, t[stuck] - origin) - y[stuck]
    limit = 3.0 * _noise_level(chosen.fit, free.size) + cleaned.step
    if float(np.median(np.abs(beyond).max(axis=1))) <= limit:
        return part
    return _Part(
        start=part.start + int(free[0]),
        stop=part.stop,
        used=t[free] - origin,
        selection=chosen,
        stuck=int(stuck.sum()),
    )


def _without_strays(part: _Part, track: FloatArray, floor: FloatArray) -> _Part:
    """Leave out single frames whose residual noise would not leave once in ten million times."""
    if part.stuck:
        return part
    residuals = part.selection.fit.residuals
    spread = np.maximum(1.4826 * np.median(np.abs(residuals), axis=0), np.maximum(floor, 1e-300))
    stray = (np.abs(residuals) > 6.0 * spread).any(axis=1)
    stray[0] = False
    count = int(stray.sum())
    if not count or count > max(1, stray.size // 50):
        return part
    y = track[part.start : part.stop][~stray]
    chosen = part.selection
    fit = refine(part.used[~stray], y, chosen.fit.poles, chosen.fit.degree, floor)
    return replace(part, used=part.used[~stray], selection=replace(chosen, fit=fit))


def _component(
    pole: complex, amplitude: ComplexArray, spread: Covariance, duration: float
) -> Component:
    """Turn a pole and its complex amplitudes into what a person would measure, with ranges."""
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
    frequency, ratio = size / (2.0 * np.pi), decay / size
    major, minor, angle, phase = ellipse
    turn_reach = min(float(reaches[3]), 0.5 * np.pi)
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


def _criterion(selection: Selection) -> str:
    figures = ", ".join(f"{count}: {value:.1f}" for count, value in sorted(selection.tried.items()))
    return (
        "Bayesian information criterion, lowest wins, with 6 numbers for a component and 2 for a degree of "
        f"drift. By number of components: {figures}. Chosen: {selection.fit.poles.size}, with a drift of "
        f"degree {selection.fit.degree}."
    )


def _frames(count: int) -> str:
    return "1 frame" if count == 1 else f"{count} frames"


def _cleaning_notes(cleaned: CleanTrack) -> list[str]:
    notes = []
    if cleaned.lost:
        notes.append(
            f"{_frames(cleaned.lost)} missing or without a position. The fit uses the true times of the "
            "others, so this costs certainty only."
        )
    if cleaned.repeated:
        notes.append(
            f"{_frames(cleaned.repeated)} left out because they repeat the one before. If frames were also "
            "dropped without a trace, the times after them are wrong, and with them frequency and damping."
        )
    if cleaned.jumped:
        notes.append(f"{_frames(cleaned.jumped)} left out because the point jumps away and back in them.")
    return notes


def _move_notes(move: MatchedMove | None) -> list[str]:
    if move is None:
        return ["The planned move does not match the track and was not taken out; the stop was looked for."]
    notes = []
    if abs(move.scale - 1.0) > 0.05:
        notes.append(
            f"On screen the move is {move.scale:.3g} times as large as planned: field width, distance or the "
            "move itself may differ from the rig file."
        )
    if move.hold is None:
        notes.append("The planned move never stops within the take; what is left beside it was searched.")
    return notes


def _part_notes(
    part: _Part,
    cleaned: CleanTrack,
    components: list[Component],
    frame_rate: float,
    noise: float,
    restless: bool,
    unit: str,
) -> list[str]:
    """Say what cannot be known from the part."""
    notes: list[str] = []
    fit = part.selection.fit
    duration = fit.duration
    if cleaned.step > 0.0 and cleaned.step > 0.5 * noise:
        notes.append(
            f"Positions are rounded to {cleaned.step:.3g} {unit}; a wobble smaller than that may not show."
        )
    if part.used.size < _LEAST_FRAMES:
        notes.append(
            f"Only {_frames(part.used.size)} after the stop: too few to find a wobble. Let the camera run on."
        )
    elif not components and restless:
        notes.append(
            f"In the {duration:.3g} s after the stop the point still moves by more than its noise, but not in "
            "a swing that can be told from drift or from the end of the move. Let the camera run on."
        )
    elif not components:
        # What the criterion would just have let pass: a steady wobble of amplitude A takes n A^2/2 off the sum
        # of squares, and 12 ln(2 n) sigma^2 is needed or a little less (derived here).
        least = noise * np.sqrt(2.0 * 6.0 * np.log(2.0 * part.used.size) / part.used.size)
        notes.append(
            f"Nothing rings above the noise of {noise:.2g} {unit} in the {duration:.3g} s after the stop. A "
            f"lasting wobble of more than about {least:.2g} {unit} to either side would have been found; one "
            f"slower than {1.0 / duration:.2g} Hz would look like drift."
        )
    elif restless:
        notes.append(
            f"The fit leaves {noise:.2g} {unit} a frame, well over the noise from frame to frame: frequency or "
            "damping change with the size of the swing, or something else moves the point. The numbers are "
            "means, and the ranges do not cover this."
        )
    if part.stuck:
        notes.append(
            f"{_frames(part.stuck)} left out because the point is stuck at the edge of the track there. The "
            "amplitude is worked out from the rest of the swing."
        )
    elif components and _may_be_stuck(part, cleaned):
        notes.append(
            "The point may be stuck at an edge for part of each swing: then the amplitude is too small, and "
            "frequencies of two and three times the true one may be false."
        )
    for component in components:
        notes += _component_notes(component, duration, frame_rate)
    return notes


def _may_be_stuck(part: _Part, cleaned: CleanTrack) -> bool:
    rows = slice(part.start, part.stop)
    return float(stuck_rows(cleaned.track[rows] + cleaned.shake[rows]).mean()) > 0.4


def _component_notes(component: Component, duration: float, frame_rate: float) -> list[str]:
    name = f"{component.frequency:.3g} Hz"
    notes = []
    images = aliases(component.damped_frequency, frame_rate=frame_rate, highest=2.0 * frame_rate)[1:4]
    others = ", ".join(f"{image:.3g}" for image in images)
    notes.append(
        f"At {frame_rate:.4g} frames a second {name} looks the same as {others} Hz and so on: the camera alone "
        "cannot tell which it is."
    )
    if abs(component.damped_frequency - 0.5 * frame_rate) < max(2.0 / duration, 0.03 * frame_rate):
        notes.append(
            f"{name} is near half the frame rate: every swing is caught at almost the same two places, so "
            "amplitude and direction are poorly known. Film it at another frame rate."
        )
    if component.frequency < _DRIFT_FREQUENCY:
        notes.append(
            f"{name} is slower than props swing on their supports; it may be drift of camera or light."
        )
    if component.cycles < _FEW_CYCLES:
        notes.append(
            f"Fewer than two cycles of {name} are in view: its frequency is rough, and its damping cannot be "
            "told from drift. Let the camera run on after the stop, or strike it harder."
        )
    elif component.cycles < _ENOUGH_CYCLES:
        notes.append(
            f"Only {int(component.cycles)} cycles of {name} are in view: expect the damping to be rough."
        )
    if component.damping_range[0] == 0.0 and component.cycles >= _FEW_CYCLES:
        notes.append(
            f"The damping of {name} is too small to be measured in {duration:.3g} s; it is at most "
            f"{component.damping_range[1]:.2g}."
        )
    return notes
