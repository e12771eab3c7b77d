"""A raw track made ready for fitting: lost frames, repeated frames, jumps, camera shake, the planned move."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.motion._checks import FloatArray

__all__ = ["CleanTrack", "MatchedMove", "clean", "match_move", "rounding_step", "stuck_rows"]

IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

_JUMP = 12.0  # a single frame this far out, in medians of what its neighbours do, is a lost point
_MATCHED = 0.8  # share of the track's variance that the planned move has to explain
_HOLD = 24  # frames a stop has to last to be the one looked at
_SHORTEST_HOLD = 12  # frames; in fewer no wobble is looked for
_POINTS = 600  # of the track, for the first look at when the move was made


@dataclass(frozen=True, kw_only=True)
class CleanTrack:
    """A track without what the camera and the tracker did to it.

    Attributes
    ----------
    rows : ndarray of int, (m,)
        Rows of the raw track that are left.
    times : ndarray, (m,)
        Their times [s].
    track : ndarray, (m, 2)
        Positions less camera shake.
    shake : ndarray, (m, 2)
        What was taken off as camera shake.
    lost, repeated, jumped : int
        Frames missing or without a position; frames that repeat the one before; frames in which the point
        jumped away and back.
    step : float
        What the positions are rounded to; 0 where no rounding shows.
    """

    rows: IntArray
    times: FloatArray
    track: FloatArray
    shake: FloatArray
    lost: int
    repeated: int
    jumped: int
    step: float


@dataclass(frozen=True, kw_only=True)
class MatchedMove:
    """The planned move as it was made in front of the camera.

    Attributes
    ----------
    path : ndarray, (m, 2)
        To be taken off the track.
    shift : float
        How much later than planned it was made [s].
    scale : float
        Its size over the planned one.
    hold : tuple of int or None
        First row and row after the last of the stop to look at; None where the move does not stop
        for long.
    """

    path: FloatArray
    shift: float
    scale: float
    hold: tuple[int, int] | None


def clean(times: FloatArray, positions: FloatArray, background: FloatArray | None) -> CleanTrack:
    """Take camera shake, lost, repeated and jumped frames out of a track.

    Parameters
    ----------
    times : ndarray, (n,)
        Increasing [s].
    positions : ndarray, (n, 2)
        NaN in frames without a position.
    background : ndarray, (n, 2), optional
        Positions of a fixed point; what it does, the camera did.

    Returns
    -------
    CleanTrack
        What is left.

    Notes
    -----
    A frame repeats the one before where both positions are the same to the last digit though the point is on
    the move, by far more than the rounding of the track.
    """
    whole = np.isfinite(positions).all(axis=1)
    shake = np.zeros_like(positions)
    if background is not None:
        whole &= np.isfinite(background).all(axis=1)
        if whole.any():
            shake = background - background[whole].mean(axis=0)
    rows = np.flatnonzero(whole)
    intervals = np.diff(times)
    interval = float(np.median(intervals)) if intervals.size else 0.0
    missing = int(np.maximum(0, np.rint(intervals / interval) - 1).sum()) if interval > 0.0 else 0
    lost = int((~whole).sum()) + missing
    step = max(rounding_step(positions[rows, axis]) for axis in range(2)) if rows.size else 0.0
    repeated = _repeated(positions[rows], step)
    rows = rows[~repeated]
    jumped = _jumped(positions[rows] - shake[rows], step)
    rows = rows[~jumped]
    return CleanTrack(
        rows=rows,
        times=times[rows],
        track=positions[rows] - shake[rows],
        shake=shake[rows],
        lost=lost,
        repeated=int(repeated.sum()),
        jumped=int(jumped.sum()),
        step=step,
    )


def rounding_step(values: FloatArray) -> float:
    """Give the step of which all values are whole multiples, counted from the first; 0 where there is none.

    Parameters
    ----------
    values : ndarray, (n,)
        Any numbers.

    Returns
    -------
    float
        The step. Steps under a hundred-thousandth of the range count as none.
    """
    levels = np.unique(values)
    if levels.size < 2 or levels.size > values.size // 2 + 2:
        return 0.0
    gaps = np.diff(levels)
    gaps = gaps[gaps > 1e-9 * max(abs(float(levels[0])), abs(float(levels[-1])))]
    if not gaps.size:
        return 0.0
    step = float(gaps.min())
    multiples = (levels - levels[0]) / step
    if step < 1e-5 * float(np.ptp(levels)) or float(np.abs(multiples - np.rint(multiples)).max()) > 0.02:
        return 0.0
    return step


def stuck_rows(track: FloatArray) -> BoolArray:
    """Find frames in which a point may be stuck at the edge of what the tracker sees.

    Parameters
    ----------
    track : ndarray, (n, 2)
        Raw positions of the part that rings.

    Returns
    -------
    ndarray of bool, (n,)
        True at the largest or the smallest value of an axis, where it is taken for three frames in a row or
        longer twice at least. A slow swing in a coarsely rounded track looks the same: hold the fit of the
        other frames against it.
    """
    stuck = np.zeros(track.shape[0], dtype=bool)
    for axis in range(2):
        values = track[:, axis]
        if np.ptp(values) == 0.0:
            continue
        for edge in (values.max(), values.min()):
            flat = np.concatenate([[False], values == edge, [False]]).astype(np.int8)
            begins, ends = np.flatnonzero(np.diff(flat) == 1), np.flatnonzero(np.diff(flat) == -1)
            runs = ends - begins >= 3
            if runs.sum() >= 2:
                stuck |= values == edge
    return stuck


def match_move(times: FloatArray, track: FloatArray, planned: FloatArray) -> MatchedMove | None:
    """Find when, how large and which way up the planned move was made, and where it stops.

    Parameters
    ----------
    times : ndarray, (m,)
        Of the track [s].
    track : ndarray, (m, 2)
        Positions.
    planned : ndarray, (m, 2)
        Where the point should be on screen at these times.

    Returns
    -------
    MatchedMove or None
        None where the planned move does not move, or explains less than four fifths of the track.

    Notes
    -----
    Least squares of the track on the planned path, shifted in time and mapped by any 2 by 2 matrix: that
    takes up the scale, a turned or mirrored camera, and y counted downward.
    """
    extent = float(np.ptp(planned, axis=0).max())
    variance = float(((track - track.mean(axis=0)) ** 2).sum())
    if extent <= 0.0 or variance <= 0.0:
        return None
    thin = np.unique(np.linspace(0, times.size - 1, min(times.size, _POINTS)).astype(np.intp))
    span = float(times[-1] - times[0])

    def cost(shift: float) -> float:
        path = _mapped(times, planned, shift, track, thin)[0]
        return float(((track[thin] - path) ** 2).sum())

    shifts = np.linspace(-0.9 * span, 0.9 * span, _POINTS + 1)
    costs = np.array([cost(shift) for shift in shifts])
    width = float(shifts[1] - shifts[0])
    best = float(shifts[int(np.argmin(costs))])
    # On time is the likeliest, and the grid holds it: take it unless another time is clearly better.
    if cost(0.0) <= 1.05 * float(costs.min()):
        best = 0.0
    while width > 0.02 * span / times.size:
        around = best + width * np.linspace(-1.0, 1.0, 9)
        best = float(around[int(np.argmin([cost(shift) for shift in around]))])
        width /= 3.0
    path, matrix = _mapped(times, planned, best, track, np.arange(times.size))
    if 1.0 - float(((track - path) ** 2).sum()) / variance < _MATCHED:
        return None
    centred = planned - planned.mean(axis=0)
    scale = float(np.sqrt(((centred @ matrix) ** 2).sum() / (centred**2).sum()))
    return MatchedMove(path=path, shift=best, scale=scale, hold=_hold(times, planned, best, extent))


def _mapped(
    times: FloatArray, planned: FloatArray, shift: float, track: FloatArray, rows: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Give the planned path at some rows, shifted and mapped onto the track, and the matrix of the map."""
    moved = np.stack([np.interp(times[rows] - shift, times, planned[:, axis]) for axis in range(2)], axis=1)
    columns = np.concatenate([moved - planned[0], np.ones((rows.size, 1))], axis=1)
    coefficients = np.linalg.lstsq(columns, track[rows], rcond=1e-6)[0]
    return columns @ coefficients, coefficients[:2]


def _hold(times: FloatArray, planned: FloatArray, shift: float, extent: float) -> tuple[int, int] | None:
    """Give the rows of the last stop that is long enough, or else of the longest."""
    still = np.concatenate(
        [[False], (np.abs(np.diff(planned, axis=0)) <= 1e-6 * extent).all(axis=1), [False]]
    )
    begins, ends = (
        np.flatnonzero(np.diff(still.astype(np.int8)) == 1),
        np.flatnonzero(np.diff(still.astype(np.int8)) == -1),
    )
    found: list[tuple[int, int]] = []
    for begin, end in zip(begins, ends, strict=True):
        low = int(np.searchsorted(times, times[begin] + shift)) if begin else 0
        last = end >= times.size - 1
        high = times.size if last else int(np.searchsorted(times, times[end] + shift))
        if high - low >= _SHORTEST_HOLD and begin > 0:  # before the first move nothing has stopped
            found.append((low, high))
    if not found:
        return None
    long = [hold for hold in found if hold[1] - hold[0] >= _HOLD]
    return long[-1] if long else max(found, key=lambda hold: hold[1] - hold[0])


def _repeated(positions: FloatArray, step: float) -> BoolArray:
    """Mark frames that repeat the one before while the point is on the move."""
    n = positions.shape[0]
    repeated = np.zeros(n, dtype=bool)
    if n < 8:
        return repeated
    changes = np.concatenate([np.zeros(3), np.abs(np.diff(positions, axis=0)).max(axis=1), np.zeros(2)])
    # changes[k + 2] led to frame k. Two frames to either side, because repeats come in pairs as well.
    before = np.maximum(changes[1 : n + 1], changes[0:n])
    after = np.maximum(changes[3 : n + 3], changes[4 : n + 4])
    # A point stuck at the edge of the picture repeats its place too, but that is another thing.
    edge = ((positions == positions.max(axis=0)) | (positions == positions.min(axis=0))) & (
        np.ptp(positions, axis=0) > 0.0
    )
    busy = np.minimum(before, after) > 8.0 * step
    repeated[1:] = ((changes[2 : n + 2] == 0.0) & busy & ~edge.any(axis=1))[1:]
    return repeated


def _jumped(track: FloatArray, step: float) -> BoolArray:
    """Mark single frames in which the point is far from where its neighbours say it is."""
    n = track.shape[0]
    jumped = np.zeros(n, dtype=bool)
    if n < 16:
        return jumped
    out = np.abs(track[2:-2] - 0.5 * (track[1:-3] + track[3:-1])).max(axis=1)
    # A jump shows in its neighbours' numbers too, half as large; these are left out of the comparison.
    beside = np.abs(0.5 * (track[:-4] + track[4:]) - 0.5 * (track[1:-3] + track[3:-1])).max(axis=1)
    usual = np.maximum(np.median(out), 2.0 * step)
    width = min(41, (out.size - 1) // 2 * 2 + 1)
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(out, width // 2, mode="edge"), width)
    suspects = np.flatnonzero(out > _JUMP * usual)
    for place in suspects:
        local = max(float(np.median(windows[place])), usual)
        if out[place] > _JUMP * local and out[place] > 6.0 * beside[place]:
            jumped[place + 2] = True
    # Many of them are no accidents but how the track is.
    return jumped if jumped.sum() <= max(1, n // 50) else np.zeros(n, dtype=bool)
