"""Where each key of a TOML text stands.

The standard reader gives values without their lines. This scanner walks a text which that reader has
accepted, and so need not check anything; it is used only where there is a problem to report.
"""

from __future__ import annotations

import bisect
import re
import tomllib
from dataclasses import dataclass
from typing import TypeAlias

__all__ = ["KeyPath", "Place", "locate"]

KeyPath: TypeAlias = tuple[str | int, ...]
"""Keys and list positions from the top of the file to a value."""

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BASIC = re.compile(r'"(?:[^"\\\n]|\\.)*"')
_LITERAL = re.compile(r"'[^'\n]*'")
# A multi-line string may end in up to five quotes, of which three close it.
_LONG_BASIC = re.compile(r'"""(?:[^\\]|\\.)*?"""(?!"(?!""))"{0,2}', re.DOTALL)
_LONG_LITERAL = re.compile(r"'''.*?'''(?!'(?!''))'{0,2}", re.DOTALL)
_PLAIN = re.compile(r"[^,\]}#\n]*")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a key stands, and what was typed for it.

    Attributes
    ----------
    line : int
        Counted from 1.
    typed : str or None
        The value as typed; None for a table with a header of its own.
    """

    line: int
    typed: str | None = None


def locate(text: str) -> dict[KeyPath, Place]:
    """Find the line and the typed value of every key.

    Parameters
    ----------
    text : str
        A text that `tomllib` has read without an error.

    Returns
    -------
    dict
        Place of each key path: tables, entries of lists, and values.
    """
    return _Scanner(text).run()


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.places: dict[KeyPath, Place] = {}
        self.counts: dict[KeyPath, int] = {}
        self.breaks = [found.start() for found in re.finditer("\n", text)]

    def run(self) -> dict[KeyPath, Place]:
        table: KeyPath = ()
        self.skip(_BLANK)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self.header()
            else:
                self.pair(table)
            self.skip(_BLANK)
        return self.places

    def skip(self, what: re.Pattern[str]) -> str:
        """Pass over what matches here, and give it."""
        found = what.match(self.text, self.at)
        start, self.at = self.at, found.end() if found else self.at
        return self.text[start : self.at]

    def line(self, at: int) -> int:
        return bisect.bisect_left(self.breaks, at) + 1

    def header(self) -> KeyPath:
        line = self.line(self.at)
        several = self.text.startswith("[[", self.at)
        self.at += 2 if several else 1
        *outer, last = self.keys()
        self.at += 2 if several else 1
        table: KeyPath = ()
        for key in outer:
            table = self.inside((*table, key))
            self.places.setdefault(table, Place(line=line))
        table = (*table, last)
        if several:
            position = self.counts.get(table, 0)
            self.counts[table] = position + 1
            self.places.setdefault(table, Place(line=line))
            table = (*table, position)
        self.places[table] = Place(line=line)
        return table

    def inside(self, table: KeyPath) -> KeyPath:
        """Go on into the last entry where the table is a list of tables."""
        return (*table, self.counts[table] - 1) if table in self.counts else table

    def keys(self) -> list[str]:
        """Read a dotted key."""
        found = []
        while True:
            self.skip(_SPACE)
            quote = self.text[self.at]
            typed = self.skip(_BASIC if quote == '"' else _LITERAL if quote == "'" else _BARE_KEY)
            found.append(tomllib.loads(f"key = {typed}")["key"] if quote in "\"'" else typed)
            self.skip(_SPACE)
            if not self.text.startswith(".", self.at):
                return found
            self.at += 1

    def pair(self, table: KeyPath) -> None:
        line = self.line(self.at)
        path = table
        for key in self.keys():
            path = (*path, key)
            self.places.setdefault(path, Place(line=line))
        self.at += 1  # the equals sign
        self.skip(_SPACE)
        self.value(path, line)

    def value(self, path: KeyPath, line: int) -> None:
        start = self.at
        opening = self.text[start : start + 3]
        if opening == '"""':
            self.skip(_LONG_BASIC)
        elif opening == "'''":
            self.skip(_LONG_LITERAL)
        elif opening[0] == '"':
            self.skip(_BASIC)
        elif opening[0] == "'":
            self.skip(_LITERAL)
        elif opening[0] == "[":
            self.entries(path)
        elif opening[0] == "{":
            self.inline(path)
        else:
            self.skip(_PLAIN)
        self.places[path] = Place(line=line, typed=self.text[start : self.at].strip())

    def entries(self, path: KeyPath) -> None:
        self.at += 1
        position = 0
        self.skip(_BLANK)
        while self.text[self.at] != "]":
            self.value((*path, position), self.line(self.at))
            position += 1
            self.separator()
        self.at += 1

    def inline(self, path: KeyPath) -> None:
        self.at += 1
        self.skip(_BLANK)
        while self.text[self.at] != "}":
            self.pair(path)
            self.separator()
        self.at += 1

    def separator(self) -> None:
        self.skip(_BLANK)
        if self.text[self.at] == ",":
            self.at += 1
            self.skip(_BLANK)
