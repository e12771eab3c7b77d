"""Reading tracks of a test take, and keyframes of a move, from tables of text."""

from __future__ import annotations

import difflib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError
from rigcheck.files.tables import (
    NUMBER,
    Table,
    Troubles,
    check_finite,
    check_increasing,
    check_twice,
    listed_names,
    near_name,
    read_text,
)
from rigcheck.units import shown

__all__ = ["Keys", "Take", "keys_from_text", "read_keys", "read_take", "take_from_text"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
_LEAST_FRAMES = 4
_SLOWEST, _FASTEST = 1e-3, 1e7  # frames a second
_LARGEST_FRAME = 1e15  # whole numbers are exact up to here
_POSITIONS = {"px": ("x_px", "y_px"), "mm": ("x_mm", "y_mm")}
_STILLS = {"px": ("still_x_px", "still_y_px"), "mm": ("still_x_mm", "still_y_mm")}
_TAKE_COLUMNS = [
    "frame",
    "time_s",
    *(name for pairs in (_POSITIONS, _STILLS) for pair in pairs.values() for name in pair),
]
_KEY_COLUMNS = ["time_s", "value"]
_TAKE_EXAMPLE = 'Make the first line "frame,time_s,x_px,y_px".'


@dataclass(frozen=True, kw_only=True)
class Take:
    """The track of one point through a take.

    Attributes
    ----------
    times : ndarray, (n,)
        When each frame was taken [s], increasing. Frames without a position are left out.
    positions : ndarray, (n, 2)
        Where the point is on screen, x and y [`unit`].
    unit : {"px", "mm"}
        Of the positions.
    background : ndarray, (n, 2) or None
        Where a fixed point is [`unit`]; None where none was tracked.
    dropped : int
        Frames between the first and the last without a position, or missing altogether.
    frame_rate : float
        Frames a second [Hz].
    source : str
        The file, for messages.
    notes : tuple of str
        What to know about how it was made, in plain words.
    """

    times: FloatArray
    positions: FloatArray
    unit: Literal["px", "mm"]
    background: FloatArray | None
    dropped: int
    frame_rate: float
    source: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Keys:
    """Keyframes of a move.

    Attributes
    ----------
    times : ndarray, (n,)
        When [s], increasing; n at least 2.
    values : ndarray, (n,)
        How far, in the unit that the rig file gives.
    source : str
        The file, for messages.
    """

    times: FloatArray
    values: FloatArray
    source: str


def read_take(path: str | Path, *, frame_rate: float | None = None) -> Take:
    """Read a track from a file.

    Parameters
    ----------
    path : str or Path
        A table of text: UTF-8, or UTF-16 with its mark.
    frame_rate : float, optional
        See `take_from_text`.

    Returns
    -------
    Take
        The track.

    Raises
    ------
    InputError
        Everything that is wrong with it, each with its line, its column and what to do.
    """
    return take_from_text(read_text(Path(path)), str(path), frame_rate=frame_rate)


def take_from_text(text: str, source: str = "take", *, frame_rate: float | None = None) -> Take:
    """Read a track from text.

    Parameters
    ----------
    text : str
        A first line that names the columns, in any order: `frame`, `time_s`, `x_px`, `y_px` (or `x_mm`,
        `y_mm`), and for a fixed point `still_x_px`, `still_y_px`. Columns of other names are left alone.
        Commas, semicolons or tabs between; beside the latter two a decimal comma is understood. An empty cell
        is a frame in which the point was not found. Lines that begin with # are left out.
    source : str, optional
        What to call it in messages.
    frame_rate : float, optional
        Frames a second as shot [Hz]. Needed without `time_s`; with it, it wins over the times, for a file
        that counts them at playback.

    Returns
    -------
    Take
        The track. Times that were only rounded to few digits are made even again.

    Raises
    ------
    ArgumentError
        The frame rate is not a number above 0, or one of no camera.
    InputError
        Everything that is wrong with the text.
    """
    if frame_rate is not None and not (math.isfinite(frame_rate) and frame_rate > 0.0):
        raise ArgumentError(f"frame_rate: given {frame_rate:g}; it has to be a finite number above 0.")
    if frame_rate is not None and not _SLOWEST <= frame_rate <= _FASTEST:
        raise ArgumentError(
            f"frame_rate: given {frame_rate:g}; cameras film {_SLOWEST:g} to {_FASTEST:g} a second."
        )
    troubles = Troubles(source)
    table = Table(text, troubles)
    names = table.header()
    if names is None:
        troubles.stop("the file", None, None, "is empty; a track needs a line for each frame.", _TAKE_EXAMPLE)
    unit, wanted = _take_columns(names, troubles, table, frame_rate)
    columns, lines = table.numbers(names, wanted)
    check_finite(columns, lines, troubles)
    frames = _frames(columns.get("frame"), lines, troubles)
    clock = columns.get("time_s")
    if clock is not None and (frame_rate is None or "frame" not in columns):
        check_increasing("time_s", clock, lines, troubles)
    troubles.stop_if_any()

    times, count = _times(clock, frames, lines.size, frame_rate)
    positions = np.stack([columns[name] for name in _POSITIONS[unit]], axis=1)
    whole = np.isfinite(positions).all(axis=1)
    background: FloatArray | None = None
    if _STILLS[unit][0] in columns:
        background = np.stack([columns[name] for name in _STILLS[unit]], axis=1)
        whole &= np.isfinite(background).all(axis=1)
    if whole.sum() < _LEAST_FRAMES:
        troubles.stop(
            "the file",
            None,
            None,
            f"has {int(whole.sum())} frames with a position; at least {_LEAST_FRAMES} are needed.",
            "Track the point through the whole take.",
        )
    rows = np.flatnonzero(whole)
    span = count[rows[-1]] - count[rows[0]] + 1
    return Take(
        times=times[rows],
        positions=positions[rows],
        unit=unit,
        background=None if background is None else background[rows],
        dropped=int(span) - rows.size,
        frame_rate=frame_rate or 1.0 / float(np.median(np.diff(times) / np.maximum(np.diff(count), 1))),
        source=source,
    )


def read_keys(path: str | Path) -> Keys:
    """Read keyframes from a file.

    Parameters
    ----------
    path : str or Path
        A table of text: UTF-8, or UTF-16 with its mark.

    Returns
    -------
    Keys
        The keyframes.

    Raises
    ------
    InputError
        Everything that is wrong with it, each with its line, its column and what to do.
    """
    return keys_from_text(read_text(Path(path)), str(path))


def keys_from_text(text: str, source: str = "keys") -> Keys:
    """Read keyframes from text.

    Parameters
    ----------
    text : str
        Two columns, the time in seconds and the value, with or without a first line "time_s,value"; with it
        the columns may stand in any order beside others. Separators and decimal commas as in
        `take_from_text`. No cell may be empty, and times have to increase, by uneven steps if need be.
    source : str, optional
        What to call it in messages.

    Returns
    -------
    Keys
        The keyframes.

    Raises
    ------
    InputError
        Everything that is wrong with the text.
    """
    troubles = Troubles(source)
    table = Table(text, troubles)
    names = table.header(may_lack=_KEY_COLUMNS)
    if names is None:
        troubles.stop(
            "the file",
            None,
            None,
            "is empty; keyframes need two lines at least.",
            "Write lines of time_s,value.",
        )
    for name in _KEY_COLUMNS:
        if name not in names:
            troubles.add(
                name,
                table.header_line,
                None,
                f"is missing; the columns found are {listed_names(names)}.",
                near_name(name, names) or 'Make the first line "time_s,value", or leave it out.',
            )
    check_twice(names, _KEY_COLUMNS, troubles, table)
    troubles.stop_if_any()
    columns, lines = table.numbers(names, _KEY_COLUMNS, blanks=False)
    check_finite(columns, lines, troubles)
    check_increasing("time_s", columns["time_s"], lines, troubles)
    if lines.size < 2 and not troubles.problems:
        troubles.add("the file", None, None, f"has {lines.size} keyframes; at least 2 are needed.", None)
    troubles.stop_if_any()
    return Keys(times=columns["time_s"], values=columns["value"], source=source)


def _take_columns(
    names: Sequence[str], troubles: Troubles, table: Table, frame_rate: float | None
) -> tuple[Literal["px", "mm"], list[str]]:
    """Decide which columns to read, and say what is missing."""
    line = table.header_line
    if all(NUMBER.fullmatch(name.replace("_", ".")) for name in names):
        troubles.stop(
            "the first line", line, None, "has numbers where the columns should be named.", _TAKE_EXAMPLE
        )
    check_twice(names, _TAKE_COLUMNS, troubles, table)
    unit: Literal["px", "mm"] = "mm" if any(name in names for name in _POSITIONS["mm"]) else "px"
    if unit == "mm" and any(name in names for name in _POSITIONS["px"]):
        troubles.stop("columns", line, None, "has positions in px and in mm.", "Leave one pair of columns.")
    wanted = list(_POSITIONS[unit])
    for name in wanted:
        if name not in names:
            troubles.add(
                name,
                line,
                None,
                f"is missing; the columns found are {listed_names(names)}.",
                near_name(name, [found for found in names if found not in _TAKE_COLUMNS]) or _TAKE_EXAMPLE,
            )
    other: Literal["px", "mm"] = "px" if unit == "mm" else "mm"
    still = [name for name in _STILLS[unit] if name in names]
    if len(still) == 1:
        missing = next(name for name in _STILLS[unit] if name not in names)
        troubles.add(missing, line, None, f"is missing beside {still[0]}.", "Give both or neither.")
    for name in _STILLS[other]:
        if name in names:
            troubles.add(
                name, line, None, f"is in {other}, but the point is in {unit}.", "Give both in one unit."
            )
    wanted += still
    if "time_s" not in names and frame_rate is None:
        near = near_name("time_s", [found for found in names if found not in _TAKE_COLUMNS])
        troubles.add(
            "time_s",
            line,
            None,
            "is missing, and so is the frame rate.",
            near or "Add the column, or give the frame rate: --fps 25.",
        )
    unread = [name for name in names if name not in _TAKE_COLUMNS]
    for name in unread:
        meant = difflib.get_close_matches(
            name, [known for known in _TAKE_COLUMNS if known not in names], 1, 0.8
        )
        if meant and not any(problem.where == meant[0] for problem in troubles.problems):
            troubles.add(
                shown(name, 24), line, None, "is no column that is known.", f'Did you mean "{meant[0]}"?'
            )
    troubles.stop_if_any()
    return unit, [name for name in ("frame", "time_s") if name in names] + wanted


def _frames(values: FloatArray | None, lines: IntArray, troubles: Troubles) -> IntArray | None:
    """Give the frame numbers as whole numbers."""
    if values is None:
        return None
    finite = np.isfinite(values)
    broken = finite & ((np.abs(values) > _LARGEST_FRAME) | (values != np.rint(np.where(finite, values, 0.0))))
    for row in np.flatnonzero(broken):
        troubles.add(
            "frame",
            int(lines[row]),
            f"{values[row]:.10g}",
            "is not a whole number.",
            "Count frames: 0, 1, 2.",
        )
    check_increasing("frame", values, lines, troubles)
    if troubles.problems:
        return None
    return values.astype(np.int64)


def _times(
    clock: FloatArray | None, frames: IntArray | None, rows: int, frame_rate: float | None
) -> tuple[FloatArray, IntArray]:
    """Give the time of each row, and its place in the count of frames."""
    if rows < 2:
        return np.arange(float(rows)), np.arange(rows)
    if clock is None or (frame_rate is not None and frames is not None):
        count = np.arange(rows) if frames is None else frames
        return (count - count[0]) / (frame_rate or 1.0), count
    if frames is None:
        steps = np.diff(clock)
        count = np.concatenate([[0], np.cumsum(np.maximum(1, np.rint(steps / np.median(steps))))])
        count = np.minimum(count, 1e15).astype(np.int64)
    else:
        count = frames
    if frame_rate is not None:
        return (count - count[0]) / frame_rate, count
    return _unrounded(clock, count), count


def _unrounded(clock: FloatArray, count: IntArray) -> FloatArray:
    """Make times even again that differ from even ones by no more than their rounding.

    At 120 frames a second, times in whole milliseconds jitter by 6 % of a frame, which would show as noise.
    """
    step = 0.0
    for digits in range(6):
        scaled = clock * 10.0**digits
        if np.abs(scaled - np.rint(scaled)).max() < 1e-3:
            step = 10.0**-digits
            break
    if step == 0.0 or clock.size < 8:
        return clock
    place = (count - count[0]).astype(np.float64)
    slope, start = np.polynomial.polynomial.Polynomial.fit(place, clock, 1).convert().coef[::-1]
    even = start + slope * place
    return even if np.abs(even - clock).max() <= 0.75 * step else clock
