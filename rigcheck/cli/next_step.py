"""The command to try next after an error."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path

from rigcheck.cli.group import COMMANDS
from rigcheck.errors import InputError, OutputError, RigcheckError

__all__ = ["next_step"]

_FROM_STOCK = ("material", "clamp")


def next_step(error: RigcheckError, words: Sequence[str]) -> str | None:
    """Name the command that helps on.

    Parameters
    ----------
    error : RigcheckError
        What went wrong.
    words : sequence of str
        The command line, without the program's name.

    Returns
    -------
    str or None
        One sentence; None where the error itself says it.

    Examples
    --------
    >>> from rigcheck.errors import Problem
    >>> missing = Problem(where="the file", line=None, given=None, says="there is no such file.")
    >>> next_step(InputError("inkwell.toml", [missing]), ["check", "inkwell.toml"])
    'rigcheck start inkwell.toml asks the questions and writes it.'
    """
    command = next((word for word in words if word in COMMANDS), "check")
    if isinstance(error, OutputError):
        return None
    if not isinstance(error, InputError):
        return f"rigcheck {command} --help"
    whole = any(problem.where == "the file" for problem in error.problems)
    if whole and error.source.endswith(".toml") and not Path(error.source).exists():
        return f"rigcheck start {shlex.quote(error.source)} asks the questions and writes it."
    if any(problem.where.split(" > ")[-1].lstrip("-").endswith(_FROM_STOCK) for problem in error.problems):
        return "rigcheck stock lists every material, sheet and clamp; then run the same command again."
    from rigcheck.files.video_frames import is_video

    if whole or error.source == "flags" or is_video(error.source):
        return f"rigcheck {command} --help"
    return f"mend it in a text editor, then again: {shlex.join(['rigcheck', *words])}"
