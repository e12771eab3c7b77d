"""The command ``rigcheck start``."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rigcheck.cli.options import as_json_option
from rigcheck.cli.running import BAD_INPUT, console, messages, print_json
from rigcheck.cli.words import plain
from rigcheck.errors import OutputError

if TYPE_CHECKING:
    from rigcheck.studies.start.study import Interview
    from rigcheck.views.start_view import StartView

__all__ = ["start"]

_LONGEST_LINE = 4000


@click.command(short_help="Ask me the questions, and write and check the rig file.")
@click.argument("file", required=False, default="my-rig.toml", type=click.Path(path_type=Path))
@click.option("--overwrite", is_flag=True, help="Let it replace a rig file that is there.")
@as_json_option
def start(file: Path, overwrite: bool, as_json: bool) -> None:
    """Ask for what a rig file needs, how to measure it included; write it and check it.

    FILE is the rig file to write, my-rig.toml if left out. Every answer is kept in a draft beside it as it comes:
    Ctrl-C loses nothing, and the same command goes on. Answers may also come from a file, one a line.

    \b
      rigcheck start inkwell.toml
      rigcheck start crane.toml < shared/answers/paper-crane.txt
    """
    from rigcheck.files import rig_from_text, write_whole
    from rigcheck.files.start_draft import draft_path, read_draft, write_draft
    from rigcheck.studies.start.study import Interview
    from rigcheck.views.start_view import StartView, start_json

    if not file.suffix and not file.is_dir():
        file = file.with_suffix(".toml")
    _refuse_what_is_there(file, overwrite=overwrite)
    draft = draft_path(file)
    interview = Interview(read_draft(draft), folder=file.parent)
    command = shlex.join(["rigcheck", "start", str(file), *(["--overwrite"] if overwrite else [])])
    if hasattr(sys.stdin, "reconfigure"):
        sys.stdin.reconfigure(errors="replace")
    view = StartView(messages(), echo=not sys.stdin.isatty())
    view.welcome(file, kept=interview.count)
    if not _talk(interview, view, keep=lambda: write_draft(draft, interview.answers, command=command)):
        asked = interview.next()
        assert asked is not None
        view.left(asked, draft, kept=interview.count, command=command)
        sys.exit(BAD_INPUT)
    text = interview.text()
    shot = rig_from_text(text, source=str(file), folder=file.parent)
    write_whole(file, text, overwrite=overwrite)
    draft.unlink(missing_ok=True)
    view.wrote(file)
    from rigcheck.studies.check import check

    result = check(shot)
    if as_json:
        print_json(start_json(file, result))
    else:
        from rigcheck.views.terminal import render_check

        render_check(console(), result)
    sys.exit(1 if result.verdict == "fail" else 0)


def _talk(interview: Interview, view: StartView, *, keep: Callable[[], None]) -> bool:
    """Ask until all is answered; False where the user left or the answers ended."""
    try:
        asked = interview.next()
        if asked is not None:
            view.ask(asked)
        while asked is not None:
            line = _line()
            if line is None:
                return False
            view.took(line)
            word = line.strip().lower()
            if word == "stop":
                return False
            if word == "back":
                before = asked
                moved = interview.back()
                asked = interview.next()
                if moved and asked is not None:
                    view.ask(asked)
                else:
                    view.nothing_before(before)
                continue
            wrong = interview.answer(line)
            if wrong:
                view.again(asked, wrong)
                continue
            keep()
            asked = interview.next()
            if asked is not None:
                view.ask(asked)
    except KeyboardInterrupt:
        return False
    finally:
        if interview.answers:
            keep()  # once more: Ctrl-C may have come between an answer and its keeping
    return True


def _line() -> str | None:
    """Read one line; None at the end of the input. What is far too long is read to its end and cut."""
    line = sys.stdin.readline(_LONGEST_LINE)
    if not line:
        return None
    while not line.endswith("\n"):
        more = sys.stdin.readline(_LONGEST_LINE)
        if not more:
            break
        line = line[:_LONGEST_LINE] + ("\n" if more.endswith("\n") else "")
    return line


def _refuse_what_is_there(file: Path, *, overwrite: bool) -> None:
    """Stop before the first question where the last answer could not be written."""
    name = plain(str(file))
    if file.is_dir():
        raise OutputError(f"{name} is a folder. Give the name of a file in it.")
    if not file.parent.is_dir():
        raise OutputError(
            f"The folder {plain(str(file.parent))} is not there. Make it first, or give another."
        )
    if file.exists() and not overwrite:
        raise OutputError(
            f"{name} is there already and stays as it is. Give another name, or add --overwrite."
            f" To check it: rigcheck check {name}"
        )
