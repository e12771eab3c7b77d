"""The choice in the terminal and as JSON: what to buy, why nothing thinner, how far it reaches."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rigcheck.views.as_json import plain_number
from rigcheck.views.format import WIDEST, amount, marks_for, number, printable, sampled_chance

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
    from rich.text import Text

    width = max(20, min(console.width, WIDEST))
    encoding = console.encoding

    def say(text: str, *, indent: int = 0, bold: bool = False, bullet: bool = False) -> None:
        body = Text(printable(text, encoding=encoding), style="bold" if bold else "")
        mark, room = ("- ", indent + 2) if bullet else ("", indent)
        for place, line in enumerate(body.wrap(console, max(10, width - room), overflow="fold")):
            line.rstrip()
            lead = " " * indent + mark if not place else " " * room
            console.print(Text(lead) + line, soft_wrap=True)

    shared = set.intersection(*(set(prop.assumptions) for prop in result.props)) if result.props else set()
    if len(result.props) == 1:
        shared = set()

    say(f"What to buy: {result.title or 'untitled shot'}", bold=True)
    for prop in result.props:
        console.print()
        say(prop.name, bold=True)
        say(_counts(prop), indent=2)
        if prop.best:
            _table(console, prop.best[:most], width)
        else:
            say(
                "Nothing in this list can be graded for it: shorten the support or lighten the prop.",
                indent=2,
            )
        if prop.lucky:
            say(prop.lucky, indent=2)
        if prop.thinner:
            say(prop.thinner, indent=2)
        if prop.front:
            say("Thinnest for the least wobble (no other is better in both):", indent=2, bold=True)
            _table(console, prop.front, width)
        if prop.cures:
            say("Or keep what the file has and change one thing:", indent=2, bold=True)
            for cure in _leading(prop.cures):
                say(cure.says, indent=4, bullet=True)
        if prop.reach:
            say("How far one of each size reaches with this prop:", indent=2, bold=True)
            rows = prop.reach if all_reach else _near(prop)
            _chart(console, rows, width)
            if more := len(prop.reach) - len(rows):
                say(f"{more} more sizes: add --reach.", indent=4)
        if told := [text for text in prop.assumptions if text not in shared]:
            say("Assumed:", indent=2, bold=True)
            for text in told:
                say(text, indent=4, bullet=True)
    if shared:
        console.print()
        say("Assumed for all", bold=True)
        for text in (text for text in result.props[0].assumptions if text in shared):
            say(text, indent=2, bullet=True)
    console.print()
    say("Cautions", bold=True)
    for caution in dict.fromkeys(
        [*result.cautions, *(text for prop in result.props for text in prop.cautions)]
    ):
        say(caution, indent=2, bullet=True)


def _counts(prop: PropChoice) -> str:
    aside = prop.too_soft + prop.too_weak + prop.not_held
    return (
        f"{prop.tried} tried: {prop.passing} pass on strength, buckling, sag and wobble, {prop.cautioned} with"
        " caution,"
        f" {prop.tried - prop.passing - prop.cautioned} fail"
        + (f" ({aside} of them clear without the full solution)." if aside else ".")
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


def _table(console: Console, candidates: tuple[Candidate, ...], width: int) -> None:
    """One line a candidate, two where names are long; columns that decide least go where there is no room."""
    from rich.text import Text

    marks = marks_for(console.encoding)
    columns: dict[str, list[str]] = {
        "": [f"{marks[one.verdict]} {one.verdict.value}" for one in candidates],
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
        name: [printable(cell, encoding=console.encoding) for cell in cells]
        for name, cells in columns.items()
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
        if total <= width:
            break
    else:
        _stacked(console, candidates, columns, width)
        return

    def line(cells: list[str]) -> None:
        placed = [
            f"{cell:<{widths[name]}}" if name in ("", "choice") else f"{cell:>{widths[name]}}"
            for name, cell in zip(widths, cells, strict=True)
        ]
        console.print(Text(f"  {_GAP.join(placed)}".rstrip()), soft_wrap=True)

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


def _stacked(
    console: Console, candidates: tuple[Candidate, ...], columns: dict[str, list[str]], width: int
) -> None:
    """A few lines a candidate, for very narrow terminals."""
    from rich.text import Text

    for row in range(len(candidates)):
        head = f"{columns[''][row]} {columns['choice'][row]}"
        rest = ", ".join(f"{name} {columns[name][row]}" for name in ("shows", "wobble"))
        for indent, text in ((2, head), (4, rest)):
            for line in Text(text).wrap(console, max(10, width - indent), overflow="fold"):
                line.rstrip()
                console.print(Text(" " * indent) + line, soft_wrap=True)


def _margin(value: float) -> str:
    return "10 or more" if value >= 10 else number(value, digits=2)


def _or_dash(value: float | None, unit: str) -> str:
    return "-" if value is None else amount(value, unit)


def _chart(console: Console, rows: tuple[Reach, ...], width: int) -> None:
    """A bar for each size, those of one material together."""
    from rich.text import Text

    reaching = [row for row in rows if row.length_mm is not None]
    longest = max((row.length_mm or 0.0 for row in reaching), default=1.0)
    labels = [row.item.label for row in rows]
    column = max((len(label) for label in labels), default=0)
    room = max(4, min(_BAR, width - column - 16))
    block = "█" if printable("█", encoding=console.encoding) == "█" else "#"
    before = ""
    for row, label in zip(rows, labels, strict=True):
        if row.item.material != before:
            before = row.item.material
            console.print(Text(f"    {printable(before, encoding=console.encoding)}"), soft_wrap=True)
        if row.length_mm is None:
            bar = "passes at no length from 20 mm on" if width - column >= 42 else "too thin"
        else:
            full = block * max(1, round(room * row.length_mm / longest))
            bar = f"{full} {row.length_mm:.0f} mm"
        text = f"      {label:<{column}} {bar}"
        console.print(Text(printable(text, encoding=console.encoding)), soft_wrap=True)


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
