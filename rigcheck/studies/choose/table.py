"""Every candidate of a choice as a table, for a spreadsheet."""

from __future__ import annotations

import csv
import io

from rigcheck.errors import ArgumentError
from rigcheck.studies.choose.results import Candidate, ChoiceResult

__all__ = ["COLUMNS", "candidate_rows", "candidates_csv"]

COLUMNS = (
    "prop",
    "place",
    "material",
    "section",
    "size",
    "diameter_mm",
    "wall_mm",
    "width_mm",
    "thickness_mm",
    "count",
    "verdict",
    "every_check_made",
    "chance_of_pass",
    "sag_mm",
    "frequency_Hz",
    "residual_wobble_mm",
    "residual_wobble_px",
    "visible_width_mm",
    "visible_width_px",
    "margin",
    "longest_reach_mm",
    "what_is_wrong",
)
"""Names of the columns; units stand at their ends."""


def candidate_rows(result: ChoiceResult) -> list[dict[str, str]]:
    """Give every candidate as words and numbers.

    Parameters
    ----------
    result : ChoiceResult
        Of `rigcheck.studies.choose.study.choose` with ``every=True``.

    Returns
    -------
    list of dict
        Keys are `COLUMNS`; what is not known is empty.

    Raises
    ------
    ArgumentError
        The result holds the best candidates only.
    """
    if any(prop.tried and not prop.every for prop in result.props):
        raise ArgumentError(
            "The result holds the best candidates only: choose with every=True for a table of all."
        )
    return [
        {"prop": prop.name, "place": str(place)} | _row(one)
        for prop in result.props
        for place, one in enumerate(prop.every, start=1)
    ]


def candidates_csv(result: ChoiceResult) -> str:
    """Every candidate as a table.

    Parameters
    ----------
    result : ChoiceResult
        Of `rigcheck.studies.choose.study.choose` with ``every=True``.

    Returns
    -------
    str
        CSV with one header line.

    Raises
    ------
    ArgumentError
        The result holds the best candidates only.
    """
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(candidate_rows(result))
    return text.getvalue()


def _row(one: Candidate) -> dict[str, str]:
    item = one.item
    sizes = {
        f"{name}_mm": _figure(None if value is None else value * 1e3)
        for name, value in (
            ("diameter", item.diameter),
            ("wall", item.wall),
            ("width", item.width),
            ("thickness", item.thickness),
        )
    }
    return sizes | {
        "material": _plain(item.material),
        "section": item.section,
        "size": _plain(item.label),
        "count": str(one.count),
        "verdict": one.verdict.value,
        "every_check_made": "yes" if one.in_full else "no",
        "chance_of_pass": _figure(one.chance_of_pass),
        "sag_mm": _figure(one.sag_mm),
        "frequency_Hz": _figure(one.frequency_hz),
        "residual_wobble_mm": _figure(one.residual_wobble_mm),
        "residual_wobble_px": _figure(one.residual_wobble_px),
        "visible_width_mm": _figure(one.visible_width_mm),
        "visible_width_px": _figure(one.visible_width_px),
        "margin": _figure(one.margin),
        "longest_reach_mm": _figure(one.longest_reach_mm),
        "what_is_wrong": "; ".join(one.fails),
    }


def _figure(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"


def _plain(text: str) -> str:
    """Text that no spreadsheet takes for a formula."""
    return f"'{text}" if text[:1] in "=+-@\t\r" else text
