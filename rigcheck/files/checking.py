"""Data from a file or from flags made into a shot, or into everything that is wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import ValidationError

from rigcheck.errors import RigcheckError
from rigcheck.files.locate import KeyPath
from rigcheck.model import Shot
from rigcheck.model.fields import FLAW
from rigcheck.units import is_gauge

__all__ = ["Trouble", "check"]


class Trouble(NamedTuple):
    """One thing that is wrong, by the key it belongs to.

    Attributes
    ----------
    path : tuple of str and int
        Keys and list positions to the value.
    says : str
        What is wrong and what is allowed.
    hint : str or None
        What to do.
    """

    path: KeyPath
    says: str
    hint: str | None = None


def check(data: Mapping[str, Any], folder: Path) -> tuple[Shot | None, list[Trouble]]:
    """Make a shot, and find all that is wrong with the data.

    Parameters
    ----------
    data : mapping
        As the rig file nests it.
    folder : Path
        Where the files that it names lie; they must not lie outside.

    Returns
    -------
    Shot or None, list of Trouble
        The shot where nothing is wrong; otherwise None and what is wrong.
    """
    troubles: list[Trouble] = []
    shot: Shot | None = None
    try:
        shot = Shot.model_validate(data, context={"lengths": _gauge, "files": _finder(folder)})
    except ValidationError as error:
        for details in error.errors(include_url=False):
            context = details.get("ctx", {})
            says, hint = (
                (context["says"], context["hint"]) if details["type"] == FLAW else (details["msg"], None)
            )
            troubles.append(Trouble(details["loc"], says, hint))
    troubles.extend(_unknown_names(data))
    return (None if troubles else shot), list(dict.fromkeys(troubles))


def _gauge(text: str) -> float | None:
    """Give the diameter [m] of a wire gauge, and None for a text that names none."""
    from rigcheck import stock

    return stock.gauge_diameter(text) if is_gauge(text) or stock.looks_like_gauge(text) else None


def _finder(folder: Path) -> Callable[[str], Path]:
    """Give the function that finds a file beside the rig file."""

    def find(name: str) -> Path:
        try:
            home = folder.resolve()
            path = (home / name).resolve()
            inside = path.is_relative_to(home)
            there = inside and path.is_file()
        except (OSError, RuntimeError, ValueError):
            inside, there = True, False
        if not inside:
            raise ValueError(
                "lies outside the folder of the rig file. Copy it there and give its name alone."
            )
        if not there:
            raise ValueError("is not there. It has to lie in the folder of the rig file.")
        return path

    return find


def _unknown_names(data: Mapping[str, Any]) -> Iterator[Trouble]:
    """Hold the names of materials, sheets and clamps against the stock and the shot's own materials."""
    from rigcheck import stock

    own = {
        table.get("name", "") for _, table in _tables(data, "material") if isinstance(table.get("name"), str)
    }
    asked: dict[tuple[Callable[[str], object], str], Trouble | None] = {}
    for path, name, find in _names(data, stock):
        if find is not stock.find_clamp and name in own:
            continue
        if (find, name) not in asked:
            try:
                find(name)
            except RigcheckError as error:
                asked[find, name] = Trouble((), f"{error}")
            else:
                asked[find, name] = None
        trouble = asked[find, name]
        if trouble is not None:
            yield trouble._replace(path=path)


def _names(data: Mapping[str, Any], stock: Any) -> Iterator[tuple[KeyPath, str, Callable[[str], object]]]:
    """Give every name with its place and the function that looks it up."""
    for prop_path, prop in _tables(data, "prop"):
        insert = prop.get("insert")
        if isinstance(insert, Mapping):
            yield from _name((*prop_path, "insert", "material"), insert, stock.find_sheet)
        for support_path, support in _tables(prop, "support", prop_path):
            yield from _name((*support_path, "material"), support, stock.find_material)
            yield from _name((*support_path, "clamp"), support, stock.find_clamp)
            for sleeve_path, sleeve in _tables(support, "sleeve", support_path):
                yield from _name((*sleeve_path, "material"), sleeve, stock.find_material)


def _name(
    path: KeyPath, table: Mapping[str, Any], find: Callable[[str], object]
) -> Iterator[tuple[KeyPath, str, Callable[[str], object]]]:
    """Give a table's name if it has one that can be looked up."""
    value = table.get(str(path[-1]))
    if isinstance(value, str) and value.strip() and len(value) <= 80:
        yield path, value.strip(), find


def _tables(
    data: Mapping[str, Any], key: str, path: KeyPath = ()
) -> Iterator[tuple[KeyPath, Mapping[str, Any]]]:
    """Give the tables of a list of tables, whatever else may stand there."""
    entries = data.get(key)
    if isinstance(entries, (list, tuple)):
        for position, table in enumerate(entries):
            if isinstance(table, Mapping):
                yield (*path, key, position), table
