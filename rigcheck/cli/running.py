"""How the program prints, tells how far it is, and ends."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from rigcheck.cli.group import commands
from rigcheck.cli.next_step import next_step
from rigcheck.cli.words import plain
from rigcheck.errors import RigcheckError, reason_of

if TYPE_CHECKING:
    from rich.console import Console

__all__ = ["BAD_INPUT", "console", "messages", "print_json", "progress", "run"]

BAD_INPUT = 2


def run() -> None:
    """Run the program; every error that a user can cause ends in a plain message and exit code 2."""
    if hasattr(sys.stdout, "reconfigure"):
        # A pipe may be told to be ASCII; a name with an accent must not end in a traceback.
        sys.stdout.reconfigure(errors="replace")
    try:
        sys.exit(commands.main(prog_name="rigcheck", standalone_mode=False) or 0)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except click.Abort:
        click.echo("Stopped.", err=True)
        sys.exit(BAD_INPUT)
    except RigcheckError as error:
        click.echo(f"rigcheck: {plain(str(error))}", err=True)
        step = next_step(error, sys.argv[1:])
        if step is not None:
            click.echo(f"  Next: {plain(step)}", err=True)
        sys.exit(BAD_INPUT)
    except BrokenPipeError:
        _drop_output()
    except OSError as error:
        _drop_output()
        click.echo(f"rigcheck: the result cannot be written: {reason_of(error)}.", err=True)
        sys.exit(BAD_INPUT)


def _drop_output() -> None:
    """Send what is still to be printed nowhere, so that closing does not fail on it again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def console() -> Console:
    """Give a console for results, on stdout."""
    from rich.console import Console

    class Terminal(Console):
        """A console whose reader may go (head, less): the exit code still tells the verdict."""

        def on_broken_pipe(self) -> None:
            self.quiet = True
            _drop_output()

    return Terminal(highlight=False)


def messages() -> Console:
    """Give a console for questions and messages, on stderr."""
    from rich.console import Console

    return Console(stderr=True, highlight=False)


def print_json(value: Any) -> None:
    """Print a result as JSON on stdout."""
    from rigcheck.views.as_json import dump

    try:
        click.echo(dump(value))
    except BrokenPipeError:
        _drop_output()


@contextmanager
def progress() -> Iterator[Callable[[str, int, int | None], None]]:
    """A function to tell how far a long job is; it draws on stderr, and only on a terminal."""
    if not sys.stderr.isatty():
        yield lambda *_: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=None)

        def tell(what: str, done: int, total: int | None) -> None:
            bar.update(task, description=what, completed=done, total=total)

        yield tell
