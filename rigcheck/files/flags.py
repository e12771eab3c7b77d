"""A shot of one prop on one support, given by the flags of a command."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rigcheck.errors import InputError, Problem
from rigcheck.files.checking import check
from rigcheck.files.locate import KeyPath
from rigcheck.model import Analysis, Axis, Camera, Limits, Move, Shot, Support
from rigcheck.model.fields import nearest_hint
from rigcheck.units import shown

__all__ = ["FLAGS", "rig_from_flags"]

_PROP = ("name", "mass", "mark", "shape", "size", "centre_of_mass", "inertia", "flexural_rigidity")
_WHAT = ("slide", "roll", "acceleration")
_LISTS = frozenset({"mark", "size", "centre_of_mass", "inertia", "offset"})
_MAYBE_LISTS = frozenset({"along", "about", "through", "root_stiffness"})
_COUNTS = frozenset({"image_width", "takes", "modes", "wires"})
_RATIOS = frozenset({"wobble", "residual_periods", "ramp"})
_SWITCHES = frozenset({"gravity_stiffness", "shear"})


def _tables() -> dict[str, KeyPath]:
    """Give every flag with the table of the rig file that it stands for."""
    table: dict[str, KeyPath] = {"title": ()}
    for part, path in (
        (Camera, ("camera",)),
        (Limits, ("limits",)),
        (Analysis, ("analysis",)),
        (Axis, ("prop", 0, "axis")),
        (Support, ("prop", 0, "support", 0)),
        (Move, ("prop", 0, "move")),
    ):
        table.update(dict.fromkeys(part.file_keys(), path))
    table.update(dict.fromkeys(_PROP, ("prop", 0)))
    for key in ("path", "sleeve"):
        del table[key]  # these need a file
    return table


FLAGS: Mapping[str, KeyPath] = _tables()
"""Every flag, with underscores and without its hyphens, against its table in the rig file."""


def rig_from_flags(flags: Mapping[str, Any], *, source: str = "flags", folder: Path | None = None) -> Shot:
    """Make a shot of one prop on one support from flags.

    Parameters
    ----------
    flags : mapping
        Values by flag name with underscores (`FLAGS`); None stands for a flag that was not given. Values
        are texts as typed, or plain numbers. Lists are texts with commas. A slide and a roll together are
        two moves at the same time, the slide carrying the roll.
    source : str, optional
        What to call the input in messages.
    folder : Path, optional
        Where a file of keys lies; the current folder where not given.

    Returns
    -------
    Shot
        The same shot that a file with these values gives.

    Raises
    ------
    InputError
        Everything that is wrong, each by its flag.
    """
    given = {flag.replace("-", "_"): value for flag, value in flags.items() if value is not None}
    problems = [
        Problem(
            where=_flag(flag),
            says="there is no such flag.",
            hint=nearest_hint(flag, FLAGS),
        )
        for flag in given
        if flag not in FLAGS
    ]
    data = _nested({flag: _value(flag, value) for flag, value in given.items() if flag in FLAGS})
    shot, troubles = check(data, folder or Path.cwd())
    for trouble in troubles:
        flag = next((step for step in reversed(trouble.path) if isinstance(step, str)), "")
        typed = given.get(flag)
        problems.append(
            Problem(
                where=_flag(flag) if flag in FLAGS else flag,
                given=None if typed is None else shown(str(typed), 60),
                says=trouble.says,
                hint=_as_flag(trouble.hint),
            )
        )
    if problems or shot is None:
        # A slide and a roll share their flags, and so what is wrong with them.
        raise InputError(
            source,
            list({(problem.where, problem.hint or problem.says): problem for problem in problems}.values()),
        )
    return shot


def _flag(name: str) -> str:
    return "--" + name.replace("_", "-")


def _as_flag(hint: str | None) -> str | None:
    """Turn ``Add mass = "310 g".`` into the flag."""
    if hint is None:
        return None
    return re.sub(r"\b([a-z_]+) = (\"[^\"]*\"|[0-9.]+)", lambda pair: f"{_flag(pair[1])} {pair[2]}", hint)


def _value(flag: str, value: Any) -> Any:
    """Turn a text from the command line into what the rig file would hold."""
    if not isinstance(value, str):
        return value
    text = value.strip()
    if flag in _LISTS or (flag in _MAYBE_LISTS and "," in text):
        parts = [part.strip() for part in text.strip("[]").split(",")]
        return [_number(part) for part in parts] if flag in ("along", "about") else parts
    if flag in _COUNTS:
        return int(text) if text.isascii() and text.isdigit() and len(text) < 20 else value
    if flag in _RATIOS:
        return _number(text)
    if flag in _SWITCHES and text in ("true", "false"):
        return text == "true"
    return value


def _number(text: str) -> float | str:
    """Give the number a text is; the text where it is none, for the model to report."""
    try:
        return float(text) if text.isascii() and "_" not in text else text
    except ValueError:
        return text


def _nested(given: Mapping[str, Any]) -> dict[str, Any]:
    """Nest flat values as the rig file does."""
    support: dict[str, Any] = {}
    prop: dict[str, Any] = {"name": "prop", "support": [support]}
    data: dict[str, Any] = {"prop": [prop]}
    move: dict[str, Any] = {}
    for flag, value in given.items():
        match FLAGS[flag]:
            case ():
                data[flag] = value
            case (str() as table,):
                data.setdefault(table, {})[flag] = value
            case (_, _, "axis"):
                prop.setdefault("axis", {})[flag] = value
            case (_, _, "support", _):
                support[flag] = value
            case (_, _, "move"):
                move[flag] = value
            case _:
                prop[flag] = value
    if move:
        prop["move"] = _moves(move)
    return data


def _moves(move: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Make a slide and a roll that are given together into two moves."""
    if not {"slide", "roll"} <= move.keys() or "keys" in move:
        return [dict(move)]
    slide = {key: value for key, value in move.items() if key not in ("roll", "about", "through")}
    roll = {key: value for key, value in move.items() if key not in ("slide", "acceleration", "along")}
    return [slide, roll]
