"""Tables of text: their separator, header and numbers, and what is wrong in which line.

Commas, semicolons or tabs; a decimal comma beside the latter two. What the columns mean is for the reader to say.
"""

from __future__ import annotations

import csv
import difflib
import math
import re
from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import InputError, Problem, reason_of
from rigcheck.files.missing import missing_file
from rigcheck.units import shown

__all__ = [
    "LARGEST_TABLE",
    "MOST_ROWS",
    "NUMBER",
    "Table",
    "Troubles",
    "check_finite",
    "check_increasing",
    "check_twice",
    "listed_names",
    "near_name",
    "read_text",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LARGEST_TABLE = 40_000_000
"""Most bytes of a table."""

MOST_ROWS = 2_000_000
"""Most rows of a table."""

_MOST_PROBLEMS = 20  # of one file; the rest are counted
_CHUNK = 50_000  # rows turned into numbers at a time, so that their text never stands in memory twice
_LARGEST_VALUE = 1e9  # px, mm, s
_MISSING = frozenset({"", "nan", "na", "n/a", "null", "none", "-", "--"})
NUMBER = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
_SEPARATOR_WORDS = {",": "commas", ";": "semicolons", "\t": "tabs"}


class Troubles:
    """Collects what is wrong with one file, and keeps the list readable.

    Parameters
    ----------
    source : str
        The file, for messages.
    """

    def __init__(self, source: str) -> None:
        self.source = source
        self.problems: list[Problem] = []
        self.more = 0

    def add(self, where: str, line: int | None, given: str | None, says: str, hint: str | None) -> None:
        """Note what is wrong where; past the most that are told they are only counted."""
        if len(self.problems) >= _MOST_PROBLEMS:
            self.more += 1
            return
        typed = None if given is None else shown(given, 40)
        self.problems.append(Problem(where=where, line=line, given=typed, says=says, hint=hint))

    def stop_if_any(self) -> None:
        """Raise what was noted."""
        if self.problems:
            raise self.error()

    def error(self) -> InputError:
        """All that was noted, in the order of its lines."""
        problems = sorted(self.problems, key=lambda problem: problem.line or 0)
        if self.more:
            says = f"has {self.more:,} more problem{'s' if self.more > 1 else ''}."
            problems.append(Problem(where="the file", says=says))
        return InputError(self.source, problems)

    def stop(self, where: str, line: int | None, given: str | None, says: str, hint: str | None) -> NoReturn:
        """Note it and raise: nothing more can be read."""
        self.add(where, line, given, says, hint)
        self.stop_if_any()
        raise InputError(self.source, self.problems)


class Table:
    """A table of text: its separator, its header, its numbers.

    Parameters
    ----------
    text : str
        The whole of it.
    troubles : Troubles
        Where it is noted what is wrong.

    Attributes
    ----------
    header_line : int
        Line of the header, from 1; 0 before it was read.
    """

    def __init__(self, text: str, troubles: Troubles) -> None:
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
            if may_lack is not None and all(NUMBER.fullmatch(cell.strip()) for cell in cells):
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
        if not NUMBER.fullmatch(cell) or (self.separator == "," and "," in cell):
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


def read_text(path: Path) -> str:
    """Read the text of a file.

    Parameters
    ----------
    path : Path
        UTF-8, or UTF-16 with its mark.

    Returns
    -------
    str

    Raises
    ------
    InputError
        It is not there, cannot be opened, is too large or is not text.
    """
    source = str(path)
    troubles = Troubles(source)
    content = b""
    try:
        if path.is_dir():
            troubles.stop("the file", None, None, "is a folder; a table of text is needed.", None)
        with path.open("rb") as stream:
            content = stream.read(LARGEST_TABLE + 1)
    except FileNotFoundError:
        raise missing_file(path) from None
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        troubles.stop("the file", None, None, f"cannot be opened: {reason_of(error)}.", None)
    if len(content) > LARGEST_TABLE:
        troubles.stop("the file", None, None, f"is too large: {LARGEST_TABLE:,} bytes at most.", _CUT)
    try:
        wide = content[:2] in (b"\xff\xfe", b"\xfe\xff")  # spreadsheets save "Unicode text" so
        return content.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        troubles.stop("text", line, None, "this is not UTF-8 text.", _EXPORT)


def _plain(name: str) -> str:
    """Write a column's name the plain way: ``Time (s)`` is ``time_s``."""
    return re.sub(r"[^a-z0-9]+", "_", name.strip().lower()).strip("_")


def listed_names(names: Sequence[str]) -> str:
    """The names of columns for a message, the first twelve.

    Parameters
    ----------
    names : sequence of str
        As found.

    Returns
    -------
    str
    """
    return ", ".join(shown(name, 24) or '""' for name in names[:12]) + (" ..." if len(names) > 12 else "")


def near_name(name: str, names: Sequence[str]) -> str | None:
    """Suggest to rename the column that was probably meant.

    Parameters
    ----------
    name : str
        The column that is missing.
    names : sequence of str
        Those that could have been meant.

    Returns
    -------
    str or None
    """
    close = difflib.get_close_matches(name, [found for found in names if found], n=1, cutoff=0.6)
    stem = name.split("_")[0]
    if not close and stem in names:
        close = [stem]
    return f'Did you mean "{name}" by "{shown(close[0], 24)}"?' if close else None


def check_twice(names: Sequence[str], known: Sequence[str], troubles: Troubles, table: Table) -> None:
    """Note columns that stand more than once.

    Parameters
    ----------
    names : sequence of str
        As found.
    known : sequence of str
        Those that are read.
    troubles : Troubles
        Where it is noted.
    table : Table
        Whose header it is.
    """
    for name in known:
        if names.count(name) > 1:
            troubles.add(
                name, table.header_line, None, f"stands {names.count(name)} times.", "Leave one of them."
            )


def check_finite(columns: dict[str, FloatArray], lines: IntArray, troubles: Troubles) -> None:
    """Note numbers larger than any place or time in a take.

    Parameters
    ----------
    columns : dict of str to ndarray, (n,)
        By name.
    lines : ndarray, (n,)
        Of each row.
    troubles : Troubles
        Where it is noted.
    """
    for name, values in columns.items():
        most = np.inf if name == "frame" else _LARGEST_VALUE
        for row in np.flatnonzero(np.isinf(values) | (np.abs(values) > most)):
            troubles.add(name, int(lines[row]), None, "is too large a number.", None)


def check_increasing(name: str, values: FloatArray, lines: IntArray, troubles: Troubles) -> None:
    """Note cells that are empty, or do not come after the one before.

    Parameters
    ----------
    name : str
        Of the column.
    values : ndarray, (n,)
        NaN where empty.
    lines : ndarray, (n,)
        Of each row.
    troubles : Troubles
        Where it is noted.
    """
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
