"""One prop drawn to scale: from the side, as the lens sees it, and its wobble in the picture."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.views.figure_style import ACCENT, GREY, INK, PAPER, axes_at
from rigcheck.views.format import amount, number, printable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rigcheck.studies.sheet.lens import LensView
    from rigcheck.studies.sheet.picture import FrameView, WobblePath
    from rigcheck.studies.sheet.side import Body, ClampMark, SideView
    from rigcheck.studies.sheet.strokes import Stroke

__all__ = [
    "draw_frame",
    "draw_lens",
    "draw_side",
    "draw_wobble",
    "frame_height",
    "frame_words",
    "lens_words",
    "scale_for",
    "scale_words",
    "side_height",
    "side_words",
    "wobble_words",
]

Array = NDArray[np.float64]

# ISO 5455:1979 recommends these scales and their multiples of ten (from memory, not read again).
_STEPS = (1.0, 2.0, 5.0)
_POINT = 72 / 25.4
_MARGIN = 9.0  # mm of paper around what is drawn
_BAR_ROOM = 9.0  # mm of paper under it for the scale bar
_THINNEST = 0.7  # pt

# Dashes that always mean the same.
_BEFORE = (0, (4, 2.5))  # before the prop is hung, or the moves start
_SWING = (0, (1, 1.4))  # an end of the wobble
_BEHIND = (0, (1.5, 1.5))  # a support that is hidden, or not drawn to its width
_EDGE = (0, (6, 2, 1, 2))  # of the picture


def scale_for(points: Array, *, width_mm: float, height_mm: float) -> float:
    """Millimetres on paper for one of the rig: the largest standard scale that fits.

    Parameters
    ----------
    points : array, shape (n, 2)
        What is drawn [mm].
    width_mm, height_mm : float
        Room on paper.

    Returns
    -------
    float

    Examples
    --------
    >>> scale_for(np.array([[0.0, 0.0], [230.0, 50.0]]), width_mm=70.0, height_mm=50.0)
    0.2
    """
    across, up = np.maximum(np.ptp(points, axis=0), 1e-6)
    fits = min(width_mm / across, height_mm / up)
    # Tried as 1:1, 1:2, 1:5 and so on, so that the scale itself comes out exactly.
    for decade in range(-4, 7):
        for step in _STEPS:
            ratio = step * 10.0**decade
            if 1.0 / ratio <= fits * (1 + 1e-12):
                return 1.0 / ratio
    return 1e-7


def scale_words(scale: float) -> str:
    """A scale as it is written on drawings.

    Examples
    --------
    >>> scale_words(0.2), scale_words(2.0)
    ('1:5', '2:1')
    """
    return f"{number(scale)}:1" if scale > 1 else f"1:{number(1 / scale)}"


def side_height(view: SideView, *, width_mm: float, most_mm: float) -> float:
    """Height on paper that a side view takes at its scale [mm]."""
    scale = scale_for(
        view.points, width_mm=width_mm - 2 * _MARGIN, height_mm=most_mm - _MARGIN - _BAR_ROOM - 8
    )
    return min(most_mm, float(np.ptp(view.points[:, 1])) * scale + 2 * _MARGIN + _BAR_ROOM + 8)


def _sheet(
    figure: Figure, points: Array, *, left: float, bottom: float, width: float, height: float
) -> tuple[Axes, float]:
    """Axes in which a data millimetre is `scale` millimetres of paper, with what is drawn in the middle."""
    axes = axes_at(figure, left, bottom, width, height)
    scale = scale_for(points, width_mm=width - 2 * _MARGIN, height_mm=height - 2 * _MARGIN - _BAR_ROOM)
    low, high = points.min(axis=0), points.max(axis=0)
    middle = (low + high) / 2
    x_room, y_room = width / scale, height / scale
    axes.set_xlim(middle[0] - x_room / 2, middle[0] + x_room / 2)
    lift = _BAR_ROOM / 2 / scale
    axes.set_ylim(middle[1] - lift - y_room / 2, middle[1] - lift + y_room / 2)
    axes.set_axis_off()
    _scale_bar(axes, scale)
    return axes, scale


def _scale_bar(axes: Axes, scale: float) -> None:
    """A bar of a round length, about 20 mm of paper, and the scale."""
    wanted = 22.0 / scale
    decade = 10.0 ** math.floor(math.log10(wanted))
    length = max(step * decade for step in _STEPS if step * decade <= wanted)
    left, bottom = axes.get_xlim()[0] + 2 / scale, axes.get_ylim()[0] + 2.5 / scale
    ends = [left, left + length]
    axes.plot(ends, [bottom, bottom], color=INK, lw=1.2, solid_capstyle="butt")
    for end in ends:
        axes.plot([end, end], [bottom - 0.8 / scale, bottom + 0.8 / scale], color=INK, lw=0.8)
    axes.text(
        left + length + 1.5 / scale,
        bottom,
        f"{number(length)} mm    scale {scale_words(scale)}",
        va="center",
        fontsize=7,
        color=INK,
    )


def _polygon(axes: Axes, corners: Array, *, fill: str = "none", edge: str, lw: float, **style: Any) -> None:
    from matplotlib.patches import Polygon

    axes.add_patch(Polygon(corners, closed=True, facecolor=fill, edgecolor=edge, lw=lw, **style))


# -- from the side ---------------------------------------------------------------------------------------


def draw_side(
    figure: Figure, view: SideView, *, left: float, bottom: float, width: float, height: float
) -> float:
    """Draw a prop from the side; gives the scale.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        Where.
    view : SideView
        What.
    left, bottom, width, height : float
        Place on the paper [mm].

    Returns
    -------
    float
        Millimetres on paper for one of the rig.
    """
    axes, scale = _sheet(figure, view.points, left=left, bottom=bottom, width=width, height=height)
    for mark in view.clamps:
        _clamp(axes, mark, view.unloaded, scale)
    _body(axes, view.unloaded, scale, dashed=True)
    for swing in view.swings:
        _ghost(axes, swing)
    if view.settled is not None:
        _body(axes, view.settled, scale, dashed=False)
    _dimension(axes, view, scale)
    if view.lens is not None:
        _lens_arrow(axes, view.lens, scale)
    return scale


def _clamp(axes: Axes, mark: ClampMark, body: Body, scale: float) -> None:
    widest = max((stroke.width for stroke in body.strokes), default=1.0)
    half = max(1.6 * widest, 2.2 / scale)
    back = mark.back
    if np.linalg.norm(back) < 0.2:  # seen along the support: a square about the root
        corners = mark.root + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    else:
        across = np.array([-back[1], back[0]]) * half / np.linalg.norm(back)
        end = mark.root + max(mark.grip, 3.0 / scale) * back
        corners = np.stack([mark.root - across, end - across, end + across, mark.root + across])
    _polygon(axes, corners, fill="white", edge=INK, lw=0.8, hatch="////", zorder=1.5)


def _stroke(axes: Axes, stroke: Stroke, scale: float, *, dashed: bool, zorder: float) -> None:
    x, y = stroke.points.T
    true = stroke.width * scale * _POINT
    if dashed:
        if stroke.kind == "support":
            axes.plot(x, y, color=GREY, lw=0.8, ls=_BEFORE, zorder=zorder)
        return
    wide = max(true, _THINNEST)
    if stroke.kind == "sleeve":
        wide = max(true, 2.2)
        axes.plot(x, y, color=INK, lw=wide, solid_capstyle="butt", zorder=zorder + 0.1)
        axes.plot(x, y, color="#d8d2c4", lw=max(wide - 1.0, 0.8), solid_capstyle="butt", zorder=zorder + 0.2)
    elif stroke.kind == "embed":
        axes.plot(x, y, color=INK, lw=max(0.5 * wide, 0.8), ls=_BEHIND, zorder=4.2)
    else:
        axes.plot(x, y, color=INK, lw=wide, solid_capstyle="butt", solid_joinstyle="round", zorder=zorder)


def _body(axes: Axes, body: Body, scale: float, *, dashed: bool) -> None:
    for stroke in body.strokes:
        _stroke(axes, stroke, scale, dashed=dashed, zorder=2.0 if dashed else 3.0)
    if body.outline is not None:
        _polygon(
            axes,
            body.outline,
            fill="none" if dashed else PAPER,
            edge=GREY if dashed else INK,
            lw=0.8 if dashed else 1.1,
            ls=_BEFORE if dashed else "solid",
            zorder=2.2 if dashed else 4.0,
        )
    if dashed:
        return
    if body.insert is not None:
        _polygon(axes, body.insert, fill="white", edge=INK, lw=0.7, zorder=4.1)
    _centre(axes, body.centre)


def _centre(axes: Axes, centre: Array) -> None:
    """The quartered circle of a centre of mass."""
    x, y = [centre[0]], [centre[1]]
    axes.plot(x, y, marker="o", ms=5.5, mfc="white", mec=INK, mew=0.8, ls="none", zorder=5)
    axes.plot(x, y, marker="+", ms=5.5, mec=INK, mew=0.8, ls="none", zorder=5.1)


def _ghost(axes: Axes, body: Body) -> None:
    if body.outline is not None:
        _polygon(axes, body.outline, edge=ACCENT, lw=1.0, ls=_SWING, zorder=4.6)
    for stroke in body.strokes:
        if stroke.kind == "support":
            axes.plot(*stroke.points.T, color=ACCENT, lw=0.9, ls=_SWING, zorder=3.6)


def _dimension(axes: Axes, view: SideView, scale: float) -> None:
    """The free length of the first support, leg by leg where it is bent."""
    many = f", 1 of {view.supports}" if view.supports > 1 else ""
    for root, tip, length in view.legs:
        words = f"{number(length, digits=4)} mm"
        words += f" free{many}" if len(view.legs) == 1 else ""
        _leg(axes, root, tip, view.unloaded.centre, words, scale)


def _leg(axes: Axes, root: Array, tip: Array, centre: Array, words: str, scale: float) -> None:
    """One dimension, on the side away from the prop; above where that is neither."""
    along = tip - root
    if np.linalg.norm(along) * scale < 8.0:
        return  # short, or seen end on
    unit = along / np.linalg.norm(along)
    aside = np.array([-unit[1], unit[0]])
    toward = float(aside @ (centre - (root + tip) / 2))
    level = abs(toward) * scale < 3.0
    if (level and (aside[1], aside[0]) < (0.0, 0.0)) or (not level and toward > 0):
        aside = -aside
    off = aside * (5.5 / scale)
    for end in (root, tip):
        axes.plot(*np.stack([end + 0.25 * off, end + 1.2 * off]).T, color=GREY, lw=0.5, zorder=4.8)
    axes.annotate(
        "",
        xy=tuple(tip + off),
        xytext=tuple(root + off),
        arrowprops={
            "arrowstyle": "<|-|>,head_width=0.12,head_length=0.3",
            "color": GREY,
            "lw": 0.6,
            "shrinkA": 0,
            "shrinkB": 0,
        },
        zorder=4.8,
    )
    angle = math.degrees(math.atan2(unit[1], unit[0]))
    angle = angle - 180 if angle > 90 else angle + 180 if angle <= -90 else angle
    middle = (root + tip) / 2 + off * 1.15
    axes.text(
        float(middle[0]),
        float(middle[1]),
        words,
        rotation=angle,
        rotation_mode="anchor",
        ha="center",
        va="bottom",
        fontsize=7,
        zorder=6,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.85},
    )


def _lens_arrow(axes: Axes, way: Array, scale: float) -> None:
    _, x1 = axes.get_xlim()
    _, y1 = axes.get_ylim()
    length = 7.0 / scale
    tip = np.array([x1 - 2.0 / scale, y1 - 3.0 / scale])
    if way[1] > 0.5:  # keep it inside the paper
        tip = np.array([x1 - 6.0 / scale, y1 - 2.0 / scale])
    start = tip - length * way
    axes.annotate(
        "",
        xy=tuple(tip),
        xytext=tuple(start),
        arrowprops={"arrowstyle": "-|>,head_width=0.16,head_length=0.4", "color": INK, "lw": 0.8},
    )
    axes.text(start[0] - 1.2 / scale, start[1], "to the lens", ha="right", va="center", fontsize=7)


def _swing_words(times: float) -> str:
    drawn = "as they are" if times == 1 else f"{number(times)} times as far apart"
    return f"Dotted outlines: the ends of the wobble after the moves, drawn {drawn}."


def side_words(view: SideView, scale: float | None = None) -> str:
    """Say what the side view shows.

    Parameters
    ----------
    view : SideView
        What is drawn.
    scale : float, optional
        Its scale on paper.

    Returns
    -------
    str
    """
    parts = [f"Seen from the {view.seen_from}, in the pose at the end of the moves."]
    parts.append("Dashed: before the prop is hung.")
    if view.settled is None:
        parts.append("It finds no rest under its own weight, so no settled shape is drawn.")
    else:
        sag = "" if view.sag is None else f": the centre of mass sags {amount(view.sag, 'mm')}"
        drawn = (
            "drawn as it is"
            if view.settled_times == 1
            else f"drawn {number(view.settled_times)} times as far"
        )
        parts.append(f"Solid: settled{sag}, {drawn}.")
    if view.swings:
        parts.append(_swing_words(view.wobble_times))
    elif view.wobble_across:
        parts.append("It wobbles across this view; see the view of the lens.")
    if any(not mark.given for mark in view.clamps):
        parts.append("The grip is not given; its depth here is a guess.")
    if view.unloaded.outline is None:
        parts.append("No size is given, so only the centre of mass of the prop is drawn.")
    if view.unloaded.insert is not None:
        parts.append("The insert is drawn level in the middle of the prop.")
    if scale is not None:
        parts.append(f"Scale {scale_words(scale)} on paper, printed at 100 %.")
    return " ".join(parts)


# -- as the lens sees it ---------------------------------------------------------------------------------


def draw_lens(
    figure: Figure, view: LensView, *, left: float, bottom: float, width: float, height: float
) -> float:
    """Draw what the lens sees; arguments as for `draw_side`, gives the scale."""
    axes, scale = _sheet(figure, view.points, left=left, bottom=bottom, width=width, height=height)
    for stroke in view.shown:
        _stroke(axes, stroke, scale, dashed=False, zorder=5.0)
    if view.outline is not None:
        _polygon(axes, view.outline, fill=PAPER, edge=INK, lw=1.1, zorder=4.0)
    if view.insert is not None:
        _polygon(axes, view.insert, edge=GREY, lw=0.6, ls=(0, (2, 2)), zorder=4.1)
    for stroke in view.hidden:
        axes.plot(*stroke.points.T, color=GREY, lw=0.8, ls=_BEHIND, zorder=4.3)
    for swing in view.swings:
        _polygon(axes, swing, edge=ACCENT, lw=1.0, ls=_SWING, zorder=4.6)
    _centre(axes, view.centre)
    if view.frame is not None:
        low, high = axes.get_ylim()
        for edge in view.frame:
            if axes.get_xlim()[0] < edge < axes.get_xlim()[1]:
                axes.plot([edge, edge], [low, high], color=INK, lw=0.6, ls=_EDGE)
                axes.text(
                    edge - 0.8 / scale,
                    high - 1.0 / scale,
                    "edge of the picture",
                    fontsize=6.5,
                    va="top",
                    ha="right",
                    rotation=90,
                )
    return scale


def lens_words(view: LensView, scale: float | None = None) -> str:
    """Say what the view of the lens shows; see `side_words`."""
    parts = [
        "As the lens sees it when the moves have ended, settled and true to scale."
        if view.camera
        else "Seen level from the front and from far away, as no camera is given; settled and true to scale."
    ]
    if view.outline is None:
        parts.append("No size is given, so the prop hides nothing here.")
    elif view.shown:
        parts.append("Solid lines are what shows of the support; dotted ones run behind the prop.")
    elif view.hidden:
        parts.append("The prop hides all of its support; the dotted line is where it runs.")
    if view.swings:
        parts.append(_swing_words(view.wobble_times))
    if view.pixel is not None:
        parts.append(f"One pixel spans {number(view.pixel)} mm.")
    if scale is not None:
        parts.append(f"Scale {scale_words(scale)} on paper, printed at 100 %.")
    return " ".join(parts)


# -- the whole picture -----------------------------------------------------------------------------------


def frame_height(view: FrameView, *, width_mm: float) -> float:
    """Height on paper at which the picture's width fills the room [mm], within reason."""
    low, high = _frame_reach(view)
    return float(
        np.clip((high - low) / (view.edges[1] - view.edges[0]) * width_mm + 10, 40.0, 1.1 * width_mm)
    )


def _frame_reach(view: FrameView) -> tuple[float, float]:
    """Lowest and highest of what is drawn [px]."""
    places = [np.zeros((1, 2))]
    for spot in view.spots:
        places += [part for part in (spot.start, spot.end) if part is not None]
        places += [spot.end_centre[None]] + ([] if spot.start_centre is None else [spot.start_centre[None]])
    heights = np.concatenate(places)[:, 1]
    return float(heights.min()), float(heights.max())


def draw_frame(
    figure: Figure, view: FrameView, *, left: float, bottom: float, width: float, height: float
) -> None:
    """Draw all props in the picture; arguments as for `draw_side`."""
    axes = axes_at(figure, left, bottom, width, height)
    axes.set_axis_off()
    across = 1.04 * (view.edges[1] - view.edges[0])
    low, high = _frame_reach(view)
    middle, up = (low + high) / 2, across * height / width
    axes.set_xlim(-across / 2, across / 2)
    axes.set_ylim(middle - up / 2, middle + up / 2)
    for edge in view.edges:
        axes.plot([edge, edge], [middle - up / 2, middle + up / 2], color=INK, lw=0.8, ls=_EDGE)
    axes.plot([0], [0], marker="+", ms=9, mec=GREY, mew=0.7)
    for layer, spot in enumerate(view.spots, start=3):
        for line in spot.supports:
            axes.plot(*line.T, color=GREY, lw=0.9, ls=_BEHIND, zorder=2)
        if spot.start is not None:
            _polygon(axes, spot.start, edge=GREY, lw=0.8, ls=_BEFORE)
        if spot.end is not None:
            _polygon(axes, spot.end, fill=PAPER, edge=INK, lw=1.1, alpha=0.9, zorder=layer)
        else:
            axes.plot(*spot.end_centre, marker="o", ms=5, mfc="white", mec=INK, zorder=layer)
        if (
            spot.start_centre is not None
            and np.linalg.norm(spot.end_centre - spot.start_centre) > 0.02 * across
        ):
            axes.annotate(
                "",
                xy=tuple(spot.end_centre),
                xytext=tuple(spot.start_centre),
                arrowprops={"arrowstyle": "-|>,head_width=0.14,head_length=0.35", "color": GREY, "lw": 0.7},
                zorder=20,
            )
        words = printable(spot.name)
        axes.text(
            float(spot.end_centre[0]),
            float(spot.end_centre[1] if spot.end is None else spot.end[:, 1].max()),
            words if len(words) <= 24 else f"{words[:23]}…",
            ha="center",
            va="bottom",
            fontsize=7,
            zorder=30,
        )


def frame_words(view: FrameView) -> str:
    """Say what the whole picture shows."""
    moves = " Dashed: where the moves start." if any(spot.start is not None for spot in view.spots) else ""
    places = "; ".join(f"{spot.name} {_place_words(spot.end_centre)} of the middle" for spot in view.spots)
    return (
        f"From edge to edge, when the moves have ended.{moves} Dotted: the supports. The cross is"
        f" the middle of the frame; its height is not known. In px: {places}."
    )


def _place_words(centre: Array) -> str:
    right, up = (round(float(part)) for part in centre)
    return f"{abs(right)} {'right' if right >= 0 else 'left'} and {abs(up)} {'above' if up >= 0 else 'below'}"


# -- the wobble ------------------------------------------------------------------------------------------


def draw_wobble(
    figure: Figure, path: WobblePath, *, left: float, bottom: float, width: float, height: float
) -> None:
    """Draw the course of the centre of mass in the picture after the moves; arguments as for `draw_side`."""
    from matplotlib.patches import Circle

    side = min(width - 16, height - 13)
    axes = axes_at(figure, left + 13 + (width - 16 - side) / 2, bottom + 10, side, side)
    middle = (path.points.min(axis=0) + path.points.max(axis=0)) / 2
    reach = max(0.62 * path.extent, 0.62 * path.most)
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-reach, reach)
    axes.set_aspect("equal")
    axes.add_patch(Circle((0, 0), path.most / 2, fill=False, ec=INK, lw=0.8, ls=(0, (5, 2))))
    axes.add_patch(Circle((0, 0), path.good / 2, fill=False, ec=GREY, lw=0.8, ls=(0, (1, 1.5))))
    axes.plot(*(path.points - middle).T, color=ACCENT, lw=0.9)
    axes.axhline(0, color=GREY, lw=0.3)
    axes.axvline(0, color=GREY, lw=0.3)
    axes.set_xlabel(f"{path.axes[0]}, {path.unit}")
    axes.set_ylabel(f"{path.axes[1]}, {path.unit}")
    ticks = [-path.most / 2, 0.0, path.most / 2]
    axes.set_xticks(ticks, [number(tick) for tick in ticks])
    axes.set_yticks(ticks, [number(tick) for tick in ticks])


def wobble_words(path: WobblePath) -> str:
    """Say what the picture of the wobble shows."""
    return (
        f"How the centre of mass goes in the picture while it rings after the moves: {amount(path.extent, path.unit)}"
        f" peak to peak. Dotted circle: {amount(path.good, path.unit)}, still to the eye."
        f" Dashed circle: {amount(path.most, path.unit)}, the limit."
    )
