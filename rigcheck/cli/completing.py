"""What the shell offers when a word is completed: props of the file, names from stock, words of the rig file."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import get_args

import click

__all__ = ["names_and_words", "props_of_the_file"]


def props_of_the_file(ctx: click.Context, _param: click.Parameter, incomplete: str) -> list[str]:
    """Offer the props of the rig file that stands on the command line.

    Parameters
    ----------
    ctx : click.Context
        Holds the words before.
    incomplete : str
        What is typed so far.

    Returns
    -------
    list of str
        Nothing where there is no file, or it cannot be read: completing never fails.
    """
    # An option that still waits for its value leaves the words before it unsorted in `args`.
    words = [ctx.params.get("rig"), ctx.params.get("file"), *ctx.args]
    given = next((str(word) for word in words if str(word).endswith(".toml")), "")
    try:
        with Path(given).open("rb") as stream:
            props = tomllib.load(stream).get("prop", [])
        return _beginning(incomplete, [prop["name"] for prop in props if isinstance(prop.get("name"), str)])
    except (OSError, ValueError, TypeError, AttributeError):
        return []


def names_and_words(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Offer the names or words that an option takes.

    Parameters
    ----------
    ctx : click.Context
        Not used: the same everywhere.
    param : click.Parameter
        The option; its name is the key of the rig file.
    incomplete : str
        What is typed so far.

    Returns
    -------
    list of str
        Nothing for options that take sizes.
    """
    del ctx
    from rigcheck import model, stock

    match param.name:
        case "material" | "clamp":
            found: Sequence[str] = stock.names(param.name)
        case "words":
            found = [name for kind in ("material", "sheet", "clamp") for name in stock.names(kind)]
        case "along":
            found = list(model.DIRECTIONS)
        case "section" | "from" | "shape" | "profile" | "hazard":
            kinds = {
                "section": model.Section,
                "from": model.Side,
                "shape": model.Shape,
                "profile": model.Profile,
                "hazard": model.Hazard,
            }
            found = get_args(kinds[param.name])
        case _:
            return []
    return _beginning(incomplete, found)


def _beginning(incomplete: str, names: Sequence[str]) -> list[str]:
    return sorted({name for name in names if name.startswith(incomplete) and name.isprintable()})
