r"""What wobbles in a take: damped components from the track of one point.

A track is cleaned of what camera and tracker did to it, the planned move is taken out where it is known, the
part after the stop is found, and damped oscillations on both axes of the screen are fitted to it by least
squares (`rigcheck.motion.take_fit`), starting from a matrix pencil (`rigcheck.motion.take_pencil`). Each
number comes with the range that holds the truth nine times in ten, for noise as it is seen in the residuals.

What a camera cannot tell: a frequency f and its images m r - f and m r + f, m = 1, 2 ..., look the same at r
frames a second. Frequencies here are the ones seen, below r/2; `aliases` gives all that fit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rigcheck.errors import ArgumentError
from rigcheck.motion._checks import FloatArray, increasing_times, positive_number
from rigcheck.motion.take_aliases import aliases
from rigcheck.motion.take_cleaning import MatchedMove, clean, match_move
from rigcheck.motion.take_components import Component, component
from rigcheck.motion.take_fit import covariance, predict
from rigcheck.motion.take_merging import merged
from rigcheck.motion.take_notes import cleaning_notes, criterion, move_notes, part_notes
from rigcheck.motion.take_part import frame_noise
from rigcheck.motion.take_search import LEAST_FRAMES, best_part, noise_level

__all__ = ["Component", "Identification", "aliases", "identify"]

_NOTHING = 1e-12  # of a pixel or millimetre: a track without any movement
_RESTLESS = 2.5  # times the noise from frame to frame: then the fit leaves more than noise


@dataclass(frozen=True, kw_only=True)
class Identification:
    """What was found in a take.

    Attributes
    ----------
    components : tuple of Component
        Swings, largest first. One that changes with its size is put together from the parts that fit it.
    parts : tuple of Component
        The damped oscillations that make up the fit, largest first.
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
        True where nothing was found, in frames enough to look, and what is left is noise from frame to frame.
    """

    components: tuple[Component, ...]
    parts: tuple[Component, ...]
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
    notes = cleaning_notes(cleaned)
    track, rows = cleaned.track, cleaned.rows
    move: MatchedMove | None = None
    if intended is not None:
        move = match_move(cleaned.times, track, intended[rows])
        notes += move_notes(move)
        if move is not None:
            track = track - move.path
    # The last digits of the numbers themselves are noise too.
    digits = max(1e-9 * float(np.ptp(track, axis=0).max()), 1e-13 * float(np.abs(cleaned.track).max()))
    floor = max(0.3 * cleaned.step, 0.3 * least_noise, digits, _NOTHING)
    part = best_part(cleaned, track, move, floor)
    frame_rate = 1.0 / float(np.median(np.diff(t)))
    fit = part.selection.fit
    level = noise_level(fit, part.used.size)
    spread = covariance(fit, part.used, least_noise=least_noise) if fit.poles.size else []
    limit = max(level, least_noise)
    parts = [
        component(pole, amplitude, spread[j], duration=fit.duration, frame_rate=frame_rate)
        for j, (pole, amplitude) in enumerate(zip(fit.poles, fit.amplitudes, strict=True))
    ]
    own_noise = max(frame_noise(track[part.start : part.stop]), floor, least_noise)
    restless = level > _RESTLESS * own_noise and not part.stuck
    parts.sort(key=lambda component: -component.amplitude)
    components, changing = merged(parts, duration=fit.duration, noise=limit)

    stretch = slice(part.start, part.stop)
    whole = np.full_like(y, np.nan)
    model = predict(fit, cleaned.times[stretch] - cleaned.times[part.start]) + cleaned.shake[stretch]
    whole[rows[stretch]] = model if move is None else model + move.path[stretch]
    return Identification(
        components=tuple(components),
        parts=tuple(parts),
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
        order_criterion=criterion(part.selection),
        notes=tuple(
            notes + part_notes(part, cleaned, components, frame_rate, limit, restless, changing, unit)
        ),
        is_noise=not components and not restless and part.used.size >= LEAST_FRAMES,
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
