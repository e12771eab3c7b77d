"""Reading a rig file."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rigcheck.errors import InputError, Problem, reason_of
from rigcheck.files.checking import Trouble, check
from rigcheck.files.locate import KeyPath, Place, locate
from rigcheck.files.missing import missing_file
from rigcheck.files.syntax import parse_toml
from rigcheck.model import Shot
from rigcheck.units import shown

__all__ = ["LARGEST_FILE", "read_rig", "rig_from_data", "rig_from_text"]

LARGEST_FILE = 1_000_000
"""Most bytes of a rig file."""


def read_rig(path: str | Path) -> Shot:
    """Read a rig file.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    Shot
        What it says.

    Raises
    ------
    InputError
        Everything that is wrong with it, each with its line, its key and what to do.
    """
    path = Path(path)
    source = str(path)
    try:
        content = None if path.is_dir() else _content(path)
    except FileNotFoundError:
        raise missing_file(path, ending=".toml") from None
    except (OSError, ValueError) as error:
        raise _whole_file(source, f"cannot be opened: {reason_of(error)}.", None) from None
    if content is None:
        raise _whole_file(source, "is a folder; a rig file is needed.", _rigs_hint(path))
    if len(content) > LARGEST_FILE:
        raise _whole_file(source, f"is too large: a rig file has at most {LARGEST_FILE:,} bytes.", None)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        problem = Problem(
            where="text",
            line=line,
            says="this is not UTF-8 text.",
            hint="Save the file as plain text in UTF-8.",
        )
        raise InputError(source, [problem]) from None
    return rig_from_text(text, source=source, folder=path.parent)


def rig_from_text(text: str, source: str = "rig file", *, folder: Path | None = None) -> Shot:
    """Read the text of a rig file.

    Parameters
    ----------
    text : str
        The whole text.
    source : str, optional
        What to call it in messages.
    folder : Path, optional
        Where files that it names lie; the current folder where not given.

    Returns
    -------
    Shot
        What it says.

    Raises
    ------
    InputError
        Everything that is wrong with it.
    """
    if len(text) > LARGEST_FILE:
        raise _whole_file(source, f"is too large: a rig file has at most {LARGEST_FILE:,} bytes.", None)
    parsed = parse_toml(text)
    problems = list(parsed.problems)
    if parsed.data is None:
        raise InputError(source, problems)
    if not parsed.data and not problems:
        raise _whole_file(
            source, "is empty.", 'A shot needs at least one [[prop]]; "rigcheck start" writes a first file.'
        )
    shot, troubles = check(parsed.data, folder or Path.cwd())
    if troubles:
        places = locate(parsed.text)
        located = [_problem(trouble, parsed.data, places) for trouble in troubles]
        problems.extend(problem for problem in located if problem.line not in parsed.repaired)
    if problems or shot is None:
        raise InputError(source, sorted(problems, key=lambda problem: problem.line or 0))
    return shot


def rig_from_data(data: Mapping[str, Any], source: str = "rig", *, folder: Path | None = None) -> Shot:
    """Read what a rig file holds, given as Python values.

    Parameters
    ----------
    data : mapping
        Nested as in the file. Quantities are texts as there, or quantities of pint.
    source : str, optional
        What to call it in messages.
    folder : Path, optional
        Where files that it names lie; the current folder where not given.

    Returns
    -------
    Shot
        What it says.

    Raises
    ------
    InputError
        Everything that is wrong with it.
    """
    shot, troubles = check(data, folder or Path.cwd())
    if troubles or shot is None:
        raise InputError(source, [_problem(trouble, data, {}) for trouble in troubles])
    return shot


def _content(path: Path) -> bytes:
    """Read one byte more than is allowed at most, so that an endless file ends too."""
    with path.open("rb") as stream:
        return stream.read(LARGEST_FILE + 1)


def _whole_file(source: str, says: str, hint: str | None) -> InputError:
    """Make the error for a file that cannot be read at all."""
    return InputError(source, [Problem(where="the file", says=says, hint=hint)])


def _rigs_hint(folder: Path) -> str | None:
    """Name a rig file in the folder."""
    try:
        names = sorted(str(found) for found in folder.glob("*.toml"))
    except OSError:
        return None
    return f'Did you mean "{names[0]}"?' if names else None


def _problem(trouble: Trouble, data: Mapping[str, Any], places: Mapping[KeyPath, Place]) -> Problem:
    """Say a trouble with its line, its key as a person would write it, and the value as typed."""
    place = places.get(trouble.path)
    path = trouble.path
    while place is None and path:
        # A key that is missing has no line: take that of the table it is missing from.
        path = path[:-1]
        place = places.get(path)
    typed = place.typed if place is not None and path == trouble.path else None
    return Problem(
        where=where(trouble.path, data),
        line=place.line if place is not None else None,
        given=None if typed is None else shown(" ".join(typed.split()), 60),
        says=trouble.says,
        hint=trouble.hint,
    )


def where(path: KeyPath, data: Mapping[str, Any]) -> str:
    """Write a key path as a person would: ``prop "inkwell" > support 2 > diameter``.

    Parameters
    ----------
    path : tuple of str and int
        Keys and list positions.
    data : mapping
        What the file holds, for names and counts.

    Returns
    -------
    str
        Names where the tables have them, numbers from 1 where there are several.
    """
    words: list[str] = []
    value: Any = data
    for step in path:
        parent, value = value, _step(value, step)
        if isinstance(step, str):
            words.append(step if step.isprintable() else repr(step))
        elif isinstance(value, Mapping):
            name = value.get("name")
            if isinstance(name, str) and name.isprintable() and words:
                words[-1] = f'{words[-1]} "{name[:40]}"'
            elif len(parent) > 1 and words:
                words[-1] = f"{words[-1]} {step + 1}"
        else:
            words.append(f"entry {step + 1}")
    return " > ".join(word if len(word) <= 80 else word[:77] + "..." for word in words)


def _step(value: Any, step: str | int) -> Any:
    """Take one step into the data; None where it does not go there."""
    try:
        return value[step]
    except (KeyError, IndexError, TypeError):
        return None
