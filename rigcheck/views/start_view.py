"""The questions of `rigcheck start` on the screen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.cells import cell_len
from rich.text import Text

from rigcheck.views.format import printable
from rigcheck.views.wrapped import WrappedPage

if TYPE_CHECKING:
    from pathlib import Path

    from rich.console import Console

    from rigcheck.studies.results import CheckResult
    from rigcheck.studies.start.study import Asked

__all__ = ["StartView", "start_json"]


def start_json(file: Path, result: CheckResult) -> dict[str, Any]:
    """Turn what `rigcheck start` made into plain values: the form ``rigcheck-start/1``.

    Parameters
    ----------
    file : Path
        The rig file written.
    result : CheckResult
        Its check.

    Returns
    -------
    dict
        ``format``, ``file`` and ``check``, which is as `rigcheck.views.as_json.check_json` gives it.
    """
    from rigcheck.views.as_json import check_json

    return {"format": "rigcheck-start/1", "file": str(file), "check": check_json(result)}


class StartView:
    """Prints the talk.

    Parameters
    ----------
    console : rich.console.Console
        Where to; its width, colours and encoding are respected.
    echo : bool
        Whether answers have to be shown, as they do not come from a keyboard.
    """

    def __init__(self, console: Console, *, echo: bool) -> None:
        self._console = console
        self._echo = echo
        self._section: tuple[int | None, str] | None = None

    def welcome(self, file: Path, *, kept: int) -> None:
        """Say what comes, or that it goes on."""
        if kept:
            self._write(f"Going on with {file}: {_answers(kept)} kept.", style="bold")
        else:
            self._write(f"A few questions about your rig, and {file} is written and checked.", style="bold")
        self._write(
            "Enter alone takes what stands in brackets. back returns to the question before. Ctrl-C or stop leaves;"
            " every answer is kept, and the same command goes on."
        )

    def ask(self, asked: Asked) -> None:
        """Put a question, with how to measure and what to choose from."""
        question = asked.question
        section = (asked.prop, question.section)
        if section != self._section:
            self._section = section
            of_prop = f", prop {asked.prop + 1}" if asked.prop else ""
            self._console.print()
            self._write(f"{question.section}{of_prop}", style="bold underline")
        self._console.print()
        self._write(question.asks, style="bold")
        if question.how:
            self._write(question.how, indent=2)
        if asked.choices and question.kind != "yes-no":
            self._choose(asked)
        self._prompt(asked)

    def again(self, asked: Asked, wrong: tuple[str, ...]) -> None:
        """Say what is wrong with the answer, and ask for another."""
        for sentence in wrong:
            self._write(f"! {sentence}", style="bold", indent=2)
        self._prompt(asked)

    def took(self, line: str) -> None:
        """Show an answer that nobody has seen on the screen."""
        if self._echo:
            self._console.print(Text(self._safe(line.strip())), soft_wrap=True)

    def nothing_before(self, asked: Asked) -> None:
        """Say that there is no question before this one."""
        self._write("This is the first question.", indent=2)
        self._prompt(asked)

    def left(self, asked: Asked, draft: Path, *, kept: int, command: str) -> None:
        """Say where the answers are and how to go on."""
        self._console.print()
        if kept:
            self._write(f'Left at "{asked.question.asks}" {_answers(kept)} kept in {draft}.')
        else:
            self._write(f'Left at "{asked.question.asks}" Nothing was answered, nothing is kept.')
        self._write(f"To go on: {command}")

    def wrote(self, file: Path) -> None:
        """Say that the rig file is there."""
        self._console.print()
        self._write(f"Wrote {file}. Change it with any text editor, then: rigcheck check {file}")
        self._console.print()

    def _prompt(self, asked: Asked) -> None:
        if asked.default is not None:
            leave = "; none leaves it out" if asked.question.optional else ""
            offer = f" [{asked.default}{leave}]"
        else:
            offer = " [leave it out]" if asked.question.optional else ""
        if asked.question.kind == "yes-no":
            offer = f" yes or no{offer}"
        self._console.print(Text(self._safe(f"{offer}> ".lstrip())), end="", soft_wrap=True)
        self._console.file.flush()

    def _choose(self, asked: Asked) -> None:
        page = WrappedPage(self._console)
        column = max(cell_len(value) for value, _ in asked.choices)
        figures = len(str(len(asked.choices)))
        for number, (value, words) in enumerate(asked.choices, 1):
            first = f"  {number:>{figures}}  {value.ljust(column)}  "
            page.write(words, first=Text(first if words else first.rstrip()), hang=len(first))
        page.print()

    def _safe(self, text: str) -> str:
        return printable(text, encoding=self._console.encoding)

    def _write(self, text: str, *, style: str = "", indent: int = 0) -> None:
        page = WrappedPage(self._console)
        page.write(page.text(text, style), hang=indent)
        page.print()


def _answers(count: int) -> str:
    return "1 answer is" if count == 1 else f"{count} answers are"
