"""The stock on a terminal and as JSON: what a search found, in the units people buy in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

from rigcheck.views.wrapped import WrappedPage

if TYPE_CHECKING:
    from rigcheck.stock import Entry, Fact, FactTable, SearchResult

__all__ = ["render_stock", "stock_json"]

_NARROW = 76
"""Below this many columns the list is one block for each name."""
_WIDE = 118
"""From this many columns on, sizes have a column of their own."""
_BUY = {3: "any craft, model or builders' shop", 2: "a specialist", 1: "to order"}
_MARKS = {
    "published": "published",
    "from-memory": "from memory",
    "common-practice": "common practice",
    "derived": "derived",
    "given": "given",
}

_STRENGTH_WORDS = {
    "yield_strength_MPa": "yield",
    "elastic_limit_MPa": "elastic",
    "rupture_strength_MPa": "breaks",
}


def _number(value: float) -> str:
    """Return three significant digits, never in powers of ten where a person would not write them."""
    if value == 0.0:
        return "0"
    if 1e-5 <= abs(value) < 1e6:
        digits = 2 - int(f"{value:.2e}".split("e")[1])
        # The nudge rounds a printed half up: 196.5 is 197 to a reader.
        text = f"{round(value * (1.0 + 1e-12), digits):.{max(0, digits)}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    return f"{value:.2e}"


def _value(fact: Fact, *, unit: bool = True) -> str:
    """Return value, range and unit in one line."""
    tail = f" {fact.unit}" if unit and fact.unit else ""
    ends = [_number(end) for end in (fact.low, fact.high) if end is not None]
    if fact.value is None:
        return f"{' to '.join(ends)}{tail}"
    shown = _number(fact.value)
    other = [end for end in ends if end != shown]
    if len(ends) == 2 and other:
        return f"{shown}{tail} ({ends[0]} to {ends[1]})"
    if other:
        word = "from" if fact.low is not None else "to"
        return f"{shown}{tail} ({word} {other[0]})"
    return f"{shown}{tail}"


def _brief(fact: Fact | None) -> str:
    """Return the value alone, or its range where there is no single one, with the unit."""
    if fact is None:
        return "-"
    shown = _value(fact) if fact.value is None else f"{_number(fact.value)} {fact.unit}".strip()
    word = _STRENGTH_WORDS.get(fact.key)
    return f"{shown} {word}" if word else shown


def _sizes(entry: Entry, *, most: int) -> str:
    """Return the sizes: those asked for, else the ends of the list."""
    if entry.matching_sizes:
        return ", ".join(entry.matching_sizes)
    if len(entry.sizes) <= most:
        return ", ".join(entry.sizes) or "-"
    return f"{entry.sizes[0]} to {entry.sizes[-1]}, {len(entry.sizes)} sizes"


def _mark(entry: Entry) -> str:
    """Return the mark of the stiffness, else of the first value: what the first columns rest on."""
    facts: list[Fact | FactTable] = [fact for fact in (entry.stiffness, *entry.facts) if fact is not None]
    facts += entry.tables
    return _MARKS[facts[0].mark] if facts else "-"


def _other(entry: Entry) -> str:
    """Return the first value of an entry that has no stiffness, strength or density to list."""
    if any(fact is not None for fact in (entry.stiffness, entry.strength, entry.weight)):
        return ""
    if entry.facts:
        fact = entry.facts[0]
        return f"{fact.label} {_value(fact)}" if fact.key != "diameter_mm" else _value(fact)
    return ""


def _list_table(entries: Sequence[Entry], *, wide: bool) -> Table:
    rows = []
    for entry in entries:
        other = _other(entry)
        what = f"{entry.label}. {other}" if other else entry.label
        if not wide:
            what += f"\n{_sizes(entry, most=3)}; {_mark(entry)}" if entry.sizes else f"\n{_mark(entry)}"
        values = [_brief(fact) for fact in (entry.stiffness, entry.strength, entry.weight)]
        rows.append([entry.name, what, *values, *((_sizes(entry, most=4), _mark(entry)) if wide else ())])

    def longest(column: int) -> int:
        return max(cell_len(row[column]) for row in rows)

    table = Table(show_edge=False, pad_edge=False, header_style="bold")
    table.add_column("Name", no_wrap=True, min_width=longest(0))
    table.add_column("What it is", ratio=5, min_width=18)
    for column, heading in enumerate(("E or D", "Strength", "Density"), 2):
        table.add_column(heading, justify="right", no_wrap=True, min_width=longest(column))
    if wide:
        table.add_column("Sizes", ratio=3, min_width=14)
        table.add_column("Marked")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    return table


def _list(page: WrappedPage, console: Console, entries: Sequence[Entry]) -> None:
    """Add the widest layout that fits without cutting a name or a value."""
    for wide in (True, False):
        table = _list_table(entries, wide=wide)
        enough = console.width >= (_WIDE if wide else _NARROW)
        unlimited = console.options.update_width(10 * _WIDE)
        if enough and console.measure(table, options=unlimited).minimum <= console.width:
            page.table(table)
            return
    _list_lines(page, entries)


def _list_lines(page: WrappedPage, entries: Sequence[Entry]) -> None:
    """Add the list for narrow terminals: a name, then what it is, then its values."""
    for entry in entries:
        page.heading(entry.name)
        page.write(entry.label, hang=2)
        words = [
            f"{word} {_brief(fact)}"
            for word, fact in (
                ("E or D", entry.stiffness),
                ("strength", entry.strength),
                ("density", entry.weight),
            )
            if fact is not None
        ]
        values = "; ".join(words) or _other(entry)
        if values:
            page.write(values, hang=2)
        if entry.sizes:
            page.write(f"sizes {_sizes(entry, most=4)}", hang=2)
        page.write(_mark(entry), hang=2)


def _from(item: Fact | FactTable) -> str:
    return f"{_MARKS[item.mark]} [{', '.join(item.source)}]" if item.source else _MARKS[item.mark]


def _facts_table(entry: Entry, *, narrow: bool) -> Table:
    table = Table(show_edge=False, pad_edge=False, header_style="bold")
    table.add_column("Value", ratio=2)
    table.add_column("Number", ratio=2)
    table.add_column("Mark and source", ratio=2)
    if not narrow:
        table.add_column("Holds for", ratio=3)
    for fact in entry.facts:
        if narrow:
            row = [fact.label, _value(fact), f"{_from(fact)} {fact.condition}".strip()]
        else:
            row = [fact.label, _value(fact), _from(fact), fact.condition]
        table.add_row(*(Text(cell) for cell in row))
    return table


_ROW_WORDS = {
    "diameter_mm": ("diameter", " mm"),
    "thickness_mm": ("thickness", " mm"),
    "grip_diameters": ("grip, diameters", ""),
    "number": ("number", ""),
}


def _write_table(page: WrappedPage, table: FactTable) -> None:
    word, unit = _ROW_WORDS[table.row_key]
    condition = f" {table.condition}." if table.condition else ""
    tail = f" ({table.unit})" if table.unit else ""
    page.write(f"{table.label}{tail} by {word}:{condition} {_from(table)}")
    cells = []
    for size, value, high in table.rows:
        place = size if isinstance(size, str) else f"{_number(size)}{unit}"
        cells.append(f"{place}: {_number(value)}{'' if high is None else f' to {_number(high)}'}")
    page.write("; ".join(cells), hang=2)


def _details(page: WrappedPage, entry: Entry, *, narrow: bool) -> None:
    """Everything that is known about one thing."""
    page.heading(f"{entry.name} ({entry.kind})")
    page.write(entry.label)
    for word, texts in (("Also called", entry.aliases), ("Sold as", entry.forms), ("Sizes", entry.sizes)):
        if texts:
            page.write(f"{word}: {', '.join(texts)}")
    if entry.matching_sizes:
        page.write(f"Sizes asked for: {', '.join(entry.matching_sizes)}")
    if entry.standard:
        page.write(f"Standard: {entry.standard}")
    if entry.buy_ease is not None:
        page.write(f"Found at: {_BUY[entry.buy_ease]} (common practice)")
    if entry.facts:
        page.table(_facts_table(entry, narrow=narrow))
    for table in entry.tables:
        _write_table(page, table)
    if entry.note:
        page.write(f"Note: {entry.note}")
    page.blank()


def render_stock(console: Console, result: SearchResult, *, details: bool = False) -> None:
    """Print what a search of the stock found.

    Parameters
    ----------
    console : rich.console.Console
        Where to print; its width decides the layout.
    result : SearchResult
        Of `rigcheck.stock.search`.
    details : bool
        Every value with range, condition, mark and the text of its sources, instead of one line each.
    """
    page = WrappedPage(console)
    for note in result.notes:
        page.write(note)
    if not result.entries:
        page.write(f'Nothing in stock matches "{result.query}".')
        if result.suggestions:
            page.write(f"Nearest: {', '.join(result.suggestions)}")
        else:
            page.write("rigcheck stock alone lists everything.")
        page.print()
        return
    if details:
        for entry in result.entries:
            _details(page, entry, narrow=console.width < _NARROW)
        page.heading("Sources")
        for key, text in result.sources.items():
            page.write(text, first=page.text(f"{key}: "), hang=len(key) + 2)
    else:
        _list(page, console, result.entries)
    page.blank()
    page.heading("Cautions")
    page.bullets(
        dict.fromkeys([result.caution, *(caution for entry in result.entries for caution in entry.cautions)])
    )
    page.print()


def stock_json(result: SearchResult) -> dict[str, Any]:
    """Return what a search found as plain data; units are in the last part of the keys, absent is None.

    Parameters
    ----------
    result : SearchResult
        Of `rigcheck.stock.search`.

    Returns
    -------
    dict
        ``format``, ``query``, ``entries`` (each with ``values`` and ``tables``), ``notes``, ``suggestions``,
        ``cautions``, ``sources``.
    """
    return {
        "format": "rigcheck-stock/1",
        "query": result.query,
        "entries": [
            {
                "kind": entry.kind,
                "name": entry.name,
                "label": entry.label,
                "aliases": list(entry.aliases),
                "forms": list(entry.forms),
                "standard": entry.standard or None,
                "buy_ease": entry.buy_ease,
                "sizes": list(entry.sizes),
                "matching_sizes": list(entry.matching_sizes),
                "values": {
                    fact.key: {
                        "value": fact.value,
                        "low": fact.low,
                        "high": fact.high,
                        "condition": fact.condition or None,
                        "source": list(fact.source),
                        "mark": fact.mark,
                    }
                    for fact in entry.facts
                },
                "tables": [
                    {
                        "key": table.key,
                        "rows": [
                            {table.row_key: size, "value": value, "high": high}
                            for size, value, high in table.rows
                        ],
                        "condition": table.condition or None,
                        "source": list(table.source),
                        "mark": table.mark,
                    }
                    for table in entry.tables
                ],
                "note": entry.note or None,
                "cautions": list(entry.cautions),
            }
            for entry in result.entries
        ],
        "notes": list(result.notes),
        "suggestions": list(result.suggestions),
        "cautions": [result.caution],
        "sources": dict(result.sources),
    }
