"""Materials, sheets, sizes, clamps and gauges, read from `materials/`. Values are SI, with sources.

Each part is loaded when it is first asked for: a check should not wait for the search or the sheets.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rigcheck.stock.by_diameter import PowerLaw
    from rigcheck.stock.clamps import Clamp, find_clamp
    from rigcheck.stock.datum import Datum
    from rigcheck.stock.entries import Entry, Fact, FactTable
    from rigcheck.stock.finder import SearchResult, search
    from rigcheck.stock.folder import data_folder
    from rigcheck.stock.gauges import gauge_diameter, looks_like_gauge
    from rigcheck.stock.materials import Material, find_material, own_material, valid_diameter
    from rigcheck.stock.rules import (
        NamedDatum,
        caution_text,
        damping,
        find_prop_density,
        general_caution,
        practice,
        source_text,
    )
    from rigcheck.stock.sheets import CutSheet, Sheet, find_sheet
    from rigcheck.stock.sizes import StockSize, Tolerance, stock_sizes, tolerance
    from rigcheck.stock.tables import names

__all__ = [
    "Clamp",
    "CutSheet",
    "Datum",
    "Entry",
    "Fact",
    "FactTable",
    "Material",
    "NamedDatum",
    "PowerLaw",
    "SearchResult",
    "Sheet",
    "StockSize",
    "Tolerance",
    "caution_text",
    "damping",
    "data_folder",
    "find_clamp",
    "find_material",
    "find_prop_density",
    "find_sheet",
    "gauge_diameter",
    "general_caution",
    "looks_like_gauge",
    "names",
    "own_material",
    "practice",
    "search",
    "source_text",
    "stock_sizes",
    "tolerance",
    "valid_diameter",
]

_HOME = {
    "PowerLaw": "by_diameter",
    "Clamp": "clamps",
    "find_clamp": "clamps",
    "Datum": "datum",
    "Entry": "entries",
    "Fact": "entries",
    "FactTable": "entries",
    "SearchResult": "finder",
    "search": "finder",
    "data_folder": "folder",
    "gauge_diameter": "gauges",
    "looks_like_gauge": "gauges",
    "Material": "materials",
    "find_material": "materials",
    "own_material": "materials",
    "valid_diameter": "materials",
    "NamedDatum": "rules",
    "caution_text": "rules",
    "damping": "rules",
    "find_prop_density": "rules",
    "general_caution": "rules",
    "practice": "rules",
    "source_text": "rules",
    "CutSheet": "sheets",
    "Sheet": "sheets",
    "find_sheet": "sheets",
    "StockSize": "sizes",
    "Tolerance": "sizes",
    "stock_sizes": "sizes",
    "tolerance": "sizes",
    "names": "tables",
}


def __getattr__(name: str) -> Any:
    """Load the module that a public name lives in."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
    globals()[name] = value
    return value
