"""Reading `materials/`: one record at a time, because parsing all of it would slow every start.

A file is a row of top-level tables with the header alone on its line. The text is cut at those headers and
only the piece that is asked for is parsed.
"""

from __future__ import annotations

import re
import tomllib
from functools import cache
from typing import Any

from rigcheck.errors import UnknownNameError
from rigcheck.stock.folder import data_folder

__all__ = [
    "KINDS",
    "Record",
    "aliases_of",
    "all_records",
    "files_of",
    "locate",
    "names",
    "nearest",
    "normalised",
    "record",
    "record_names",
    "support_families",
    "unknown_name",
]

Record = dict[str, Any]

KINDS = ("material", "sheet", "clamp", "prop", "gauge")
"""What there is in stock."""
_FILES = {"sheet": "sheet", "clamp": "clamps", "prop": "prop-densities", "gauge": "gauges"}

_HEADER = re.compile(r'^\["?([^"\]\n]+)"?\][ \t]*$', re.MULTILINE)
_ALIASES = re.compile(r"^aliases = \[(.*)\]$", re.MULTILINE)
_QUOTED = re.compile(r'"([^"]*)"')

_NOT_SUPPORTS = frozenset(
    {
        "cautions",
        "clamps",
        "damping",
        "gauges",
        "practice",
        "prop-densities",
        "scatter",
        "sheet",
        "sizes",
        "sources",
        "tolerances",
    }
)
# Spelling that differs by country, and separators: one form for comparing.
_SPELLINGS = (
    ("aluminum", "aluminium"),
    ("fiber", "fibre"),
    ("gray", "grey"),
    ("galvanized", "galvanised"),
    ("vise", "vice"),
)
_SEPARATORS = re.compile(r"[\s_\-]+")


def normalised(name: str) -> str:
    """Return a name in the form used to compare: lower case, hyphens, one spelling.

    Examples
    --------
    >>> normalised(" Aluminum_Tube ")
    'aluminium-tube'
    """
    text = _SEPARATORS.sub("-", name.strip().lower())
    for other, ours in _SPELLINGS:
        text = text.replace(other, ours)
    return text


@cache
def support_families() -> tuple[str, ...]:
    """Return the families of support materials: every file of the folder that is not a special one."""
    files = data_folder("materials").glob("*.toml")
    return tuple(sorted(file.stem for file in files if file.stem not in _NOT_SUPPORTS))


def files_of(kind: str) -> tuple[str, ...]:
    """Return the files that hold one of the `KINDS`."""
    return support_families() if kind == "material" else (_FILES[kind],)


def names(kind: str = "material") -> tuple[str, ...]:
    """Return every name of one kind: ``material``, ``sheet``, ``clamp``, ``prop`` or ``gauge``.

    Raises
    ------
    UnknownNameError
        There is no such kind.
    """
    if kind not in KINDS:
        raise UnknownNameError(f'There is no kind of stock "{kind}". Known: {", ".join(KINDS)}.')
    return tuple(name for file in files_of(kind) for name in record_names(file))


@cache
def _text(file: str) -> str:
    return (data_folder("materials") / f"{file}.toml").read_text(encoding="utf-8")


@cache
def _spans(file: str) -> dict[str, tuple[int, int]]:
    headers = list(_HEADER.finditer(_text(file)))
    ends = [header.start() for header in headers[1:]] + [len(_text(file))]
    return {header[1]: (header.start(), end) for header, end in zip(headers, ends, strict=True)}


def record_names(file: str) -> tuple[str, ...]:
    """Return the names of the records of one file, in the file's order."""
    return tuple(_spans(file))


@cache
def record(file: str, name: str) -> Record:
    """Return one record of one file; what it does not say itself it takes from the record it is ``like``.

    Parameters
    ----------
    file : str
        File name without its ending.
    name : str
        Exact name of the record.

    Returns
    -------
    dict
        The parsed table. Treat it as read-only: it is shared.
    """
    start, end = _spans(file)[name]
    own: Record = tomllib.loads(_text(file)[start:end])[name]
    if "like" not in own:
        return own
    base = {key: value for key, value in record(file, own["like"]).items() if key not in {"aliases", "like"}}
    # An empty table takes a value of the base away.
    return {key: value for key, value in {**base, **own}.items() if value != {} and key != "like"}


@cache
def all_records(file: str) -> dict[str, Any]:
    """Return a file of plain ``key = value`` lines whole (`sources.toml`)."""
    return tomllib.loads(_text(file))


@cache
def aliases_of(file: str) -> dict[str, str]:
    """Return the compare forms of every name and alias of a file, each with its record's name."""
    known: dict[str, str] = {}
    for name, (start, end) in _spans(file).items():
        known[normalised(name)] = name
        line = _ALIASES.search(_text(file), start, end)
        if line is not None:
            for alias in _QUOTED.findall(line[1]):
                known.setdefault(normalised(alias), name)
    return known


@cache
def locate(name: str, files: tuple[str, ...]) -> tuple[str, str] | None:
    """Return the file and the exact record name for a name or alias, or None.

    An exact name in any file goes before an alias in another.
    """
    key = normalised(name)
    for file in files:
        for exact in _spans(file):
            if normalised(exact) == key:
                return file, exact
    for file in files:
        found = aliases_of(file).get(key)
        if found is not None:
            return file, found
    return None


def nearest(name: str, files: tuple[str, ...]) -> list[str]:
    """Return up to three record names whose name or alias is spelt most like `name`, best first."""
    import difflib  # only when something was misspelt

    known: dict[str, str] = {}
    for file in files:
        for alias, exact in aliases_of(file).items():
            known.setdefault(alias, exact)
    key = normalised(name)
    close = difflib.get_close_matches(key, list(known), n=6, cutoff=0.6)
    if close:
        # One clear slip of the finger should get one answer: drop what is much less alike than the best.
        alike = {word: difflib.SequenceMatcher(None, key, word).ratio() for word in close}
        close = [word for word in close if alike[word] >= alike[close[0]] - 0.1]
    if not close and len(key) >= 3:
        words = set(key.split("-"))
        close = [alias for alias in known if key in alias or words & set(alias.split("-"))]
    return list(dict.fromkeys(known[alias] for alias in close))[:3]


def unknown_name(kind: str, name: str, files: tuple[str, ...]) -> UnknownNameError:
    """Return the error for a name that is not in stock, with the nearest names in it."""
    close = nearest(name, files)
    if close:
        words = [f'"{word}"' for word in close]
        tail = words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
        advice = f"Did you mean {tail}?"
    else:
        names = [exact for file in files for exact in _spans(file)]
        advice = f"Known: {', '.join(names)}." if len(names) <= 20 else 'See "rigcheck stock" for all names.'
    return UnknownNameError(f'There is no {kind} "{name}" in stock. {advice}')
