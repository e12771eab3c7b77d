"""The choice in the terminal and as JSON: what to buy, why nothing thinner, how far it reaches."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.cells import cell_len
from rich.text import Text

from rigcheck.studies.words import material_words
from rigcheck.views.as_json import plain_number
from rigcheck.views.format import amount, number, printable, printable_or, sampled_chance
from rigcheck.views.wrapped import WrappedPage

if TYPE_CHECKING:
    from rich.console import Console

    from rigcheck.studies.choose.reach import Reach
    from rigcheck.studies.choose.results import Candidate, ChoiceResult, PropChoice
    from rigcheck.studies.cures import Cure

__all__ = ["choose_json", "render_choice"]

_FORMAT = "rigcheck-choose/1"
_BAR = 30
_MOST_BARS = 5  # sizes of one material in the chart, unless all are asked for
_MOST_MATERIALS = 3
_MOST_CURES = 6
_GAP = "  "
# What is left out first where there is no room for all; the choice itself takes two lines before the rest goes.
_LEAVE_OUT = ("Hz", "margin", "sag", "two lines", "chance", "reach")


def render_choice(
    console: Console, result: ChoiceResult, *, most: int | None = None, all_reach: bool = False
) -> None:
    """Print what to buy.

    Parameters
    ----------
    console : rich.console.Console
        Where to print; its width, colours and encoding are respected.
    result : ChoiceResult
        What the study handed back.
    most : int, optional
        How many candidates to show at most; all there are if left out.
    all_reach : bool
        Show how far every size reaches, not only those near the choice.
    """
    page = WrappedPage(console)
    shared = set.intersection(*(set(prop.assumptions) for prop in result.props)) if result.props else set()
    if len(result.props) == 1:
        shared = set()
    page.heading(f"What to buy: {result.title or 'untitled shot'}")
    for prop in result.props:
        page.blank()
        _prop_choice(page, prop, most=most, all_reach=all_reach)
        if told := [text for text in prop.assumptions if text not in shared]:
            page.heading("Assumed:", indent=2)
            page.bullets(told, indent=4)
    if shared:
        page.blank()
        page.heading("Assumed for all")
        page.bullets(text for text in result.props[0].assumptions if text in shared)
    page.blank()
    page.heading("Cautions")
    own = [caution for prop in result.props for caution in prop.cautions]
    page.bullets(dict.fromkeys([*result.cautions, *own]))
    page.print()


def _prop_choice(page: WrappedPage, prop: PropChoice, *, most: int | None, all_reach: bool) -> None:
    """What to buy for one prop, why nothing thinner, what else to change, how far it reaches."""
    page.heading(prop.name)
    page.write(_counts(prop), hang=2)
    if prop.best:
        _table(page, prop.best[:most])
    else:
        page.write(
            "Nothing in this list can be graded for it: shorten the support or lighten the prop.", hang=2
        )
    if prop.lucky:
        page.write(prop.lucky, hang=2)
    if prop.thinner:
        page.write(prop.thinner, hang=2)
    if prop.front:
        page.heading("Thinnest for the least wobble (no other is better in both):", indent=2)
        _table(page, prop.front)
    if prop.cures:
        page.heading("Or keep what the file has and change one thing:", indent=2)
        page.bullets((cure.says for cure in _leading(prop.cures)), indent=4)
    if prop.reach:
        page.heading("How far one of each size reaches with this prop:", indent=2)
        rows = prop.reach if all_reach else _near(prop)
        _chart(page, rows)
        if more := len(prop.reach) - len(rows):
            page.write(f"{more} more sizes: add --reach.", hang=4)


def _counts(prop: PropChoice) -> str:
    aside = prop.too_soft + prop.too_weak + prop.not_held
    return (
        f"{prop.tried:,} tried: {prop.passing:,} pass on strength, buckling, sag and wobble, {prop.cautioned:,} with"
        f" caution, {prop.tried - prop.passing - prop.cautioned:,} fail"
        + (f" ({aside:,} of them clear without the full solution)." if aside else ".")
    )


def _leading(cures: tuple[Cure, ...]) -> tuple[Cure, ...]:
    """Those to show: what makes everything pass, where anything does."""
    whole = tuple(cure for cure in cures if cure.passes)
    return (whole or cures)[:_MOST_CURES]


def _near(prop: PropChoice) -> tuple[Reach, ...]:
    """Sizes around those shown, of the materials that come first."""
    materials = list(dict.fromkeys((one.item.material, one.item.section) for one in prop.best))
    rows: list[Reach] = []
    for kind in materials[:_MOST_MATERIALS]:
        sizes = sorted(
            (row for row in prop.reach if (row.item.material, row.item.section) == kind),
            key=lambda row: row.item.across,
        )
        shown = {one.item.label for one in prop.best if (one.item.material, one.item.section) == kind}
        places = [place for place, row in enumerate(sizes) if row.item.label in shown]
        first = max(0, min(places, default=0) - 1)
        rows += sizes[first : first + _MOST_BARS]
    return tuple(rows)


def _table(page: WrappedPage, candidates: tuple[Candidate, ...]) -> None:
    """One line a candidate, two where names are long; columns that decide least go where there is no room."""
    columns: dict[str, list[str]] = {
        "": [f"{page.mark(one.verdict)} {one.verdict.value}" for one in candidates],
        "choice": [one.words for one in candidates],
        "shows": [
            amount(one.visible_width_mm, "mm")
            if one.visible_width_px is None
            else amount(one.visible_width_px, "px")
            for one in candidates
        ],
        "wobble": [
            _or_dash(one.residual_wobble_mm, "mm")
            if one.residual_wobble_px is None
            else _or_dash(one.residual_wobble_px, "px")
            for one in candidates
        ],
        "sag": [_or_dash(one.sag_mm, "mm") for one in candidates],
        "Hz": [_or_dash(one.frequency_hz, "") for one in candidates],
        "margin": [_margin(one.margin) for one in candidates],
        "chance": [
            "-" if one.chance_of_pass is None else sampled_chance(one.chance_of_pass) for one in candidates
        ],
        "reach": [_or_dash(one.longest_reach_mm, "mm") for one in candidates],
    }
    columns = {
        name: [printable(cell, encoding=page.encoding) for cell in cells] for name, cells in columns.items()
    }
    two_lines = False
    for leave in ("", *_LEAVE_OUT):
        if leave == "two lines":
            two_lines = True
        else:
            columns.pop(leave or "nothing", None)
        widths = {
            name: max(len(name), *(_wide(cell, two_lines and name == "choice") for cell in cells))
            for name, cells in columns.items()
        }
        total = 2 + sum(widths.values()) + len(_GAP) * (len(widths) - 1)
        if total <= page.measure:
            break
    else:
        _stacked(page, columns)
        return

    def line(cells: list[str]) -> None:
        placed = [
            f"{cell:<{widths[name]}}" if name in ("", "choice") else f"{cell:>{widths[name]}}"
            for name, cell in zip(widths, cells, strict=True)
        ]
        page.add(Text(f"  {_GAP.join(placed)}"))

    line(list(columns))
    for row in range(len(candidates)):
        cells = [column[row] for column in columns.values()]
        place = list(columns).index("choice")
        first, second = _halves(cells[place]) if two_lines else (cells[place], "")
        line([*cells[:place], first, *cells[place + 1 :]])
        if second:
            line(["" if at != place else second for at in range(len(cells))])


def _halves(words: str) -> tuple[str, str]:
    """Size and material, the material with its form."""
    size, unit, material = words.rpartition(" mm ") if " mm " in words else words.rpartition(" in ")
    return (f"{size}{unit}".rstrip(), material) if unit else (words, "")


def _wide(words: str, in_two: bool) -> int:
    return max(len(half) for half in _halves(words)) if in_two else len(words)


def _stacked(page: WrappedPage, columns: dict[str, list[str]]) -> None:
    """A few lines a candidate, for very narrow terminals."""
    for mark, choice, shows, wobble in zip(
        *(columns[name] for name in ("", "choice", "shows", "wobble")), strict=True
    ):
        page.write(f"{mark} {choice}", hang=2)
        page.write(f"shows {shows}, wobble {wobble}", hang=4)


def _margin(value: float) -> str:
    return "10 or more" if value >= 10 else number(value, digits=2)


def _or_dash(value: float | None, unit: str) -> str:
    return "-" if value is None else amount(value, unit)


def _chart(page: WrappedPage, rows: tuple[Reach, ...]) -> None:
    """A bar for each size, those of one material and form together."""
    longest = max((row.length_mm or 0.0 for row in rows), default=0.0)
    labels = [printable(row.item.label, encoding=page.encoding) for row in rows]
    column = max((cell_len(label) for label in labels), default=0)
    room = max(4, min(_BAR, page.measure - column - 16))
    block = printable_or("█", "#", encoding=page.encoding)
    before = ""
    for row, label in zip(rows, labels, strict=True):
        kind = material_words(row.item.material, row.item.section)
        if kind != before:
            before = kind
            page.write(kind, hang=4)
        if row.length_mm is None:
            bar = "passes at no length from 20 mm on" if page.measure - column >= 42 else "too thin"
        else:
            bar = f"{block * max(1, round(room * row.length_mm / longest))} {row.length_mm:.0f} mm"
        page.write(bar, first=Text(f"      {label} "), hang=column + 7)


# -- JSON -----------------------------------------------------------------------------------------------


def choose_json(result: ChoiceResult) -> dict[str, Any]:
    """Turn the choice into plain values.

    Parameters
    ----------
    result : ChoiceResult
        What the study handed back.

    Returns
    -------
    dict
        Form ``rigcheck-choose/1``: ``candidates`` best first, of one prop; with several props each has its own
        under ``props`` and ``candidates`` are those of the first.
    """
    props = [_prop(prop) for prop in result.props]
    return {
        "format": _FORMAT,
        "title": result.title,
        "candidates": props[0]["candidates"] if props else [],
        "props": props,
        "cautions": list(result.cautions),
    }


def _prop(prop: PropChoice) -> dict[str, Any]:
    return {
        "name": prop.name,
        "candidates": [_candidate(one) for one in prop.best],
        "pareto": [_candidate(one) for one in prop.front] or None,
        "why_not_thinner": prop.thinner or None,
        "by_luck": prop.lucky or None,
        "reach": [
            {
                "material": row.item.material,
                "section": row.item.section,
                "size": row.item.label,
                "diameter_mm": _scaled(row.item.diameter),
                "longest_reach_mm": plain_number(row.length_mm),
            }
            for row in prop.reach
        ],
        "cures": [
            {"says": cure.says, "kind": cure.kind, "cures": sorted(cure.cures), "passes": cure.passes}
            for cure in prop.cures
        ],
        "tried": prop.tried,
        "passing": prop.passing,
        "with_caution": prop.cautioned,
        "set_aside_too_soft": prop.too_soft,
        "set_aside_too_weak": prop.too_weak,
        "not_held": prop.not_held,
        "assumptions": list(prop.assumptions),
        "cautions": list(prop.cautions),
    }


def _candidate(one: Candidate) -> dict[str, Any]:
    item = one.item
    return {
        "material": item.material,
        "section": item.section,
        "size": item.label,
        "diameter_mm": _scaled(item.diameter),
        "wall_mm": _scaled(item.wall),
        "width_mm": _scaled(item.width),
        "thickness_mm": _scaled(item.thickness),
        "count": one.count,
        "verdict": one.verdict.value,
        "chance_of_pass": plain_number(one.chance_of_pass),
        "sag_mm": plain_number(one.sag_mm),
        "frequency_Hz": plain_number(one.frequency_hz),
        "residual_wobble_mm": plain_number(one.residual_wobble_mm),
        "residual_wobble_px": plain_number(one.residual_wobble_px),
        "visible_width_mm": plain_number(one.visible_width_mm),
        "visible_width_px": plain_number(one.visible_width_px),
        "margin": plain_number(one.margin),
        "longest_reach_mm": plain_number(one.longest_reach_mm),
        "fails": list(one.fails),
    }


def _scaled(metres: float | None) -> float | None:
    return None if metres is None else plain_number(metres * 1e3)
