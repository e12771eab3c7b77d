"""Rules of the trade, damping, prop densities, cautions and sources."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from rigcheck.stock.datum import Datum, datum_from
from rigcheck.stock.tables import all_records, locate, record, record_names, unknown_name

__all__ = [
    "NamedDatum",
    "caution_text",
    "damping",
    "find_prop_density",
    "general_caution",
    "practice",
    "source_text",
]


@dataclass(frozen=True, kw_only=True)
class NamedDatum:
    """A datum with a name and a plain label.

    Attributes
    ----------
    name, label : str
        As in the data file.
    datum : Datum
        The value, in SI.
    """

    name: str
    label: str
    datum: Datum


def _find(kind: str, file: str, name: str) -> NamedDatum:
    found = locate(name, (file,))
    if found is None:
        raise unknown_name(kind, name, (file,))
    entry = record(*found)
    key = next(key for key, value in entry.items() if isinstance(value, dict))
    return NamedDatum(name=found[1], label=entry["label"], datum=datum_from(entry[key], key))


@cache
def practice(name: str) -> NamedDatum:
    """Return a rule of the trade from `practice.toml`, for example ``"jaw-notch"`` or ``"knot"``.

    Raises
    ------
    UnknownNameError
        There is no such rule.
    """
    return _find("rule", "practice", name)


@cache
def damping(name: str = "firm-jaw") -> NamedDatum:
    """Return a damping ratio [-] of critical from `damping.toml`; the default is a wire in a firm jaw.

    Raises
    ------
    UnknownNameError
        There is no such case.
    """
    return _find("damping case", "damping", name)


@cache
def find_prop_density(name: str) -> NamedDatum:
    """Return what a prop is made of and its density [kg/m^3]; worth +-20 % at best.

    Raises
    ------
    UnknownNameError
        There is no such prop material; the message carries the nearest words.
    """
    return _find("prop material", "prop-densities", name)


@cache
def caution_text(name: str) -> str:
    """Return the sentence of a caution of `cautions.toml`."""
    if name not in record_names("cautions"):
        raise unknown_name("caution", name, ("cautions",))
    return str(record("cautions", name)["says"])


def general_caution() -> str:
    """Return the caution that belongs to every answer."""
    return caution_text("general")


def source_text(key: str) -> str:
    """Return the text of a source key.

    Raises
    ------
    UnknownNameError
        There is no such key.
    """
    sources = all_records("sources")
    if key not in sources:
        raise unknown_name("source", key, ())
    return str(sources[key])
