"""Whole figures of a result, for ``--figure``: a check, a choice, a timing, a take. Each carries its caution.

All that is drawn was computed by a study; here it only gets a place on paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import OutputError
from rigcheck.studies.results import Status
from rigcheck.studies.words import material_words
from rigcheck.views.figure_rig import draw_side, side_height, side_words
from rigcheck.views.figure_style import (
    ACCENT,
    GREY,
    INK,
    MARKS,
    Drawing,
    axes_at,
    drawing,
    footer,
    new_figure,
    text_lines,
)
from rigcheck.views.figure_time import draw_response, response_words
from rigcheck.views.format import amount, number, printable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rigcheck.studies.choose.results import Candidate, ChoiceResult, PropChoice
    from rigcheck.studies.explain.results import Curves, ExplainResult
    from rigcheck.studies.results import CheckResult
    from rigcheck.studies.retime.results import PropRetiming, RetimeResult
    from rigcheck.studies.sheet.study import PropPictures

__all__ = ["check_figure", "choose_figure", "explain_figure", "retime_figure"]

Array = NDArray[np.float64]

MOST_PROPS = 12
"""Props in one figure; more would not be read."""
_LEAST_DRAWN = 1e-3
"""Wobble under it is drawn there, in its unit."""
_BOLD = 1.14
"""How much wider bold letters are than those that are measured."""
_WIDTH = 180.0
_FOOT = 11.0
_MARGIN = 3.0


def _check_count(names: Sequence[str]) -> None:
    if len(names) > MOST_PROPS:
        raise OutputError(
            f"a figure shows at most {MOST_PROPS} props and the shot has {len(names)}. Say which with --prop NAME."
        )


def _title(figure: Figure, bottom: float, status: Status | None, name: str, more: str = "") -> None:
    """Verdict as mark and word, the name, and what it is, at a height on the paper [mm]."""
    across, up = figure.get_size_inches() * 25.4
    verdict = "" if status is None else f"{MARKS[status]} {status.value.upper()}  "
    lines = text_lines(f"{verdict}{printable(name)}", width_mm=across - 2 * _MARGIN, size=10 * _BOLD)
    shown = lines[0] + (" ..." if len(lines) > 1 else "")
    figure.text(_MARGIN / across, bottom / up, shown, fontsize=10, fontweight="bold", va="bottom")
    if more:
        figure.text(
            _MARGIN / across, (bottom - 4.2) / up, printable(more), fontsize=7.5, color=GREY, va="bottom"
        )


def _new(rows: Sequence[float], head: float) -> tuple[Figure, list[float]]:
    """A figure with rows of these heights [mm], and the bottom of each, first row on top."""
    height = head + sum(rows) + _FOOT
    bottoms, at = [], height - head
    for row in rows:
        at -= row
        bottoms.append(at)
    return new_figure(width_mm=_WIDTH, height_mm=height), bottoms


def _caution(figure: Figure, cautions: Sequence[str]) -> str:
    text = f"Caution: {' '.join(cautions[:2])}"
    footer(figure, text, left_mm=_MARGIN)
    return text


# -- check -----------------------------------------------------------------------------------------------


def check_figure(result: CheckResult, shown: Sequence[PropPictures]) -> Drawing:
    """Draw each prop from the side, with its settled shape and wobble, and its response over time.

    Parameters
    ----------
    result : CheckResult
        For the verdicts and cautions.
    shown : sequence of PropPictures
        One for each of its props.

    Returns
    -------
    Drawing
    """
    _check_count([prop.name for prop in result.props])
    width = _WIDTH / 2 - _MARGIN
    told = []
    with drawing():
        rows = [
            max(62.0, side_height(one.side, width_mm=width, most_mm=80.0)) + _words_height(one, width) + 12
            for one in shown
        ]
        figure, bottoms = _new(rows, 9.0)
        _title(figure, bottoms[0] + rows[0] + 2.5, result.verdict, result.title or "Untitled shot")
        for one, found, bottom, row in zip(shown, result.props, bottoms, rows, strict=True):
            words = _words_height(one, width)
            room = row - 12 - words
            _title(figure, bottom + row - 5, found.verdict, found.name, f"on {found.support}")
            scale = draw_side(figure, one.side, left=_MARGIN, bottom=bottom + words, width=width, height=room)
            draw_response(
                figure, one, left=_WIDTH / 2 + 1, bottom=bottom + words, width=width - 1, height=room
            )
            sentences = (side_words(one.side, scale), response_words(one))
            under = (sentences[0], sentences[1] if one.history is not None else "")
            for text, left in zip(under, (_MARGIN, _WIDTH / 2 + 1), strict=True):
                _paragraph(figure, text, left=left, top=bottom + words - 0.5, width=width - 2)
            told += [f"{found.name}: {found.verdict.value}.", *sentences]
        caution = _caution(figure, result.cautions)
    return Drawing(figure, f"Check of {result.title or 'the shot'}", " ".join([*told, caution]))


def _words_height(one: PropPictures, width: float) -> float:
    lines = max(
        len(text_lines(text, width_mm=width - 2, size=6.5))
        for text in (side_words(one.side, 1.0), response_words(one))
    )
    return 2.9 * lines + 2


def _paragraph(figure: Figure, text: str, *, left: float, top: float, width: float) -> None:
    across, up = figure.get_size_inches() * 25.4
    lines = text_lines(text, width_mm=width, size=6.5)
    figure.text(left / across, top / up, "\n".join(lines), fontsize=6.5, va="top", linespacing=1.25)


def _log_axis(axes: Axes, which: str) -> None:
    """A logarithmic axis with plain numbers."""
    from matplotlib.ticker import FuncFormatter, NullFormatter

    axis = axes.yaxis if which == "y" else axes.xaxis
    (axes.set_yscale if which == "y" else axes.set_xscale)("log")
    axis.set_major_formatter(FuncFormatter(lambda value, _: number(value)))
    axis.set_minor_formatter(NullFormatter())


# -- choose ----------------------------------------------------------------------------------------------


def choose_figure(result: ChoiceResult) -> Drawing:
    """Draw how much shows against how much it wobbles, and how far each size reaches.

    Parameters
    ----------
    result : ChoiceResult
        With its Pareto front.

    Returns
    -------
    Drawing
    """
    _check_count([prop.name for prop in result.props])
    told: list[str] = []
    with drawing():
        figure, bottoms = _new([88.0] * len(result.props), 9.0)
        _title(figure, bottoms[0] + 88.0 + 2.5, None, f"What to buy: {result.title or 'untitled shot'}")
        for prop, bottom in zip(result.props, bottoms, strict=True):
            _title(figure, bottom + 82, None, prop.name)
            told.append(_trade(figure, prop, bottom))
            told.append(_reach(figure, prop, bottom))
        caution = _caution(figure, result.cautions)
    return Drawing(figure, f"What to buy for {result.title or 'the shot'}", " ".join([*told, caution]))


_SHAPES = {Status.PASS: "o", Status.CAUTION: "s", Status.FAIL: "X"}


def _trade(figure: Figure, prop: PropChoice, bottom: float) -> str:
    axes = axes_at(figure, 16, bottom + 12, 82, 64)
    every: dict[str, Candidate] = {one.words: one for one in (*prop.best, *prop.front)}
    pixels = all(one.visible_width_px is not None for one in every.values())
    unit = "px" if pixels else "mm"

    def place(one: Candidate) -> tuple[float, float] | None:
        shows = one.visible_width_px if pixels else one.visible_width_mm
        wobble = one.residual_wobble_px if pixels else one.residual_wobble_mm
        return None if shows is None or wobble is None else (shows, max(wobble, _LEAST_DRAWN))

    drawn = {words: (one, spot) for words, one in every.items() if (spot := place(one)) is not None}
    if not drawn:
        axes.set_axis_off()
        axes.text(0, 0.5, "Nothing in this list can be graded for it.", transform=axes.transAxes)
        return f"{prop.name}: nothing in this list can be graded for it."
    front = sorted(spot for one in prop.front if (spot := place(one)) is not None)
    if len(front) > 1:
        axes.plot(*zip(*front, strict=True), color=GREY, lw=0.7, ls=(0, (4, 2)), zorder=1)
    for status, shape in _SHAPES.items():
        spots = [spot for one, spot in drawn.values() if one.verdict is status]
        if spots:
            axes.plot(
                *zip(*spots, strict=True),
                marker=shape,
                ls="none",
                ms=5,
                mfc="white" if status is Status.CAUTION else INK if status is Status.PASS else ACCENT,
                mec=INK,
                mew=0.8,
                label=f"{MARKS[status]} {status.value}",
            )
    last = np.inf
    for one in sorted(prop.front or prop.best[:6], key=lambda one: -(place(one) or (0, 0))[1]):
        spot = place(one)
        # Labels a fifth of a decade apart do not run into each other.
        if spot is None or spot[1] <= _LEAST_DRAWN or np.log10(spot[1]) > last - 0.2:
            continue
        last = float(np.log10(spot[1]))
        axes.annotate(
            printable(one.words), xy=spot, xytext=(6, 0), textcoords="offset points", fontsize=6, va="center"
        )
    _log_axis(axes, "x")
    _log_axis(axes, "y")
    axes.margins(x=0.3, y=0.15)
    axes.set_xlabel(f"width that would show, {unit}")
    axes.set_ylabel(f"wobble after the move, {unit}")
    axes.legend(loc="best", handletextpad=0.2)
    best = prop.best[0].words if prop.best else None
    chosen = f" Best: {best}." if best else ""
    pareto = (
        f" Thinnest for the least wobble: {', '.join(one.words for one in prop.front)}." if prop.front else ""
    )
    return f"{prop.name}: width that would show against wobble after the move.{chosen}{pareto}"


def _reach(figure: Figure, prop: PropChoice, bottom: float) -> str:
    rows = [row for row in prop.reach if row.length_mm is not None]
    shown = [(one.item.material, one.item.label) for one in (*prop.best, *prop.front)]
    rows = [row for row in rows if (row.item.material, row.item.label) in shown] or rows
    rows = sorted(rows, key=lambda row: row.length_mm or 0.0, reverse=True)[:14]
    if not rows:
        return "No reach was worked out." if not prop.reach else "No size passes at any length."
    axes = axes_at(figure, 142, bottom + 12, 34, 64)
    names = [
        printable(f"{row.item.label} {material_words(row.item.material, row.item.section)}") for row in rows
    ]
    lengths = [row.length_mm or 0.0 for row in rows]
    places = np.arange(len(rows))[::-1]
    axes.barh(places, lengths, height=0.62, color="#d8d2c4", edgecolor=INK, lw=0.6)
    axes.set_yticks(places, names, fontsize=6)
    for place, length in zip(places, lengths, strict=True):
        axes.text(length, float(place), f" {length:.0f}", va="center", fontsize=6)
    axes.set_xlim(0, 1.22 * max(lengths))
    axes.set_ylim(-0.8, len(rows) - 0.2)
    axes.set_xlabel("longest that passes, mm", fontsize=7)
    axes.tick_params(axis="y", length=0)
    listed = "; ".join(f"{name} {length:.0f} mm" for name, length in zip(names, lengths, strict=True))
    return f"Longest free length that passes: {listed}."


# -- retime ----------------------------------------------------------------------------------------------


def retime_figure(result: RetimeResult) -> Drawing:
    """Draw the wobble against the time of the move, with its nulls, the plan and what is recommended.

    Parameters
    ----------
    result : RetimeResult
        What the study handed back.

    Returns
    -------
    Drawing
    """
    _check_count([prop.name for prop in result.props])
    told: list[str] = []
    rows = [68.0 if prop.curve is not None else 22.0 for prop in result.props]
    with drawing():
        figure, bottoms = _new(rows, 9.0)
        _title(figure, bottoms[0] + rows[0] + 2.5, result.verdict, result.title or "Untitled shot")
        for prop, bottom, row in zip(result.props, bottoms, rows, strict=True):
            _title(figure, bottom + row - 6, prop.status, prop.name, prop.profile)
            told.append(_timing(figure, prop, bottom, row))
        caution = _caution(figure, result.cautions)
    return Drawing(figure, f"Timing of {result.title or 'the shot'}", " ".join([*told, caution]))


def _timing(figure: Figure, prop: PropRetiming, bottom: float, row: float) -> str:
    said = prop.recommendation.says
    _paragraph(figure, said, left=_MARGIN, top=bottom + row - 11.5, width=_WIDTH - 2 * _MARGIN)
    if prop.curve is None:
        return f"{prop.name}: {said}"
    axes = axes_at(figure, 18, bottom + 11, _WIDTH - 24, row - 32)
    floor = 1e-3 * prop.limit
    wobble = np.maximum(np.array(prop.curve.wobble), floor)
    axes.plot(prop.curve.duration_s, wobble, color=INK, lw=0.9)
    axes.axhline(prop.limit, color=INK, lw=0.8, ls=(0, (5, 2)))
    axes.annotate(
        f"limit {number(prop.limit)} {prop.unit}",
        xy=(1, prop.limit),
        xycoords=("axes fraction", "data"),
        xytext=(-2, 2),
        textcoords="offset points",
        ha="right",
        fontsize=7,
    )
    low, high = min(prop.curve.duration_s), max(prop.curve.duration_s)
    words = []
    for null in prop.nulls:
        if low <= null.duration_s <= high:
            axes.plot(
                [null.duration_s],
                [max(null.wobble, floor)],
                marker="v",
                ms=4.5,
                mfc="white",
                mec=INK,
                ls="none",
            )
            words.append(f"{number(null.duration_s)} s")
    best = prop.recommendation.timing
    if (
        best is not None
        and prop.plan is not None
        and (best.duration_s, best.wobble)
        == (
            prop.plan.duration_s,
            prop.plan.wobble,
        )
    ):
        best = None
    for label, timing, shape, lift in (("planned", prop.plan, "s", 7), ("do this", best, "D", -9)):
        if timing is None or not low <= timing.duration_s <= high:
            continue
        profile = timing.moves[0].profile if timing.moves else None
        other = f"{profile}, " if label == "do this" and profile not in (None, prop.profile) else ""
        spot = (timing.duration_s, max(timing.wobble, floor))
        lift = lift if timing.wobble > 3 * floor else 9
        axes.plot(*([value] for value in spot), marker=shape, ms=5.5, mfc=ACCENT, mec=INK, mew=0.8, ls="none")
        axes.annotate(
            f"{label}: {other}{number(timing.duration_s)} s, {amount(timing.wobble, prop.unit)}",
            xy=spot,
            xytext=(7, lift),
            textcoords="offset points",
            fontsize=7,
            va="center",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.85},
        )
    _log_axis(axes, "y")
    axes.set_xlim(low, high)
    axes.set_xlabel("time of the move, s", labelpad=1)
    axes.set_ylabel(f"wobble after it, {prop.unit}", labelpad=1)
    plan = (
        ""
        if prop.plan is None
        else f" Planned: {number(prop.plan.duration_s)} s, {amount(prop.plan.wobble, prop.unit)}."
    )
    nulls = f" Nearly still at {', '.join(words)} (open triangles)." if words else ""
    return (
        f"{prop.name}: wobble after the move against its time; the limit is {number(prop.limit)} {prop.unit}."
        f"{plan}{nulls} {said}"
    )


# -- explain ---------------------------------------------------------------------------------------------


def explain_figure(result: ExplainResult) -> Drawing:
    """Draw the track of a take with what was fitted to it, the swing alone, and its spectrum.

    Parameters
    ----------
    result : ExplainResult
        With its curves.

    Returns
    -------
    Drawing

    Raises
    ------
    OutputError
        Nothing was fitted, so there is nothing to draw.
    """
    curves = result.curves
    if curves is None:
        raise OutputError("nothing was fitted in this take, so there is no figure of it.")
    with drawing():
        figure, (track, swing, spectrum) = _new([48.0, 44.0, 52.0], 13.0)
        name = result.title or result.take
        _title(figure, track + 48 + 6, None, f"What wobbles: {name}", result.prop)
        _track(axes_at(figure, 18, track + 8, _WIDTH - 22, 36), curves, result.unit)
        _swing(axes_at(figure, 18, swing + 8, _WIDTH - 22, 32), curves, result.unit)
        _spectrum(axes_at(figure, 18, spectrum + 10, _WIDTH - 22, 34), curves, result)
        caution = _caution(figure, result.cautions)
    heard = "; ".join(
        f"{number(one.frequency_Hz)} Hz, {amount(one.amplitude, result.unit)}, {one.direction_words}"
        for one in result.components
    )
    said = f"Found: {heard}." if heard else "No swing was found."
    description = (
        f"Above: the track (thin) and what was fitted (dashed). Middle: its swing alone. Below: the spectrum of both."
        f" {said} {result.next_step} {caution}"
    )
    return Drawing(figure, f"What wobbles in {name}", description)


def _track(axes: Axes, curves: Curves, unit: str) -> None:
    for column, (name, dash) in enumerate((("right", "solid"), ("up or down", (0, (1, 1.2))))):
        axes.plot(curves.times, _about(curves.positions[:, column]), color=GREY, lw=0.7, ls=dash, label=name)
    for column in (0, 1):
        axes.plot(
            curves.times,
            _about(curves.fit[:, column], curves.positions[:, column]),
            color=ACCENT,
            lw=1.0,
            ls=(0, (4, 1.5)),
            label="fitted" if column == 0 else None,
        )
    axes.set_ylabel(f"track, {unit}", labelpad=1)
    axes.set_xlabel("s", labelpad=0)
    axes.legend(loc="upper right", ncols=3, borderaxespad=0.1)
    axes.margins(x=0.01)


def _about(values: Array, of: Array | None = None) -> Array:
    """A track about its own middle, so that both axes fit one picture."""
    middle = float(np.nanmedian(values if of is None else of))
    return np.asarray(values - middle)


def _swing(axes: Axes, curves: Curves, unit: str) -> None:
    way = curves.direction
    axes.plot(curves.times, curves.swing @ way, color=INK, lw=0.6, label="swing, in its widest direction")
    axes.plot(curves.times, curves.fitted_swing @ way, color=ACCENT, lw=0.9, ls=(0, (4, 1.5)), label="fitted")
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.22 * (high - low))
    axes.set_ylabel(f"swing, {unit}", labelpad=1)
    axes.set_xlabel("s", labelpad=0)
    axes.legend(loc="upper right", ncols=2, borderaxespad=0.1)
    axes.margins(x=0.01)


def _spectrum(axes: Axes, curves: Curves, result: ExplainResult) -> None:
    if not len(curves.frequencies):
        axes.set_axis_off()
        axes.text(0, 0.5, "Too little was fitted for a spectrum.", transform=axes.transAxes)
        return
    axes.plot(curves.frequencies, curves.spectrum, color=INK, lw=0.7, label="swing")
    axes.plot(
        curves.frequencies, curves.fitted_spectrum, color=ACCENT, lw=0.9, ls=(0, (4, 1.5)), label="fitted"
    )
    top = float(max(curves.spectrum.max(initial=0.0), 1e-12))
    for one in result.components:
        at = float(np.interp(one.frequency_Hz, curves.frequencies, curves.spectrum))
        axes.annotate(
            f"{number(one.frequency_Hz)} Hz",
            xy=(one.frequency_Hz, at),
            xytext=(0, 5),
            textcoords="offset points",
            ha="center",
            fontsize=7,
        )
    axes.set_ylim(0, 1.25 * top)
    axes.set_xlabel("Hz", labelpad=0)
    axes.set_ylabel(f"how far, {result.unit}", labelpad=1)
    axes.legend(loc="upper right", borderaxespad=0.1)
    axes.margins(x=0.01)
