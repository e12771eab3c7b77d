"""One number of the stock with its range, condition, source and mark, in SI."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rigcheck.errors import ArgumentError

__all__ = ["MARKS", "UNIT_SUFFIXES", "Datum", "datum_from", "engineering_unit", "given", "optional_datum"]

MARKS = ("published", "from-memory", "common-practice", "derived", "given")
"""The marks: ``given`` is for a material that the user's own file describes."""

# The last part of a key names its unit: key ending -> (factor to SI, unit as shown).
UNIT_SUFFIXES: dict[str, tuple[float, str]] = {
    "kg_m3": (1.0, "kg/m³"),
    "kg_m2": (1.0, "kg/m²"),
    "g_m2": (1e-3, "g/m²"),
    "GPa": (1e9, "GPa"),
    "MPa": (1e6, "MPa"),
    "mm": (1e-3, "mm"),
    "N_m": (1.0, "N·m"),
    "N": (1.0, "N"),
    "C": (1.0, "°C"),
    "min": (60.0, "min"),
    "diameters": (1.0, "diameters"),
}


@dataclass(frozen=True, kw_only=True)
class Datum:
    """A number and what it rests on.

    Attributes
    ----------
    value : float
        The value a check uses, coherent SI.
    low, high : float or None
        Range, same unit; None where no range is known. Read as covering about 90 % of what shops sell.
    condition : str
        What the value holds for.
    source : tuple of str
        Keys of `sources.toml`; `rigcheck.stock.source_text` gives the text.
    mark : str
        ``published``, ``from-memory``, ``common-practice``, ``derived`` or ``given``.
    """

    value: float
    low: float | None = None
    high: float | None = None
    condition: str = ""
    source: tuple[str, ...]
    mark: str

    @property
    def bounds(self) -> tuple[float, float]:
        """Low and high, each the value itself where the range is open."""
        return (
            self.value if self.low is None else self.low,
            self.value if self.high is None else self.high,
        )

    def times(self, share: Datum, *, condition: str = "") -> Datum:
        """Return this datum times a share, as a derived value with both ranges and all sources."""
        bounded = any(end is not None for end in (self.low, self.high, share.low, share.high))
        low, high = self.bounds
        share_low, share_high = share.bounds
        return Datum(
            value=self.value * share.value,
            low=low * share_low if bounded else None,
            high=high * share_high if bounded else None,
            condition=condition or "; ".join(text for text in (share.condition, self.condition) if text),
            source=tuple(dict.fromkeys((*self.source, *share.source))),
            mark="derived",
        )

    def widened(self, scatter: float) -> Datum:
        """Return this datum with a range at least as wide as ``value (1 -+ scatter)``."""
        low, high = self.bounds
        return Datum(
            value=self.value,
            low=min(low, self.value * (1.0 - scatter)),
            high=max(high, self.value * (1.0 + scatter)),
            condition=self.condition,
            source=self.source,
            mark=self.mark,
        )


def engineering_unit(key: str) -> tuple[float, str]:
    """Return the factor to SI and the unit as shown, from the last part of a key.

    Examples
    --------
    >>> engineering_unit("youngs_modulus_GPa")
    (1000000000.0, 'GPa')
    >>> engineering_unit("damping_ratio")
    (1.0, '')
    """
    for suffix, unit in UNIT_SUFFIXES.items():
        if key.endswith(f"_{suffix}"):
            return unit
    return 1.0, ""


def datum_from(entry: Mapping[str, Any], key: str) -> Datum:
    """Return the datum of one entry of a data file, in SI by the unit its key names."""
    factor, _ = engineering_unit(key)
    low = entry.get("low")
    high = entry.get("high")
    return Datum(
        value=entry["value"] * factor,
        low=None if low is None else low * factor,
        high=None if high is None else high * factor,
        condition=entry.get("condition", ""),
        source=tuple(entry["source"]),
        mark=entry["mark"],
    )


def optional_datum(record: Mapping[str, Any], key: str) -> Datum | None:
    """Return the datum under a key, or None where the record has none."""
    return datum_from(record[key], key) if key in record else None


def given(value: float | Datum, name: str) -> Datum:
    """Return a value of the user's own as a datum marked ``given``; it must be positive and finite."""
    if isinstance(value, Datum):
        return value
    if not 0.0 < value < float("inf"):
        raise ArgumentError(f"{name} = {value!r} must be a positive, finite number.")
    return Datum(value=float(value), condition="as given", source=(), mark="given")
