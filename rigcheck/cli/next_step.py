"""The command to try next after an error."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path

from rigcheck.cli.group import COMMANDS
from rigcheck.errors import InputError, OutputError, RigcheckError, UnknownNameError

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
    >>> missing = Problem(where="the file", says="there is no such file.")
    >>> next_step(InputError("inkwell.toml", [missing]), ["check", "inkwell.toml"])
    'rigcheck start inkwell.toml asks the questions and writes it.'
    >>> mistyped = UnknownNameError("no prop is called that.", given="crane", meant="paper crane")
    >>> next_step(mistyped, ["choose", "desk-set.toml", "--prop", "crane"])
    'rigcheck choose desk-set.toml --prop "paper crane"'
    """
    command = next((word for word in words if word in COMMANDS), "check")
    if isinstance(error, OutputError):
        return None
    mended = _mended(error, words)
    if mended is not None:
        return mended
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
    return f"mend it in a text editor, then again: {_typed(words)}"


def _mended(error: RigcheckError, words: Sequence[str]) -> str | None:
    """The command line with the word that was probably meant; None where that is not known."""
    if isinstance(error, UnknownNameError):
        given, meant = error.given, error.meant
    elif isinstance(error, InputError):
        given, meant = error.source, error.meant
    else:
        return None
    if given is None or meant is None:
        return None
    tail = f"={given}"
    mended = []
    for word in words:
        if word == given:
            mended.append(meant)
        elif word.startswith("--") and word.endswith(tail):
            mended.append(f"{word.removesuffix(tail)}={meant}")
        else:
            mended.append(word)
    return None if mended == list(words) else _typed(mended)


def _typed(words: Sequence[str]) -> str:
    """A command line as a person would type it."""
    return " ".join(["rigcheck", *(_quoted(word) for word in words)])


def _quoted(word: str) -> str:
    """A word of a command line; in double quotes, which serve every shell, where nothing in it means something."""
    quoted = shlex.quote(word)
    return quoted if quoted == word or set(word) & set('"\\$`!%') else f'"{word}"'
