"""The answers to `rigcheck start` so far, kept beside the rig file until that is written."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from pathlib import Path

from rigcheck.errors import InputError, Problem, reason_of
from rigcheck.files.writing import write_whole

__all__ = ["draft_path", "read_draft", "write_draft"]

_FORMAT = "rigcheck-start/1"
_LARGEST = 1_000_000


def draft_path(rig_file: Path) -> Path:
    """Give the name of the draft of a rig file.

    Parameters
    ----------
    rig_file : Path
        Where the rig file will lie.

    Returns
    -------
    Path
        Beside it.

    Examples
    --------
    >>> draft_path(Path("inkwell.toml")).name
    'inkwell.draft.toml'
    """
    return rig_file.with_name(f"{rig_file.stem}.draft.toml")


def read_draft(path: Path) -> dict[str, str]:
    """Read the answers of an earlier sitting.

    Parameters
    ----------
    path : Path
        The draft.

    Returns
    -------
    dict of str to str
        Answers by the name of the question; empty where there is no draft.

    Raises
    ------
    InputError
        The file is there and is no draft, so it is not ours to go on with or to replace.
    """
    try:
        with path.open("rb") as stream:
            content = stream.read(_LARGEST + 1)
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise _no_draft(path, f"cannot be opened: {reason_of(error)}.") from None
    try:
        data = tomllib.loads(content.decode("utf-8")) if len(content) <= _LARGEST else {}
    except ValueError:
        data = {}
    answers = data.get("answers")
    if data.get("format") != _FORMAT or not isinstance(answers, dict):
        raise _no_draft(path, "is not a draft of rigcheck start, so it is left as it is.")
    return {name: text for name, text in answers.items() if isinstance(text, str)}


def write_draft(path: Path, answers: Mapping[str, str], *, command: str) -> None:
    """Keep the answers so far, whole or as they were before.

    Parameters
    ----------
    path : Path
        The draft.
    answers : mapping of str to str
        Answers by the name of the question.
    command : str
        How to go on, for the comment at the top.

    Raises
    ------
    OutputError
        It cannot be written; what was kept before is still there.
    """
    first = f"The answers so far. To go on: {command}    To begin anew: delete this file."
    rows = [f"{_text(name)} = {_text(answer)}" for name, answer in answers.items()]
    lines = [f"# {_text(first)[1:-1]}", f'format = "{_FORMAT}"', "", "[answers]", *rows]
    write_whole(path, "\n".join(lines) + "\n", overwrite=True)


def _no_draft(path: Path, says: str) -> InputError:
    hint = "Give another file name, or move it away first."
    return InputError(str(path), [Problem(where="the file", says=says, hint=hint)])


def _text(value: str) -> str:
    """Write a text as TOML does; JSON's escapes are among those of TOML, but for the delete character."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
