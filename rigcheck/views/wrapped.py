"""Text in the terminal: paragraphs wrapped to its width, verdicts as a mark and a word.

It wraps lines itself, so that figures stay with their units and labels keep their column at any width.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import groupby
from typing import TYPE_CHECKING, cast

from rich.cells import cell_len
from rich.text import Text

from rigcheck.studies.results import Status
from rigcheck.views.format import WIDEST, marks_for, printable

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

__all__ = ["WrappedPage"]

_NARROWEST_BODY = 24  # below it the label column gives way

# Colours of the 256 palette at middle lightness, so that they stand out from white and from black alike. The
# 16 named ones depend on the user's theme (yellow on white vanishes): terminals with only those get bold.
_COLOURS = {Status.PASS: "color(28)", Status.CAUTION: "color(136)", Status.FAIL: "color(196)"}

# Spaces between a number and its unit, and inside a range, should not become line breaks: a private-use
# character holds them while wrapping. `printable` has escaped any that the text had of its own.
_GLUE = "\ue000"
_BEFORE_UNIT = re.compile(
    r"(?<=\d) (?=(?:mm|cm|m|px|Hz|s|g|kg|N|N\*m|MPa|GPa|deg|%|fps|rpm|in|kg/m³|kg/m²)(?![\w/*]))"
)
_RANGE = re.compile(r"\(90 %: [^()]+\)".replace(" ", f"[ {_GLUE}]", 1))


class WrappedPage:
    """Lines of text, wrapped to the console as they come and printed in one go.

    A verdict is always a word and a mark; colour only repeats them.

    Parameters
    ----------
    console : rich.console.Console
        Where it will be printed; its width, colours and encoding are respected. No line is longer than its width.

    Attributes
    ----------
    measure : int
        Columns of a line.
    encoding : str
        Of the console.
    """

    def __init__(self, console: Console) -> None:
        self._console = console
        self.encoding = console.encoding
        self.measure = max(1, min(console.width, WIDEST))
        self._coloured = console.color_system in ("256", "truecolor")
        self._marks = marks_for(console.encoding)
        self._lines: list[Text | Table] = []

    def print(self) -> None:
        """Send everything out."""
        for is_text, lines in groupby(self._lines, key=lambda line: isinstance(line, Text)):
            if is_text:
                self._console.print(Text("\n").join(cast("Iterable[Text]", lines)), soft_wrap=True)
            else:
                self._console.print(*lines)

    def blank(self) -> None:
        """Add an empty line."""
        self._lines.append(Text())

    def text(self, text: str, style: str = "") -> Text:
        """Text that is safe to print and carries no markup."""
        safe = printable(text, encoding=self.encoding)
        held = _BEFORE_UNIT.sub(_GLUE, safe)
        held = _RANGE.sub(lambda match: match[0].replace(" ", _GLUE), held)
        return Text(held, style=style)

    def mark(self, status: Status | None) -> Text:
        """The mark of a verdict, or a space."""
        return Text(" ") if status is None else Text(self._marks[status], style=self.style(status))

    def verdict(self, status: Status) -> Text:
        """Mark and word, in capitals."""
        return Text(f"{self._marks[status]} {status.value.upper()}", style=self.style(status))

    def style(self, status: Status) -> str:
        """Bold, in the colour of a verdict where the terminal has it."""
        colour = _COLOURS.get(status, "") if self._coloured else ""
        return f"bold {colour}".rstrip()

    def headline(self, status: Status, name: str) -> None:
        """Add a verdict with what it is about, in bold."""
        first = self.verdict(status).append("  ")
        self.write(self.text(name, "bold"), first=first, hang=cell_len(first.plain))

    def heading(self, text: str, *, indent: int = 0) -> None:
        """Add a line in bold."""
        self.write(self.text(text, "bold"), hang=indent)

    def bullets(self, texts: Iterable[str], *, indent: int = 2) -> None:
        """Add a list, a paragraph each."""
        for text in texts:
            self.write(text, first=Text(" " * indent + "- "), hang=indent + 2)

    def write(self, body: Text | str, *, first: Text | None = None, hang: int = 0) -> None:
        """Add a paragraph: `first` on its left, the body from column `hang` on every line.

        Where `first` is too long for its column the body starts on the next line.
        """
        if isinstance(body, str):
            body = self.text(body)
        hang = min(hang, max(0, self.measure - _NARROWEST_BODY))
        first = first or Text(" " * hang)
        lines = self._wrap(body, self.measure - hang)
        room = hang - cell_len(first.plain)
        # Spaces at the end of `first` part it from the body, so it has to fit with them.
        if room >= 0:
            self.add(Text.assemble(first, " " * room, lines[0]))
            lines = lines[1:]
        else:
            for line in self._wrap(first, self.measure):
                self.add(line)
        for line in lines:
            self.add(Text.assemble(" " * hang, line))

    def add(self, line: Text) -> None:
        """Add one line that is known to fit."""
        line = _with_spaces(line)
        line.rstrip()
        self._lines.append(line)

    def table(self, table: Table) -> None:
        """Add a table that is known to fit."""
        self._lines.append(table)

    def _wrap(self, text: Text, width: int) -> list[Text]:
        if any(cell_len(word) > width for word in text.plain.split()):
            text = _with_spaces(text)  # too narrow to hold figures together
        return list(text.wrap(self._console, max(1, width), overflow="fold")) or [Text()]


def _with_spaces(text: Text) -> Text:
    """The same text and styles with plain spaces for the held ones."""
    free = text.copy()
    free.plain = text.plain.replace(_GLUE, " ")
    return free
