"""Reading tracks of a test take, and keyframes of a move, from tables of text."""

from __future__ import annotations

import csv
import difflib
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Literal, NoReturn

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError, InputError, Problem
from rigcheck.units import shown

__all__ = [
    "LARGEST_TABLE",
    "MOST_ROWS",
    "Keys",
    "Take",
    "beside_hint",
    "keys_from_text",
    "read_keys",
    "read_take",
    "take_from_text",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LARGEST_TABLE = 40_000_000
"""Most bytes of a table."""

MOST_ROWS = 2_000_000
"""Most rows of a table."""

_MOST_PROBLEMS = 20  # of one file; the rest are counted
_CHUNK = 50_000  # rows turned into numbers at a time, so that their text never stands in memory twice
_LEAST_FRAMES = 4
_SLOWEST, _FASTEST = 1e-3, 1e7  # frames a second
_LARGEST_VALUE = 1e9  # px, mm, s
_LARGEST_FRAME = 1e15  # whole numbers are exact up to here
_MISSING = frozenset({"", "nan", "na", "n/a", "null", "none", "-", "--"})
_POSITIONS = {"px": ("x_px", "y_px"), "mm": ("x_mm", "y_mm")}
_STILLS = {"px": ("still_x_px", "still_y_px"), "mm": ("still_x_mm", "still_y_mm")}
_TAKE_COLUMNS = [
    "frame",
    "time_s",
    *(name for pairs in (_POSITIONS, _STILLS) for pair in pairs.values() for name in pair),
]
_KEY_COLUMNS = ["time_s", "value"]
_TAKE_EXAMPLE = 'Make the first line "frame,time_s,x_px,y_px".'
_NUMBER = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
_SEPARATOR_WORDS = {",": "commas", ";": "semicolons", "\t": "tabs"}


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
    return take_from_text(_text(Path(path)), str(path), frame_rate=frame_rate)


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
    troubles = _Troubles(source)
    table = _Table(text, troubles)
    names = table.header()
    if names is None:
        troubles.stop("the file", None, None, "is empty; a track needs a line for each frame.", _TAKE_EXAMPLE)
    unit, wanted = _take_columns(names, troubles, table, frame_rate)
    columns, lines = table.numbers(names, wanted)
    _check_finite(columns, lines, troubles)
    frames = _frames(columns.get("frame"), lines, troubles)
    clock = columns.get("time_s")
    if clock is not None and (frame_rate is None or "frame" not in columns):
        _check_increasing("time_s", clock, lines, troubles)
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
    return keys_from_text(_text(Path(path)), str(path))


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
    troubles = _Troubles(source)
    table = _Table(text, troubles)
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
                f"is missing; the columns found are {_listed(names)}.",
                _near(name, names) or 'Make the first line "time_s,value", or leave it out.',
            )
    _check_twice(names, _KEY_COLUMNS, troubles, table)
    troubles.stop_if_any()
    columns, lines = table.numbers(names, _KEY_COLUMNS, blanks=False)
    _check_finite(columns, lines, troubles)
    _check_increasing("time_s", columns["time_s"], lines, troubles)
    if lines.size < 2 and not troubles.problems:
        troubles.add("the file", None, None, f"has {lines.size} keyframes; at least 2 are needed.", None)
    troubles.stop_if_any()
    return Keys(times=columns["time_s"], values=columns["value"], source=source)


class _Troubles:
    """Collects what is wrong with one file, and keeps the list readable."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.problems: list[Problem] = []
        self.more = 0

    def add(self, where: str, line: int | None, given: str | None, says: str, hint: str | None) -> None:
        if len(self.problems) >= _MOST_PROBLEMS:
            self.more += 1
            return
        typed = None if given is None else shown(given, 40)
        self.problems.append(Problem(where=where, line=line, given=typed, says=says, hint=hint))

    def stop_if_any(self) -> None:
        if self.problems:
            raise self.error()

    def error(self) -> InputError:
        problems = sorted(self.problems, key=lambda problem: problem.line or 0)
        if self.more:
            says = f"has {self.more:,} more problem{'s' if self.more > 1 else ''}."
            problems.append(Problem(where="the file", line=None, given=None, says=says))
        return InputError(self.source, problems)

    def stop(self, where: str, line: int | None, given: str | None, says: str, hint: str | None) -> NoReturn:
        self.add(where, line, given, says, hint)
        self.stop_if_any()
        raise InputError(self.source, self.problems)


class _Table:
    """A table of text: its separator, its header, its numbers."""

    def __init__(self, text: str, troubles: _Troubles) -> None:
        if len(text) > LARGEST_TABLE:
            troubles.stop("the file", None, None, f"is too large: {LARGEST_TABLE:,} bytes at most.", _CUT)
        if "\0" in text:
            troubles.stop("the file", None, None, "is not a table of text.", _EXPORT)
        self.text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
        self.troubles = troubles
        self.separator = ","
        self.header_line = 0
        self.first_line = 1  # of the numbers
        self.point: int | None = None  # first line with a decimal point
        self.comma: int | None = None  # and with a decimal comma

    def header(self, may_lack: Sequence[str] | None = None) -> list[str] | None:
        """Read the names of the columns; None where the text is empty.

        With `may_lack`, a first line of numbers means that there is no header and these are the columns.
        """
        for number, line in self._lines(1):
            self.separator = next((sign for sign in "\t;," if sign in line), ",")
            cells = self._cells(line)
            if may_lack is not None and all(_NUMBER.fullmatch(cell.strip()) for cell in cells):
                self.header_line, self.first_line = number, number
                self._check_width(number, cells, len(may_lack))
                self.troubles.stop_if_any()
                return list(may_lack)
            self.header_line, self.first_line = number, number + 1
            return [_plain(cell) for cell in cells]
        return None

    def numbers(
        self, names: Sequence[str], wanted: Sequence[str], *, blanks: bool = True
    ) -> tuple[dict[str, FloatArray], IntArray]:
        """Read the columns wanted, NaN for empty cells, with the line of each row."""
        places = [names.index(name) for name in wanted]
        parts: list[list[FloatArray]] = []
        line_parts: list[IntArray] = []
        rows = self._lines(self.first_line)
        total = 0
        while chunk := list(islice(rows, _CHUNK)):
            total += len(chunk)
            if total > MOST_ROWS:
                self.troubles.stop("the file", None, None, f"has more than {MOST_ROWS:,} rows.", _CUT)
            numbers = self._bulk([line for _, line in chunk], len(names), places)
            if numbers is None or not (blanks or all(np.isfinite(part).all() for part in numbers)):
                numbers = self._one_by_one(chunk, names, wanted, places, blanks=blanks)
            parts.append(numbers)
            line_parts.append(np.array([number for number, _ in chunk], dtype=np.int64))
        if self.point is not None and self.comma is not None:
            self.troubles.add(
                "the file",
                max(self.point, self.comma),
                None,
                f"numbers have a decimal point (line {self.point}) and a decimal comma (line {self.comma}).",
                "Use one of them throughout, and nothing between thousands.",
            )
        empty = np.zeros(0)
        columns = {
            name: np.concatenate([part[k] for part in parts]) if parts else empty
            for k, name in enumerate(wanted)
        }
        return columns, np.concatenate(line_parts) if line_parts else np.zeros(0, dtype=np.int64)

    def _lines(self, first: int) -> Iterator[tuple[int, str]]:
        """Give the lines that say something, with their numbers, from line `first`."""
        number, at, size = 0, 0, len(self.text)
        while at < size:
            end = self.text.find("\n", at)
            end = size if end < 0 else end
            number += 1
            line = self.text[at:end]
            at = end + 1
            if number >= first and line and not line.isspace() and not line.lstrip().startswith("#"):
                yield number, line

    def _bulk(self, rows: list[str], width: int, places: Sequence[int]) -> list[FloatArray] | None:
        """Turn rows into numbers at once; None where any of them is out of the ordinary."""
        separator = self.separator
        if any(row.count(separator) != width - 1 for row in rows):
            return None
        joined = separator.join(rows)
        if not _ORDINARY[separator].fullmatch(joined):
            return None
        comma = separator != "," and "," in joined
        point = "." in joined
        if comma and point:
            return None
        cells = (joined.replace(",", ".") if comma else joined).split(separator)
        try:
            numbers = [
                np.array([float(cell) if cell else math.nan for cell in cells[place::width]])
                for place in places
            ]
        except ValueError:
            return None
        if comma and self.comma is None:
            self.comma = self.first_line
        if point and self.point is None:
            self.point = self.first_line
        return numbers

    def _one_by_one(
        self,
        chunk: Sequence[tuple[int, str]],
        names: Sequence[str],
        wanted: Sequence[str],
        places: Sequence[int],
        *,
        blanks: bool,
    ) -> list[FloatArray]:
        """Turn rows into numbers cell by cell, and say what is wrong with which."""
        numbers = [np.full(len(chunk), np.nan) for _ in wanted]
        for row, (line, text) in enumerate(chunk):
            cells = self._cells(text)
            if not self._check_width(line, cells, len(names)):
                continue
            for k, place in enumerate(places):
                numbers[k][row] = self._number(cells[place].strip(), line, wanted[k], blanks=blanks)
        return numbers

    def _number(self, cell: str, line: int, name: str, *, blanks: bool) -> float:
        if cell.lower() in _MISSING:
            if not blanks:
                self.troubles.add(name, line, cell or None, "is empty; every keyframe needs a number.", None)
            return math.nan
        if not _NUMBER.fullmatch(cell) or (self.separator == "," and "," in cell):
            hint = "Write the unit into the column's name only." if cell[:1].isdigit() else None
            self.troubles.add(name, line, cell, "is not a number.", hint)
            return math.nan
        if "," in cell:
            self.comma = self.comma or line
        elif "." in cell:
            self.point = self.point or line
        return float(cell.replace(",", "."))

    def _cells(self, line: str) -> list[str]:
        if '"' not in line:
            return line.split(self.separator)
        return next(csv.reader([line], delimiter=self.separator))

    def _check_width(self, line: int, cells: list[str], width: int) -> bool:
        """Say whether a row has as many cells as there are columns; empty ones at its end do not count."""
        while len(cells) > width and not cells[-1].strip():
            cells.pop()
        if len(cells) == width:
            return True
        hint = None
        if self.separator == "," and len(cells) > width:
            hint = "With decimal commas, put semicolons or tabs between the columns."
        self.troubles.add(
            "row",
            line,
            self.separator.join(cells),
            f"has {len(cells)} cell{'' if len(cells) == 1 else 's'} between {_SEPARATOR_WORDS[self.separator]}, "
            f"for {width} columns.",
            hint,
        )
        return False


_CUT = "Cut the take to the part around the stop."
_EXPORT = "Export the track as CSV: text with a line for each frame."
_ORDINARY = {
    separator: re.compile(rf"[0-9eE+\-., {re.escape(separator)}]*") for separator in _SEPARATOR_WORDS
}


def _text(path: Path) -> str:
    """Read the text of a file."""
    source = str(path)
    troubles = _Troubles(source)
    content = b""
    try:
        if path.is_dir():
            troubles.stop("the file", None, None, "is a folder; a table of text is needed.", None)
        with path.open("rb") as stream:
            content = stream.read(LARGEST_TABLE + 1)
    except FileNotFoundError:
        troubles.stop("the file", None, None, "there is no such file.", beside_hint(path))
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        troubles.stop("the file", None, None, f"cannot be opened: {reason[0].lower()}{reason[1:]}.", None)
    if len(content) > LARGEST_TABLE:
        troubles.stop("the file", None, None, f"is too large: {LARGEST_TABLE:,} bytes at most.", _CUT)
    try:
        wide = content[:2] in (b"\xff\xfe", b"\xfe\xff")  # spreadsheets save "Unicode text" so
        return content.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        troubles.stop("text", line, None, "this is not UTF-8 text.", _EXPORT)


def beside_hint(path: Path) -> str | None:
    """Suggest the file beside a missing one that was probably meant."""
    close = difflib.get_close_matches(path.name, _beside(path), n=1)
    return f'Did you mean "{path.with_name(close[0])}"?' if close else None


def _beside(path: Path) -> list[str]:
    try:
        return sorted(found.name for found in path.parent.iterdir() if found.is_file())[:1000]
    except OSError:
        return []


def _plain(name: str) -> str:
    """Write a column's name the plain way: ``Time (s)`` is ``time_s``."""
    return re.sub(r"[^a-z0-9]+", "_", name.strip().lower()).strip("_")


def _listed(names: Sequence[str]) -> str:
    return ", ".join(shown(name, 24) or '""' for name in names[:12]) + (" ..." if len(names) > 12 else "")


def _near(name: str, names: Sequence[str]) -> str | None:
    """Suggest to rename the column that was probably meant."""
    close = difflib.get_close_matches(name, [found for found in names if found], n=1, cutoff=0.6)
    stem = name.split("_")[0]
    if not close and stem in names:
        close = [stem]
    return f'Did you mean "{name}" by "{shown(close[0], 24)}"?' if close else None


def _check_twice(names: Sequence[str], known: Sequence[str], troubles: _Troubles, table: _Table) -> None:
    for name in known:
        if names.count(name) > 1:
            troubles.add(
                name, table.header_line, None, f"stands {names.count(name)} times.", "Leave one of them."
            )


def _take_columns(
    names: Sequence[str], troubles: _Troubles, table: _Table, frame_rate: float | None
) -> tuple[Literal["px", "mm"], list[str]]:
    """Decide which columns to read, and say what is missing."""
    line = table.header_line
    if all(_NUMBER.fullmatch(name.replace("_", ".")) for name in names):
        troubles.stop(
            "the first line", line, None, "has numbers where the columns should be named.", _TAKE_EXAMPLE
        )
    _check_twice(names, _TAKE_COLUMNS, troubles, table)
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
                f"is missing; the columns found are {_listed(names)}.",
                _near(name, [found for found in names if found not in _TAKE_COLUMNS]) or _TAKE_EXAMPLE,
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
        near = _near("time_s", [found for found in names if found not in _TAKE_COLUMNS])
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


def _check_finite(columns: dict[str, FloatArray], lines: IntArray, troubles: _Troubles) -> None:
    """Find numbers larger than any place or time in a take."""
    for name, values in columns.items():
        most = np.inf if name == "frame" else _LARGEST_VALUE
        for row in np.flatnonzero(np.isinf(values) | (np.abs(values) > most)):
            troubles.add(name, int(lines[row]), None, "is too large a number.", None)


def _check_increasing(name: str, values: FloatArray, lines: IntArray, troubles: _Troubles) -> None:
    """Find cells that are empty, or do not come after the one before."""
    known_bad = {problem.line for problem in troubles.problems}
    for row in np.flatnonzero(np.isnan(values)):
        if int(lines[row]) not in known_bad:
            troubles.add(name, int(lines[row]), None, "is empty.", "Every row needs one.")
    there = np.flatnonzero(np.isfinite(values))
    steps = np.diff(values[there])
    for place in np.flatnonzero(steps <= 0.0):
        before, row = there[place], there[place + 1]
        hint = None
        if steps[place] == 0.0:
            more = ", or give times with more digits" if name == "time_s" else ""
            hint = f"Twice the same: take the row out{more}."
        troubles.add(
            name,
            int(lines[row]),
            f"{values[row]:.10g}",
            f"does not come after {values[before]:.10g} in line {lines[before]}; it has to increase.",
            hint,
        )


def _frames(values: FloatArray | None, lines: IntArray, troubles: _Troubles) -> IntArray | None:
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
    _check_increasing("frame", values, lines, troubles)
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
