"""A prop's moves and its response over time, with frames; and other curves against time or frequency."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.studies.words import capitalised
from rigcheck.views.figure_style import ACCENT, GREY, INK, axes_at, text_lines
from rigcheck.views.format import amount, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

from rigcheck.studies.sheet.study import PropPictures

__all__ = ["draw_response", "response_words"]

Array = NDArray[np.float64]

_MOST_POINTS = 1500
_DASHES: tuple[str | tuple[float, tuple[float, ...]], ...] = ("solid", (0, (5, 2)), (0, (1, 1.3)))
_COLOURS = (INK, ACCENT, GREY)
_NAMES = ("right", "up", "toward the camera")
_LEAST = 1e-3
"""Deviation below which the axis is not drawn finer, in its unit."""


def draw_response(
    figure: Figure, shown: PropPictures, *, left: float, bottom: float, width: float, height: float
) -> None:
    """Draw the moves above and the distance from the intended path below, over one axis of time.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        Where.
    shown : PropPictures
        What.
    left, bottom, width, height : float
        Place on the paper [mm].
    """
    inner, foot, head = 14.5, 9.0, 10.0 if shown.frame_rate else 3.0
    room = height - foot - head - 4.0
    upper = axes_at(figure, left + inner, bottom + foot + 0.6 * room + 4.0, width - inner - 3, 0.4 * room)
    history = shown.history
    if not shown.moves:
        upper.set_axis_off()
        lines = text_lines(shown.no_history, width_mm=width - inner - 3, size=7)
        upper.text(0.0, 0.5, "\n".join(lines), transform=upper.transAxes, fontsize=7)
        return
    end = max(move.stop_s for move in shown.moves)
    start = min(0.0, min(move.start_s for move in shown.moves))
    stop = end if history is None else float(history.time_s[-1])
    _moves(upper, shown, start, stop, room_mm=0.42 * (width - inner - 3))
    lower = axes_at(figure, left + inner, bottom + foot, width - inner - 3, 0.6 * room)
    if history is None:
        lower.set_axis_off()
        lines = text_lines(shown.no_history, width_mm=width - inner - 3, size=7)
        lower.text(0.0, 0.9, "\n".join(lines), transform=lower.transAxes, fontsize=7, va="top")
        upper.set_xlabel("s")
        return
    upper.tick_params(labelbottom=False)
    _deviation(lower, shown)
    lower.set_xlim(start, stop)
    for axes in (upper, lower):
        axes.axvline(end, color=GREY, lw=0.6, ls=(0, (2, 2)))
    if shown.frame_rate:
        rate = shown.frame_rate
        frames = upper.secondary_xaxis(
            "top", functions=(lambda s: np.asarray(s) * rate, lambda f: np.asarray(f) / rate)
        )
        frames.set_xlabel("frame", labelpad=2, fontsize=7)
        frames.tick_params(labelsize=7, length=2)
    lower.set_xlabel("s", labelpad=1)


def _moves(axes: Axes, shown: PropPictures, start: float, stop: float, *, room_mm: float) -> None:
    for index, move in enumerate(shown.moves):
        reach = float(move.value[-1]) or float(np.abs(move.value).max()) or 1.0
        times = np.concatenate([[start], move.time_s, [stop]])
        share = 100 * np.concatenate([[0.0], move.value, [move.value[-1]]]) / reach
        axes.plot(
            times,
            share,
            color=_COLOURS[index % 3],
            ls=_DASHES[index % 3],
            lw=1.0,
        )
        # One move is named in the picture; of several their numbers stand there, and the words under it name them.
        single = len(shown.moves) == 1
        middle = 0.5 * (move.start_s + move.stop_s)
        late = middle > start + 0.5 * (stop - start)
        axes.annotate(
            "\n".join(text_lines(move.words, width_mm=room_mm, size=7)) if single else str(move.number),
            xy=(middle, 50.0 if single else float(np.interp(middle, times, share))),
            xytext=(-8 if late or not single else 8, 2),
            textcoords="offset points",
            ha="right" if late or not single else "left",
            va="center",
            fontsize=7,
        )
    axes.set_xlim(start, stop)
    axes.set_ylim(-6, 106)
    axes.set_yticks([0, 50, 100])
    axes.set_ylabel("move, %", labelpad=1)
    axes.tick_params(length=2)


def _deviation(axes: Axes, shown: PropPictures) -> None:
    history = shown.history
    assert history is not None  # asked by draw_response
    unit = "mm" if history.displacement_px is None else "px"
    values = history.displacement_mm if history.displacement_px is None else history.displacement_px
    times, values = _thinned(history.time_s, values)
    largest = float(np.abs(values).max(initial=0.0))
    for index, column in enumerate(values.T):
        if np.abs(column).max(initial=0.0) < max(1e-3 * largest, 1e-9) and largest > 0:
            continue
        axes.plot(times, column, color=_COLOURS[index], ls=_DASHES[index], lw=0.9, label=_NAMES[index])
    reach = max(1.08 * largest, _LEAST)
    if shown.wobble is not None and shown.wobble.most / 2 <= 3 * reach:
        reach = max(reach, 0.55 * shown.wobble.most)
        for way in (-1, 1):
            axes.hlines(
                way * shown.wobble.most / 2,
                history.end_s,
                float(history.time_s[-1]),
                color=INK,
                lw=0.8,
                ls=(0, (5, 2)),
            )
    axes.set_ylim(-reach, reach)
    axes.set_ylabel(f"off the path, {unit}", labelpad=1)
    axes.axhline(0, color=GREY, lw=0.3)
    axes.tick_params(length=2)
    if largest >= _LEAST:
        axes.legend(loc="upper left", ncols=3, handlelength=2.2, borderaxespad=0.1, columnspacing=1.2)


def _thinned(times: Array, values: Array) -> tuple[Array, Array]:
    """Fewer samples, with the least and the most of each stretch kept."""
    if len(times) <= _MOST_POINTS:
        return times, values
    edges = np.linspace(0, len(times), _MOST_POINTS // 4 + 1).astype(int)
    kept: set[int] = {0, len(times) - 1}
    for low, high in pairwise(edges.tolist()):
        for column in values.T:
            kept |= {low + int(column[low:high].argmin()), low + int(column[low:high].argmax())}
    rows = np.array(sorted(kept))
    return times[rows], values[rows]


def response_words(shown: PropPictures) -> str:
    """Say what the picture of moves and response shows.

    Parameters
    ----------
    shown : PropPictures
        What is drawn.

    Returns
    -------
    str
    """
    parts = []
    for move in shown.moves:
        frames = (
            ""
            if move.start_frame is None or move.stop_frame is None
            else f", frames {move.start_frame:.0f} to {move.stop_frame:.0f}"
        )
        which = f"{move.number}: " if len(shown.moves) > 1 else ""
        says = f"{which}{move.words} from {number(move.start_s)} to {number(move.stop_s)} s{frames}."
        parts.append(capitalised(says))
    history = shown.history
    if history is None:
        return " ".join([*parts, shown.no_history])
    on_way = history.time_s <= history.end_s
    largest = float(history.distance_mm[on_way].max(initial=0.0))
    parts.append(
        f"Below: how far the centre of mass is off its intended path, at most {amount(largest, 'mm')} on the way."
    )
    if shown.wobble is not None:
        parts.append(
            f"After the moves it swings {amount(shown.wobble.extent, shown.wobble.unit)} peak to peak;"
            f" the dashed lines are the limit of {amount(shown.wobble.most, shown.wobble.unit)}."
        )
    if shown.settle_s is not None:
        parts.append(
            "It arrives still."
            if shown.settle_s == 0
            else f"It is still {amount(shown.settle_s, 's')} later."
        )
    return " ".join(parts)
