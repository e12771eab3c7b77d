"""What can be bought: stock sizes, and how far a piece may be from its nominal size."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Any

from rigcheck.errors import ValidityError
from rigcheck.stock.by_diameter import checked_diameter
from rigcheck.stock.gauges import gauge_diameter
from rigcheck.stock.materials import Material, find_material, valid_diameter
from rigcheck.stock.tables import locate, record, support_families

__all__ = ["StockSize", "Tolerance", "stock_sizes", "tolerance"]

_METRES_PER_INCH = 0.0254


@dataclass(frozen=True, kw_only=True)
class StockSize:
    """One size that is sold.

    Attributes
    ----------
    section : str
        ``round``, ``tube``, ``strip``, ``threaded`` or ``line``.
    diameter : float or None
        Outer diameter [m]; nominal diameter of a thread; None for a strip.
    wall_thickness : float or None
        Of a tube [m].
    width, thickness : float or None
        Of a strip [m].
    stress_area : float or None
        Of a thread [m^2].
    label : str
        As it is sold: ``"3 mm"``, ``"1/8 in"``, ``"4 x 0.45 mm"``, ``"M4"``.
    source : tuple of str
        Keys of `sources.toml` for the size being sold.
    mark : str
        See `Datum`.
    """

    section: str
    diameter: float | None = None
    wall_thickness: float | None = None
    width: float | None = None
    thickness: float | None = None
    stress_area: float | None = None
    label: str
    source: tuple[str, ...]
    mark: str


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """Limits of a size.

    Attributes
    ----------
    low, high : float
        Smallest and largest outer diameter [m].
    wall_low, wall_high : float or None
        Smallest and largest wall [m]; None where no wall was asked for or no limit is known.
    label, condition : str
        Which tolerance, what it holds for.
    source : tuple of str
        Keys of `sources.toml`.
    mark : str
        See `Datum`.
    """

    low: float
    high: float
    wall_low: float | None
    wall_high: float | None
    label: str
    condition: str
    source: tuple[str, ...]
    mark: str


def _inches(text: str) -> float:
    return float(Fraction(text)) * _METRES_PER_INCH


@cache
def _sizes(name: str) -> tuple[StockSize, ...]:
    entry = record("sizes", name)
    base: dict[str, Any] = {
        "section": entry["section"],
        "source": tuple(entry["source"]),
        "mark": entry["mark"],
    }
    return tuple(StockSize(**base, **size) for size in _size_fields(entry))


def _size_fields(entry: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    for value in entry.get("diameters_mm", ()):
        yield {"diameter": value * 1e-3, "label": f"{value:g} mm"}
    for text in entry.get("diameters_in", ()):
        yield {"diameter": _inches(text), "label": f"{text} in"}
    for number in entry.get("awg", ()):
        yield {"diameter": gauge_diameter(f"{number} AWG"), "label": f"{number} AWG"}
    for outer, wall in entry.get("tubes_mm", ()):
        yield {
            "diameter": outer * 1e-3,
            "wall_thickness": wall * 1e-3,
            "label": f"{outer:g} x {wall:g} mm",
        }
    if "run_in" in entry:
        run = entry["run_in"]
        outer, step = Fraction(run["from"]), Fraction(run["step"])
        while outer <= Fraction(run["to"]):
            yield {
                "diameter": float(outer) * _METRES_PER_INCH,
                "wall_thickness": _inches(run["wall"]),
                "label": f"{outer} x {run['wall']} in",
            }
            outer += step
    for width, thickness in entry.get("strips_mm", ()):
        yield {
            "width": width * 1e-3,
            "thickness": thickness * 1e-3,
            "label": f"{width:g} x {thickness:g} mm",
        }
    metric = [(f"M{value:g}", value * 1e-3) for value in entry.get("threads_mm", ())]
    inch = [(f"{text} in UNC", _inches(text)) for text in entry.get("threads_in", ())]
    for (label, diameter), area in zip(metric + inch, entry.get("stress_areas_mm2", ()), strict=True):
        yield {"diameter": diameter, "stress_area": area * 1e-6, "label": label}


def stock_sizes(material: Material | str) -> tuple[StockSize, ...]:
    """Return the sizes a material is sold in, without those its data do not cover.

    Parameters
    ----------
    material : Material or str
        A material or its name. A material of the user's own has no stock sizes.

    Returns
    -------
    tuple of StockSize
        By section, then thin to thick, each size once.
    """
    found = find_material(material) if isinstance(material, str) else material
    return _stock_sizes(found.name)


@cache
def _stock_sizes(name: str) -> tuple[StockSize, ...]:
    place = locate(name, support_families())
    if place is None:
        return ()
    smallest, largest = valid_diameter(name)
    seen: dict[tuple[Any, ...], StockSize] = {}
    for wanted in record(*place)["sizes"]:
        start = wanted.get("from_mm", 0.0) * 1e-3
        end = wanted.get("to_mm", float("inf")) * 1e-3
        for size in _sizes(wanted["list"]):
            across = size.diameter if size.diameter is not None else size.thickness
            inside = across is not None and start - 1e-9 <= across <= end + 1e-9
            if not inside or (size.diameter is not None and not smallest <= size.diameter <= largest):
                continue
            # To the nearest tenth of a micrometre: the same size from two lists is one size.
            key = tuple(
                None if value is None else round(value * 1e7)
                for value in (size.diameter, size.wall_thickness, size.width, size.thickness)
            )
            seen.setdefault((size.section, *key), size)
    return tuple(
        sorted(
            seen.values(),
            key=lambda size: (
                size.section,
                size.diameter or size.width or 0.0,
                size.wall_thickness or size.thickness or 0.0,
            ),
        )
    )


def tolerance(material: Material | str, diameter: float, *, wall_thickness: float | None = None) -> Tolerance:
    """Return the limits of the outer diameter, and of the wall where one is given.

    Parameters
    ----------
    material : Material or str
        A material or its name. One of the user's own gets the tolerance of soft craft wire.
    diameter : float
        Nominal outer diameter [m], > 0.
    wall_thickness : float, optional
        Nominal wall [m].

    Raises
    ------
    ValidityError
        No tolerance is known at that diameter.
    """
    checked_diameter(diameter)
    name = material if isinstance(material, str) else material.name
    place = locate(name, support_families())
    if place is None and isinstance(material, str):
        find_material(material)  # raises with the nearest names
    key = "craft-wire" if place is None else record(*place)["tolerance"]
    entry = record("tolerances", key)
    steps = [value * 1e-3 for value in entry["up_to_mm"]]
    if not entry["from_mm"] * 1e-3 * (1 - 1e-9) <= diameter <= steps[-1] * (1 + 1e-9):
        raise ValidityError(
            f"The tolerance {entry['label']} of {name} is known from {entry['from_mm']:g} to "
            f"{entry['up_to_mm'][-1]:g} mm diameter; {diameter * 1e3:.3g} mm was given. Measure the piece."
        )
    i = next((n for n, step in enumerate(steps) if diameter <= step * (1 + 1e-9)), len(steps) - 1)
    lower, upper = entry["deviation_um"][i]
    wall_low = wall_high = None
    if wall_thickness is not None and "wall_share" in entry:
        deviation = max(entry["wall_share"] * wall_thickness, entry["wall_minimum_mm"] * 1e-3)
        wall_low, wall_high = wall_thickness - deviation, wall_thickness + deviation
    return Tolerance(
        low=diameter + lower * 1e-6,
        high=diameter + upper * 1e-6,
        wall_low=wall_low,
        wall_high=wall_high,
        label=entry["label"],
        condition=entry.get("condition", ""),
        source=tuple(entry["source"]),
        mark=entry["mark"],
    )
