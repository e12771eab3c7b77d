"""The timing of a shot in the terminal and as JSON: the form ``rigcheck-retime/1``.

Times, nulls and shaping as tables, wobble against the time of the move as a small chart. A chart column that covers
several times shows the least and the most of them, so that a narrow null cannot vanish between two columns.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from rich.cells import cell_len
from rich.text import Text

from rigcheck.studies.results import Status
from rigcheck.views.as_json import plain_number
from rigcheck.views.format import amount, number, printable
from rigcheck.views.wrapped import WrappedPage

if TYPE_CHECKING:
    from rich.console import Console

    from rigcheck.studies.retime.results import (
        Curve,
        ExportedKeys,
        NullTime,
        ProfileTimes,
        PropRetiming,
        RetimeResult,
        ShapedMove,
        Timing,
    )

__all__ = ["export_json", "render_export", "render_retime", "retime_json"]

_FORMAT = "rigcheck-retime/1"
_DIGITS = 12  # significant digits, as in the other forms

_ROWS = 8
_WIDEST_CHART = 72
_NARROWEST_CHART = 20
_DECADES = 2.0  # how far below the limit the chart reaches
_FULL, _PART, _LIMIT = "█", "░", "─"
_PLAIN_CELLS = {_FULL: "#", _PART: ":", _LIMIT: "-"}


def render_retime(console: Console, result: RetimeResult, *, details: bool = False) -> None:
    """Print the timing of a shot for people.

    Parameters
    ----------
    console : rich.console.Console
        Where to print; its width, colours and encoding are respected.
    result : RetimeResult
        What the study handed back.
    details : bool
        Also print strength, modes, impulses and assumptions.
    """
    page = WrappedPage(console)
    page.headline(result.verdict, result.title or "Untitled shot")
    for prop in result.props:
        page.blank()
        _prop(page, prop, details=details)
    page.blank()
    page.heading("Cautions")
    own = [caution for prop in result.props for caution in prop.cautions]
    page.bullets(dict.fromkeys([*result.cautions, *own]))
    if not details:
        page.blank()
        page.write("Strength, modes, impulses and assumptions: add --details.")
    page.print()


def render_export(console: Console, exported: ExportedKeys) -> None:
    """Print what was exported and how to use it.

    Parameters
    ----------
    console : rich.console.Console
        Where to print.
    exported : ExportedKeys
        What was written.
    """
    page = WrappedPage(console)
    page.blank()
    names = ", ".join(str(file) for file in exported.files)
    page.write(
        f"Wrote {names}: the {exported.shaped} shaped move of {exported.prop}, {exported.keys:,} keys,"
        f" {number(exported.rate_Hz)} a second."
    )
    page.write(exported.says, first=_word(page, exported.status), hang=13)
    page.write("In the rig file:")
    page.bullets(exported.rows)
    page.print()


# -- one prop -------------------------------------------------------------------------------------------


def _prop(page: WrappedPage, prop: PropRetiming, *, details: bool) -> None:
    page.headline(prop.status, prop.name)
    page.write(f"on {prop.support}", hang=2)
    if prop.plan is None:
        page.write(prop.recommendation.says, hang=2)
        return
    page.write(
        f"Looked at: {prop.profile}, {_seconds(prop.plan.duration_s)} s. Wobble"
        f" {_amount(prop.plan.wobble, prop.unit)}, limit {number(prop.limit)}; with the frequencies up to 10 % off"
        f" at most {_amount(prop.plan.wobble_off, prop.unit)}.",
        hang=2,
    )
    _do(page, prop)
    _profiles(page, prop)
    if prop.curve is not None:
        _chart(page, prop, prop.curve)
    _nulls(page, prop)
    _shaped(page, prop)
    if details:
        _details(page, prop)
    for note in prop.notes:
        page.write(note, hang=2)


def _do(page: WrappedPage, prop: PropRetiming) -> None:
    first = page.text("  Do: ", "bold")
    page.write(prop.recommendation.says, first=first, hang=cell_len(first.plain))


def _profiles(page: WrappedPage, prop: PropRetiming) -> None:
    """For each profile, the times from which it arrives still."""
    page.blank()
    page.heading(f"Seconds to arrive still (under {_amount(prop.limit, prop.unit)})", indent=2)
    assert prop.plan is not None  # only timed props come here
    header = ("profile", "first", "always", "sure", f"{prop.unit} in {_seconds(prop.plan.duration_s)} s")
    rows = [
        (
            f"{row.profile}{' (planned)' if row.planned and row.profile != 'as planned' else ''}",
            _time(row.first),
            _time(row.always),
            _time(row.sure),
            _short(row.wobble),
        )
        for row in prop.profiles
    ]
    _table(page, header, rows)
    page.write(
        "first: the shortest, on a null perhaps. always: every longer one too. sure: the same with the frequencies"
        " up to 10 % off.",
        hang=2,
    )
    if any(_weak(row) for row in prop.profiles):
        page.write("*: there the support is not strong enough.", hang=2)
    for says, names in _by_reason(prop.profiles):
        page.write(f"{', '.join(names)}: {says}", hang=2)


def _by_reason(rows: Iterable[ProfileTimes]) -> list[tuple[str, list[str]]]:
    reasons: dict[str, list[str]] = {}
    for row in rows:
        if row.says:
            reasons.setdefault(row.says, []).append(row.profile)
    return list(reasons.items())


def _weak(row: ProfileTimes) -> bool:
    timings = (row.first, row.always, row.sure)
    return any(timing is not None and timing.strength_status is Status.FAIL for timing in timings)


def _nulls(page: WrappedPage, prop: PropRetiming) -> None:
    if not prop.nulls:
        return
    page.blank()
    page.heading(f"Times near the planned one that fall on a null [{prop.unit}]", indent=2)
    rows = [
        (
            _seconds(null.duration_s),
            *(_short(value) for value in (null.wobble, null.low, null.high, null.worst)),
        )
        for null in prop.nulls
    ]
    _table(page, ("seconds", "there", "10 % low", "10 % high", "worst"), rows)
    page.write(
        "10 % low, high: the wobble with frequencies that much off. worst: at any error up to that.", hang=2
    )


def _shaped(page: WrappedPage, prop: PropRetiming) -> None:
    if not prop.shaped:
        return
    page.blank()
    matter = [mode for mode in prop.modes if mode.matters]
    modes = ", ".join(f"{number(mode.frequency_Hz)} Hz {mode.direction}" for mode in matter)
    page.heading(f"Shaped for {modes} [{prop.unit}]", indent=2)
    rows = [
        (
            move.name,
            f"+{_seconds(move.added_s)} s",
            _short(move.timing.wobble),
            _short(move.low),
            _short(move.high),
        )
        for move in prop.shaped
    ]
    _table(page, ("impulses", "added", "wobble", "10 % low", "10 % high"), rows)
    for move in prop.shaped:
        page.write(f"{move.name}: {_forgives(move)}{_quickest(move)}", hang=2)


def _forgives(move: ShapedMove) -> str:
    if move.forgives is None:
        return "not still even with exact frequencies."
    down, up = move.forgives
    ends = [f"{100 * abs(end):.3g} %{' or more' if abs(end) > 0.295 else ''}" for end in (down, up)]
    return f"still with frequencies down to {ends[0]} lower, up to {ends[1]} higher."


def _quickest(move: ShapedMove) -> str:
    if move.quickest is None:
        return ""
    weak = " (the support is not strong enough for that)" if _fails(move.quickest) else ""
    return f" Sure from {_seconds(move.quickest.duration_s)} s in all{weak}."


def _fails(timing: Timing) -> bool:
    return timing.strength_status is Status.FAIL


def _details(page: WrappedPage, prop: PropRetiming) -> None:
    page.blank()
    page.heading("Strength factor at these times", indent=2)
    rows = [
        (row.profile, *(_factor(timing) for timing in (row.first, row.always, row.sure)))
        for row in prop.profiles
    ]
    _table(page, ("profile", "first", "always", "sure"), rows)
    page.heading("Modes by share of the wobble", indent=2)
    _table(
        page,
        ("Hz", "share", "moves"),
        [(number(mode.frequency_Hz), f"{100 * mode.share:.3g} %", mode.direction) for mode in prop.modes],
    )
    for move in prop.shaped:
        pairs = ", ".join(
            f"{share:.4g} at {_seconds(time)} s"
            for time, share in zip(move.times_s, move.shares, strict=True)
        )
        page.write(f"{move.name}: copies of {pairs}.", hang=2)
        bands = ", ".join(
            f"{100 * width:.3g} % about {number(frequency)} Hz" for frequency, width in move.widths
        )
        page.write(f"Under 5 % of the vibration is left in a band of {bands}.", hang=4)
    page.heading("Assumptions", indent=2)
    page.bullets(prop.assumptions, indent=4)
    page.blank()


# -- cells ----------------------------------------------------------------------------------------------


def _word(page: WrappedPage, status: Status) -> Text:
    return Text.assemble("  ", page.mark(status), " ", (f"{status.value:9}", page.style(status)))


def _seconds(value: float) -> str:
    return number(value, digits=4)


def _time(timing: Timing | None) -> str:
    return "-" if timing is None else f"{_seconds(timing.duration_s)}{'*' if _fails(timing) else ''}"


def _factor(timing: Timing | None) -> str:
    return "-" if timing is None or timing.strength_factor is None else number(timing.strength_factor)


def _amount(value: float, unit: str) -> str:
    return amount(value, unit)


def _short(value: float) -> str:
    return "< 0.001" if 0.0 < value < 1e-3 else number(value)


def _table(page: WrappedPage, header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Columns where they fit, else one line for each row with the header's words."""
    plain = [[printable(cell) for cell in row] for row in (header, *rows)]
    widths = [max(cell_len(row[column]) for row in plain) for column in range(len(header))]
    if 4 + sum(widths) + 2 * (len(widths) - 1) <= page.measure:
        for row in plain:
            first, *others = row
            cells = [first + " " * (widths[0] - cell_len(first))]
            cells += [
                " " * (width - cell_len(cell)) + cell for cell, width in zip(others, widths[1:], strict=True)
            ]
            page.add(page.text("    " + "  ".join(cells)))
        return
    for record in rows:
        words = ", ".join(f"{name} {cell}" for name, cell in zip(header[1:], record[1:], strict=True))
        page.write(f"{record[0]}: {words}", hang=4)


# -- chart ----------------------------------------------------------------------------------------------


def _chart(page: WrappedPage, prop: PropRetiming, curve: Curve) -> None:
    """Wobble against the time of the move, on a scale of tenfold steps."""
    assert prop.plan is not None  # only timed props come here
    labels = 10
    width = min(page.measure - labels - 2, _WIDEST_CHART, len(curve.duration_s))
    if width < _NARROWEST_CHART or max(curve.wobble) <= 0.0:
        return
    low, high = _bins(curve, width)
    top = max(max(high), 2 * prop.limit)
    floor = max(prop.limit / 10**_DECADES, min(prop.limit / 3, min(low) / 2))
    page.blank()
    page.heading(f"Wobble [{prop.unit}] against the time of the move, {prop.profile}", indent=2)

    def level(value: float) -> int:
        """Rows filled, from 0 to all."""
        if value <= floor:
            return 0
        share = math.log(value / floor) / math.log(top / floor)
        return max(1, min(_ROWS, math.ceil(share * _ROWS)))

    mark = level(prop.limit)
    for row in range(_ROWS, 0, -1):
        cells = ""
        for least, most in zip(low, high, strict=True):
            if row <= level(least):
                cells += _FULL
            elif row <= level(most):
                cells += _PART
            else:
                cells += _LIMIT if row == mark else " "
        value = floor * (top / floor) ** (row / _ROWS)
        label = {_ROWS: number(value, digits=2), mark: f"limit {number(prop.limit, digits=2)}"}.get(row, "")
        style = page.style(Status.FAIL) if row > mark else ""
        page.add(Text.assemble(f"{label:>{labels}} ", (_drawn(cells, page.encoding), style)))
    page.add(Text(" " * (labels + 1) + _axis(prop.plan.duration_s, curve, width)))


def _bins(curve: Curve, width: int) -> tuple[list[float], list[float]]:
    """Least and most wobble of each of `width` columns."""
    count = len(curve.wobble)
    edges = [round(column * count / width) for column in range(width + 1)]
    parts = [curve.wobble[start:stop] for start, stop in pairwise(edges)]
    return [min(part) for part in parts], [max(part) for part in parts]


def _drawn(cells: str, encoding: str) -> str:
    if printable(_FULL + _PART + _LIMIT, encoding=encoding) == _FULL + _PART + _LIMIT:
        return cells
    return "".join(_PLAIN_CELLS.get(cell, cell) for cell in cells)


def _axis(planned: float, curve: Curve, width: int) -> str:
    """The ends of the time axis, and where the planned time lies between them."""
    begin, end = curve.duration_s[0], curve.duration_s[-1]
    left, right = f"{_seconds(begin)} s", f"{_seconds(end)} s"
    middle = f"^ {_seconds(planned)} s"
    place = round((planned - begin) / (end - begin) * (width - 1))
    if not 0 <= place < width:
        return left + " " * (width - len(left) - len(right)) + right
    place = max(place, len(left) + 1)
    if place + len(middle) + 1 > width - len(right):
        return f"{left:<{place}}{middle}"
    return f"{f'{left:<{place}}{middle}':<{width - len(right)}}{right}"


# -- JSON -----------------------------------------------------------------------------------------------


def retime_json(result: RetimeResult, exported: ExportedKeys | None = None) -> dict[str, Any]:
    """Turn the timing of a shot into plain dicts, lists, strings and numbers.

    Parameters
    ----------
    result : RetimeResult
        What the study handed back.
    exported : ExportedKeys, optional
        What was written beside it.

    Returns
    -------
    dict
        Units in the last part of the keys; wobble under ``_px`` with a camera and under ``_mm`` without, the other
        null. What is absent is null, never 0.
    """
    return {
        "format": _FORMAT,
        "title": result.title,
        "verdict": result.verdict.value,
        "props": [_prop_json(prop) for prop in result.props],
        "export": None if exported is None else export_json(exported),
        "cautions": list(result.cautions),
    }


def export_json(exported: ExportedKeys) -> dict[str, Any]:
    """Turn what was exported into plain values.

    Parameters
    ----------
    exported : ExportedKeys
        What was written.

    Returns
    -------
    dict
        As in `retime_json`.
    """
    return {
        "prop": exported.prop,
        "shaped": exported.shaped,
        "files": [str(file) for file in exported.files],
        "rate_Hz": plain_number(exported.rate_Hz),
        "keys": exported.keys,
        "status": exported.status.value,
        **_in_unit("wobble", exported.wobble, exported.unit),
        **_in_unit("wobble_before_sampling", exported.planned, exported.unit),
        "rig_file": list(exported.rows),
        "says": exported.says,
    }


def _prop_json(prop: PropRetiming) -> dict[str, Any]:
    unit = prop.unit
    return {
        "name": prop.name,
        "verdict": prop.status.value,
        **_in_unit("limit", prop.limit, unit),
        "profile": prop.profile or None,
        "plan": _timing(prop.plan, unit),
        "profiles": [
            {
                "profile": row.profile,
                "planned": row.planned,
                **_in_unit("wobble", row.wobble, unit),
                "first": _timing(row.first, unit),
                "always": _timing(row.always, unit),
                "sure": _timing(row.sure, unit),
                "says": row.says or None,
            }
            for row in prop.profiles
        ],
        "nulls": [_null(null, unit) for null in prop.nulls],
        "modes": [
            {
                "frequency_Hz": plain_number(mode.frequency_Hz),
                "direction": mode.direction,
                "share": plain_number(mode.share),
                "matters": mode.matters,
            }
            for mode in prop.modes
        ],
        "shaped": [_shaped_json(move, unit) for move in prop.shaped],
        "wobble_against_time": _curve(prop.curve, unit),
        "recommendation": {
            "kind": prop.recommendation.kind,
            "says": prop.recommendation.says,
            "timing": _timing(prop.recommendation.timing, unit),
        },
        "notes": list(prop.notes),
        "assumptions": list(prop.assumptions),
        "cautions": list(prop.cautions),
    }


def _timing(timing: Timing | None, unit: str) -> dict[str, Any] | None:
    if timing is None:
        return None
    return {
        "duration_s": plain_number(timing.duration_s),
        "moves": [
            {
                "start_s": plain_number(move.start_s),
                "duration_s": plain_number(move.duration_s),
                "profile": move.profile,
            }
            for move in timing.moves
        ],
        **_in_unit("wobble", timing.wobble, unit),
        **_in_unit("wobble_10_percent_off", timing.wobble_off, unit),
        "status": timing.status.value,
        "settle_s": plain_number(timing.settle_s),
        "strength_factor": plain_number(timing.strength_factor),
        "strength_status": timing.strength_status.value,
    }


def _null(null: NullTime, unit: str) -> dict[str, Any]:
    return {
        "duration_s": plain_number(null.duration_s),
        **_in_unit("wobble", null.wobble, unit),
        **_in_unit("wobble_10_percent_low", null.low, unit),
        **_in_unit("wobble_10_percent_high", null.high, unit),
        **_in_unit("wobble_10_percent_off", null.worst, unit),
    }


def _shaped_json(move: ShapedMove, unit: str) -> dict[str, Any]:
    return {
        "name": move.name,
        "impulses": [
            {"time_s": plain_number(time), "share": plain_number(share)}
            for time, share in zip(move.times_s, move.shares, strict=True)
        ],
        "added_s": plain_number(move.added_s),
        "timing": _timing(move.timing, unit),
        "residual_share": plain_number(move.residual_share),
        **_in_unit("wobble_10_percent_low", move.low, unit),
        **_in_unit("wobble_10_percent_high", move.high, unit),
        "forgives": None if move.forgives is None else [plain_number(end) for end in move.forgives],
        "bands_under_5_percent": [
            {"frequency_Hz": plain_number(frequency), "width": plain_number(width)}
            for frequency, width in move.widths
        ],
        "quickest": _timing(move.quickest, unit),
    }


def _curve(curve: Curve | None, unit: str) -> dict[str, Any] | None:
    if curve is None:
        return None
    wobble = [plain_number(value) for value in curve.wobble]
    return {
        "duration_s": [plain_number(value) for value in curve.duration_s],
        "wobble_px": wobble if unit == "px" else None,
        "wobble_mm": wobble if unit == "mm" else None,
    }


def _in_unit(name: str, value: float, unit: str) -> dict[str, float | None]:
    number_ = plain_number(value)
    return {f"{name}_px": number_ if unit == "px" else None, f"{name}_mm": number_ if unit == "mm" else None}
