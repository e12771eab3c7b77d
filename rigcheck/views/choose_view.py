"""The choice in the terminal and as JSON: what to buy, why nothing thinner, how far it reaches."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from rigcheck.studies.results import Status
from rigcheck.views.format import amount, number, printable

if TYPE_CHECKING:
    from rich.console import Console

    from rigcheck.studies.choose import Candidate, ChoiceResult, PropChoice
    from rigcheck.studies.reach import Reach

__all__ = ["choose_json", "render_choice"]

_FORMAT = "rigcheck-choose/1"
_MARKS = {Status.PASS: "✓", Status.CAUTION: "!", Status.FAIL: "✗"}
_PLAIN_MARKS = {Status.PASS: "+", Status.CAUTION: "!", Status.FAIL: "x"}
_WIDEST = 100
_BAR = 30
_NARROW = 76  # under it the columns that decide least are left out
_MOST_BARS = 40


def render_choice(console: Console, result: ChoiceResult, *, most: int | None = None) -> None:
    """Print what to buy.

    Parameters
    ----------
    console : rich.console.Console
        Where to print; its width, colours and encoding are respected.
    result : ChoiceResult
        What the study handed back.
    most : int, optional
        How many candidates to show at most; all there are if left out.
    """
    from rich.text import Text

    width = max(20, min(console.width, _WIDEST))
    encoding = console.encoding
    fancy = printable("✓█", encoding=encoding) == "✓█"

    def say(text: str, *, indent: int = 0, bold: bool = False) -> None:
        body = Text(printable(text, encoding=encoding), style="bold" if bold else "")
        for line in body.wrap(console, max(10, width - indent), overflow="fold"):
            line.rstrip()
            console.print(Text(" " * indent) + line, soft_wrap=True)

    say(f"What to buy: {result.title or 'untitled shot'}", bold=True)
    for prop in result.props:
        console.print()
        say(prop.name, bold=True)
        say(_counts(prop), indent=2)
        if prop.best:
            _table(console, prop.best[:most], width, fancy)
        else:
            say(
                "Nothing in this list can be graded for it: shorten the support or lighten the prop.",
                indent=2,
            )
        if prop.thinner:
            say(prop.thinner, indent=2)
        if prop.front:
            say("Thinnest for the least wobble (no other is better in both):", indent=2, bold=True)
            _table(console, prop.front, width, fancy)
        if prop.cures:
            say("Or keep what the file has and change one thing:", indent=2, bold=True)
            for cure in prop.cures:
                say(f"- {cure.says}", indent=4)
        if prop.reach:
            say("How far one of each size reaches and passes:", indent=2, bold=True)
            _chart(console, prop.reach, width, fancy)
        say("Assumed:", indent=2, bold=True)
        for text in prop.assumptions:
            say(f"- {text}", indent=4)
    console.print()
    say("Cautions", bold=True)
    for caution in dict.fromkeys(
        [*result.cautions, *(text for prop in result.props for text in prop.cautions)]
    ):
        say(f"- {caution}", indent=2)


def _counts(prop: PropChoice) -> str:
    aside = prop.too_soft + prop.too_weak + prop.not_held
    return (
        f"{prop.tried} tried: {prop.passing} pass, {prop.cautioned} with caution,"
        f" {prop.tried - prop.passing - prop.cautioned} fail"
        + (f" ({aside} of them clear without the full solution)." if aside else ".")
    )


def _table(console: Console, candidates: tuple[Candidate, ...], width: int, fancy: bool) -> None:
    from rich.table import Table
    from rich.text import Text

    marks = _MARKS if fancy else _PLAIN_MARKS
    wide = width >= _NARROW
    table = Table(box=None, pad_edge=False, padding=(0, 1), expand=False)
    table.add_column("", no_wrap=True)
    table.add_column("choice", overflow="fold")
    for name in ("shows", "wobble", *(("sag", "Hz", "margin") if wide else ()), "reach"):
        table.add_column(name, justify="right", no_wrap=True)
    for one in candidates:
        shows = (
            amount(one.visible_width_mm, "mm")
            if one.visible_width_px is None
            else amount(one.visible_width_px, "px")
        )
        wobble = (
            _or_dash(one.residual_wobble_mm, "mm")
            if one.residual_wobble_px is None
            else _or_dash(one.residual_wobble_px, "px")
        )
        extra = (
            (_or_dash(one.sag_mm, "mm"), _or_dash(one.frequency_hz, ""), _margin(one.margin)) if wide else ()
        )
        row = (
            f"{marks[one.verdict]} {one.verdict.value}",
            one.words,
            shows,
            wobble,
            *extra,
            _or_dash(one.longest_reach_mm, "mm"),
        )
        table.add_row(*(Text(printable(cell, encoding=console.encoding)) for cell in row))
    from rich.padding import Padding

    console.print(Padding(table, (0, 0, 0, 2)), width=width)


def _margin(value: float) -> str:
    return "10 or more" if value >= 10 else number(value, digits=2)


def _or_dash(value: float | None, unit: str) -> str:
    return "-" if value is None else amount(value, unit)


def _chart(console: Console, rows: tuple[Reach, ...], width: int, fancy: bool) -> None:
    """A bar for each size, those of one material together."""
    from rich.text import Text

    reaching = [row for row in rows if row.length_mm is not None][:_MOST_BARS]
    short = len(rows) - sum(row.length_mm is not None for row in rows)
    longest = max((row.length_mm or 0.0 for row in reaching), default=1.0)
    labels = [f"{row.item.label}" for row in reaching]
    column = max((len(label) for label in labels), default=0)
    room = max(4, min(_BAR, width - column - 16))
    before = ""
    for row, label in zip(reaching, labels, strict=True):
        if row.item.material != before:
            before = row.item.material
            console.print(Text(f"    {printable(before, encoding=console.encoding)}"), soft_wrap=True)
        length = row.length_mm or 0.0
        bar = ("█" if fancy else "#") * max(1, round(room * length / longest))
        text = f"      {label:<{column}} {bar} {length:.0f} mm"
        console.print(Text(printable(text, encoding=console.encoding)), soft_wrap=True)
    more = len(rows) - short - len(reaching)
    if more:
        console.print(Text(f"    and {more} more, listed by --json."), soft_wrap=True)
    if short:
        told = Text(f"{short} thinner sizes pass at no length from 20 mm on.")
        for line in told.wrap(console, max(10, width - 4)):
            console.print(Text("    ") + line, soft_wrap=True)


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
        "reach": [
            {
                "material": row.item.material,
                "section": row.item.section,
                "size": row.item.label,
                "diameter_mm": _scaled(row.item.diameter),
                "longest_reach_mm": _float(row.length_mm),
            }
            for row in prop.reach
        ],
        "cures": [{"says": cure.says, "kind": cure.kind, "cures": sorted(cure.cures)} for cure in prop.cures],
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
        "sag_mm": _float(one.sag_mm),
        "frequency_Hz": _float(one.frequency_hz),
        "residual_wobble_mm": _float(one.residual_wobble_mm),
        "residual_wobble_px": _float(one.residual_wobble_px),
        "visible_width_mm": _float(one.visible_width_mm),
        "visible_width_px": _float(one.visible_width_px),
        "margin": _float(one.margin),
        "longest_reach_mm": _float(one.longest_reach_mm),
        "fails": list(one.fails),
    }


def _scaled(metres: float | None) -> float | None:
    return None if metres is None else _float(metres * 1e3)


def _float(value: float | None) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.11e}") + 0.0
