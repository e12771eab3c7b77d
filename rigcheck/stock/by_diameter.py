"""Values that depend on the diameter of the wire: tables, steps and power laws."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.stock.datum import Datum, engineering_unit

__all__ = ["DiameterLaw", "Piece", "PowerLaw", "checked_diameter", "law_from", "power_law_from"]

# A size typed in inches and a table in millimetres may differ in the last bit: 1/4 in against 6.35 mm.
_ROUNDING = 1e-9


def checked_diameter(diameter: float) -> float:
    """Return the diameter [m] if it is positive and finite, else raise `ArgumentError`."""
    if not 0.0 < diameter < math.inf:
        raise ArgumentError(f"A diameter of {diameter!r} m is not possible: give a positive, finite number.")
    return diameter


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class PowerLaw:
    """Tensile strength of spring wire, ``Rm = A / d^m`` with `d` in mm and `A` in MPa, as it is printed.

    Attributes
    ----------
    coefficient : float
        `A` [MPa mm^m].
    exponent : float
        `m` [-].
    smallest, largest : float
        Diameters between which it holds [m].
    condition : str
        What it holds for and how good it is.
    source : tuple of str
        Keys of `sources.toml`.
    mark : str
        See `Datum`.
    """

    coefficient: float
    exponent: float
    smallest: float
    largest: float
    condition: str
    source: tuple[str, ...]
    mark: str

    def tensile_strength(self, diameter: float) -> float:
        """Return the tensile strength [Pa] at a diameter [m].

        Raises
        ------
        ValidityError
            The diameter is outside the law's range.
        """
        checked_diameter(diameter)
        if not self.smallest * (1.0 - _ROUNDING) <= diameter <= self.largest * (1.0 + _ROUNDING):
            raise ValidityError(
                f"The strength law holds from {self.smallest * 1e3:.3g} to {self.largest * 1e3:.3g} mm; "
                f"{diameter * 1e3:.3g} mm was given."
            )
        return float(self.coefficient / (diameter * 1e3) ** self.exponent * 1e6)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Piece:
    """A stretch of diameters with one source: points joined by straight lines in log value over log diameter.

    A step is a piece with two equal values, a power law one with its two ends: both are straight here.

    Attributes
    ----------
    diameters, values : tuple of float, shape (n,)
        Points in SI, thin to thick, n at least 2.
    highs : tuple of float, shape (n,), or None
        Upper limits at the points; `values` are then the lower limits.
    condition, source, mark
        See `Datum`.
    """

    diameters: tuple[float, ...]
    values: tuple[float, ...]
    highs: tuple[float, ...] | None
    condition: str
    source: tuple[str, ...]
    mark: str

    def value(self, diameter: float) -> float:
        """Return the value alone at a diameter [m] between the ends of the piece."""
        return self._between(self.values, diameter)

    def _between(self, values: tuple[float, ...], diameter: float) -> float:
        last = len(self.diameters) - 2
        i = next((n for n in range(last) if diameter <= self.diameters[n + 1]), last)
        start, end = self.diameters[i], self.diameters[i + 1]
        share = min(1.0, max(0.0, math.log(diameter / start) / math.log(end / start)))
        return float(values[i] * (values[i + 1] / values[i]) ** share)

    def at(self, diameter: float) -> Datum:
        """Return the value at a diameter [m] between the ends of the piece."""
        value = self.value(diameter)
        high = None if self.highs is None else self._between(self.highs, diameter)
        return Datum(
            value=value,
            low=None if high is None else value,
            high=high,
            condition=self.condition,
            source=self.source,
            mark=self.mark,
        )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class DiameterLaw:
    """One property over the whole range of diameters, in pieces from thin to thick.

    Attributes
    ----------
    pieces : tuple of Piece
        Each begins where the one before ends; a shared end belongs to the thinner piece.
    """

    pieces: tuple[Piece, ...]

    @property
    def range(self) -> tuple[float, float]:
        """Smallest and largest diameter [m]."""
        return self.pieces[0].diameters[0], self.pieces[-1].diameters[-1]

    def holds(self, diameter: float) -> bool:
        """Whether the diameter [m] is inside the range."""
        smallest, largest = self.range
        return smallest * (1.0 - _ROUNDING) <= diameter <= largest * (1.0 + _ROUNDING)

    def at(self, diameter: float, *, what: str) -> Datum:
        """Return the value at a diameter [m]; `what` names material and property in the message.

        Raises
        ------
        ValidityError
            The diameter is outside the range: nothing is extrapolated.
        """
        if not self.holds(checked_diameter(diameter)):
            smallest, largest = self.range
            raise ValidityError(
                f"{what} is known from {smallest * 1e3:.3g} to {largest * 1e3:.3g} mm diameter; "
                f"{diameter * 1e3:.3g} mm was given. Choose a size in that range, or describe your own wire "
                "under [[material]]."
            )
        return self._piece(diameter).at(diameter)

    def value(self, diameter: float) -> float:
        """Return the value alone at a diameter [m], NaN outside the range."""
        return self._piece(diameter).value(diameter) if self.holds(diameter) else math.nan

    def _piece(self, diameter: float) -> Piece:
        for piece in self.pieces:
            if diameter <= piece.diameters[-1] * (1.0 + _ROUNDING):
                return piece
        return self.pieces[-1]

    def summary(self) -> Datum:
        """Return one datum for every diameter: the middle piece's first value, the range over all pieces."""
        values = [value for piece in self.pieces for value in piece.values]
        highs = [value for piece in self.pieces for value in (piece.highs or ())]
        middle = self.pieces[len(self.pieces) // 2]
        return Datum(
            value=middle.values[0],
            low=min(values),
            high=max(values + highs),
            condition="by diameter: ask for one size",
            source=tuple(dict.fromkeys(key for piece in self.pieces for key in piece.source)),
            mark=middle.mark,
        )


def power_law_from(entry: Mapping[str, Any]) -> PowerLaw:
    """Return the power law of one entry of a data file."""
    return PowerLaw(
        coefficient=entry["coefficient"],
        exponent=entry["exponent"],
        smallest=entry["from_mm"] * 1e-3,
        largest=entry["to_mm"] * 1e-3,
        condition=entry.get("condition", ""),
        source=tuple(entry["source"]),
        mark=entry["mark"],
    )


def law_from(entries: Sequence[Mapping[str, Any]], key: str) -> DiameterLaw:
    """Return the law that a list of entries describes: tables, steps and power laws, thin to thick."""
    factor, _ = engineering_unit(key)
    pieces = []
    for entry in entries:
        if "coefficient" in entry:
            law = power_law_from(entry)
            diameters = (law.smallest, law.largest)
            values = tuple(law.tensile_strength(diameter) for diameter in diameters)
            highs = None
        else:
            diameters = tuple(diameter * 1e-3 for diameter in entry["diameter_mm"])
            values = tuple(value * factor for value in entry["value"])
            highs = tuple(value * factor for value in entry["high"]) if "high" in entry else None
        pieces.append(
            Piece(
                diameters=diameters,
                values=values,
                highs=highs,
                condition=entry.get("condition", ""),
                source=tuple(entry["source"]),
                mark=entry["mark"],
            )
        )
    return DiameterLaw(pieces=tuple(pieces))
