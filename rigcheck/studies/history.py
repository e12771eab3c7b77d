"""The response over time: how far a prop is off its intended path along the moves and while it rings afterwards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.model import Shot
from rigcheck.motion.response import free_decay
from rigcheck.motion.sampling import distinct
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.moving import follow
from rigcheck.studies.reading.prop import Reading, read_prop

__all__ = ["History", "history_csv", "response_history", "response_of"]

Array = NDArray[np.float64]

_RINGING = 20.0
"""Periods of the lowest mode that are followed after the moves where nothing else is asked for."""
_SAMPLES_PER_PERIOD = 24
_MOST_AFTER = 100_000
_MOST_FRAMES = 1_000_000


@dataclass(frozen=True, kw_only=True, eq=False)
class History:
    """How far the centre of mass of one prop is off its intended path, which ends at the settled place.

    Attributes
    ----------
    prop : str
        Its name.
    time_s : array, shape (n,)
        Rising, from the first start to some time after the last end [s]; uneven.
    displacement_mm : array, shape (n, 3)
        Right, up, toward [mm].
    displacement_px : array, shape (n, 2), or None
        Right and up in the picture [px]; None without a camera.
    start_s, end_s : float
        When the first move starts and the last one ends [s].
    frame_s : array, shape (k,), or None
        Times of the frames from the first start on [s]; None without a frame rate.
    """

    prop: str
    time_s: Array
    displacement_mm: Array
    displacement_px: Array | None
    start_s: float
    end_s: float
    frame_s: Array | None

    @property
    def distance_mm(self) -> Array:
        """Distance from the intended path, (n,) [mm]."""
        return np.asarray(np.linalg.norm(self.displacement_mm, axis=1))

    def at(self, time_s: Array) -> Array:
        """Displacement at other times, straight between the samples, (k, 3) [mm]."""
        columns = [np.interp(time_s, self.time_s, column) for column in self.displacement_mm.T]
        return np.stack(columns, axis=-1)


def response_history(shot: Shot, *, prop: str | None = None, after: Any = None) -> History:
    """Follow one prop of a shot over its moves and after them.

    Parameters
    ----------
    shot : Shot
        As read from a rig file, or built in Python.
    prop : str, optional
        Which prop; needed where the shot has several.
    after : quantity of time, optional
        How long it is followed after the last move; 20 periods of its lowest mode where not given.

    Returns
    -------
    History

    Raises
    ------
    UnknownNameError
        The shot has no prop of that name.
    ArgumentError
        The shot has several props and none is named, or `after` is negative.
    ValidityError
        There is no course to follow: no settled state, no move with a known course, or too long a one.
    """
    if prop is None and len(shot.prop) > 1:
        raise ArgumentError("history: the shot has several props; say which one.")
    chosen = shot.prop[0] if prop is None else shot.find_prop(prop)
    reading = read_prop(shot, chosen)
    rate = (
        None if shot.camera is None or shot.camera.frame_rate is None else shot.camera.frame_rate.m_as("Hz")
    )
    return response_of(
        reading,
        reading.task.evaluate(),
        name=chosen.name,
        after=None if after is None else float(after.m_as("s")),
        frame_rate=rate,
    )


def response_of(
    reading: Reading,
    still: Outcome,
    *,
    name: str = "",
    after: float | None = None,
    frame_rate: float | None = None,
) -> History:
    """Follow a prop that has been read and settled already.

    Parameters
    ----------
    reading : Reading
        For its moves and its camera.
    still : Outcome
        From ``reading.task.evaluate()``; the first variant is used.
    name : str
        Of the prop.
    after : float, optional
        How long it is followed after the last move [s]; 20 periods of its lowest mode where not given.
    frame_rate : float, optional
        [1/s], for the times of the frames.

    Returns
    -------
    History

    Raises
    ------
    ArgumentError
        `after` is negative.
    ValidityError
        There is no course to follow, or one of too many frames.

    Notes
    -----
    The response is that of `rigcheck.studies.moving.move`: every mode that matters exactly, the rest of the support
    following at once (static remainder). It jumps where an acceleration jumps by what follows at once, a small
    share. After the last move only the modes ring on.
    """
    task = reading.task
    if not still.solved[0]:
        raise ValidityError("history: there is no settled state to move from; see rigcheck check.")
    if not task.travels:
        reason = "only the peak acceleration of the move is known" if task.pushes else "no move is given"
        raise ValidityError(f"history: {reason}, so there is no course to follow.")
    if task.pushes:
        raise ValidityError(
            "history: of one of the moves only the peak acceleration is known, not its course."
        )
    if after is not None and not (np.isfinite(after) and after >= 0):
        raise ArgumentError(f"after: given {after:g} s; it cannot be negative.")
    course = follow(still, task.travels)
    omega = course.angular_frequency
    last = float(course.times[-1])
    later = _later(
        omega, np.abs(course.shape).max(axis=0) * np.hypot(course.end, course.end_rate / omega), after
    )
    ringing, _ = free_decay(
        course.end,
        course.end_rate,
        angular_frequency=omega,
        damping_ratio=float(still.rig.damping_ratio[0]),
        times=later,
    )
    rising = np.concatenate([np.diff(course.times) > 0, [True]])
    path = np.concatenate([course.path[:, rising], (course.shape @ ringing)], axis=1)
    times = np.concatenate([course.times[rising], last + later])
    start = float(times[0])
    frames = None
    if frame_rate is not None:
        shown = int((times[-1] - start) * frame_rate + 1e-6) + 1
        if shown > _MOST_FRAMES:
            raise ValidityError(
                f"history: {shown:,} frames would be listed, {_MOST_FRAMES:,} are allowed. Is the unit of the move's"
                " duration right? Else give a lower frame rate."
            )
        frames = start + np.arange(shown) / frame_rate
    return History(
        prop=name,
        time_s=times,
        displacement_mm=1e3 * path.T,
        displacement_px=None if task.eye is None else task.eye.project(path).T,
        start_s=start,
        end_s=last,
        frame_s=frames,
    )


def _later(omega: Array, size: Array, after: float | None) -> Array:
    """Times after the last move [s], close enough for every mode that rings to be seen."""
    whole = _RINGING * 2 * np.pi / float(omega.min()) if after is None else after
    rings = size > 1e-3 * size.max(initial=0.0)
    if whole == 0.0 or not rings.any():
        return distinct(np.array([0.0, whole]))[1:] if whole > 0.0 else np.zeros(0)
    count = whole * float(omega[rings].max()) / (2 * np.pi) * _SAMPLES_PER_PERIOD
    if count > _MOST_AFTER:
        raise ValidityError(
            f"history: {count:.3g} samples would be needed to follow it for {whole:.3g} s after the moves,"
            f" {_MOST_AFTER} are allowed. Ask for a shorter time."
        )
    return np.asarray(np.linspace(0.0, whole, max(2, int(np.ceil(count)) + 1))[1:])


def history_csv(history: History) -> str:
    """A history as a table: ``time_s``, three columns in mm and, with a camera, two in px.

    Parameters
    ----------
    history : History
        What to write.

    Returns
    -------
    str
        CSV with one header line.
    """
    names = ["time_s", "right_mm", "up_mm", "toward_mm"]
    columns = [history.time_s[:, None], history.displacement_mm]
    if history.displacement_px is not None:
        names += ["right_px", "up_px"]
        columns.append(history.displacement_px)
    rows = np.concatenate(columns, axis=1) + 0.0
    lines = [",".join([f"{row[0]:.9g}", *(f"{value:.6g}" for value in row[1:])]) for row in rows.tolist()]
    return "\n".join([",".join(names), *lines, ""])
