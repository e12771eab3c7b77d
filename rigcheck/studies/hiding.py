"""Hidden or not: what shows of a support behind its prop, in which frames, and from which side less would."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import SIDES, Prop, Shot
from rigcheck.studies.carried import Carried, Line
from rigcheck.studies.contributions import Said, skipped
from rigcheck.studies.moves import is_turning
from rigcheck.studies.picture_frames import LOOKS, Frames, frames_of
from rigcheck.studies.results import Figure, Finding, Status
from rigcheck.studies.rigs import width_direction
from rigcheck.studies.words import capitalised, share_words, side_words

if TYPE_CHECKING:
    from rigcheck.picture.projection import Camera
    from rigcheck.picture.visibility import Band

__all__ = ["HIDDEN_AREA", "HIDDEN_LABEL", "WORTH_MOVING", "Shown", "hidden_support", "whether_hidden"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

HIDDEN_AREA = 1.0
"""A support counts as hidden in a frame where less of it shows [px^2]: one pixel, a choice."""
WORTH_MOVING = 0.9
"""Another side is advised where it shows less than this share of what shows now: a choice."""
_MOST_FRAMES = 2_000
_IN_LINE = "in line"
_IN_LINE_WORDS = "straight behind it as the lens sees it"
HIDDEN_LABEL = "hidden support"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Shown:
    """What shows of the supports: at rest [px, px, px^2], and frame by frame over the moves.

    `frames` is None where the frames cannot be counted; `total` is the area of all of them together [px^2].
    """

    length: float
    width: float
    area: float
    most: float
    share: float
    frames: int | None
    visible_frames: int
    total: float


def hidden_support(
    prop: Prop, body: Carried, camera: Camera, frames: Frames, said: Said, *, for_verdict: bool = False
) -> Shown | None:
    """Say what shows of the supports of a prop, and give it; None where its outline is not known.

    `for_verdict` leaves the other sides out.
    """
    if body.shape is None:
        said.findings.append(_no_outline())
        return None
    if prop.mark is None:
        said.assumptions.append("No mark is given, so the prop is pictured in the middle of the frame.")
    by_side: dict[str, float] = {}
    if for_verdict:
        found = _visible(body, camera, frames.rotation, frames.position)
    else:
        sides = _sides(body, camera, frames)
        found, areas = _first_look(body, camera, frames, sides)
        # Sides that show as much by symmetry come in their own order, whichever way rounding goes.
        order = np.argsort([float(f"{area:.5g}") for area in areas], kind="stable")
        by_side = {sides.names[index]: float(areas[index]) for index in order}
    shown = _look(body, camera, frames, found)
    hides = shown.most < HIDDEN_AREA
    said.findings.append(
        Finding(
            id="hidden",
            label=HIDDEN_LABEL,
            status=Status.PASS if hides else Status.CAUTION,
            value=shown.most,
            limit=HIDDEN_AREA,
            unit="px^2",
            says=_shown_words(shown, moves=bool(body.travels)),
            advice=() if hides or for_verdict else _side_advice(by_side, shown, _now(prop)),
        )
    )
    turning = is_turning(body.travels)
    if not for_verdict:
        said.figures.append(
            Figure(
                label="support shown, by side",
                value="; ".join(f"{name} {_area_words(area)}" for name, area in by_side.items()),
                note=f"were it straight and unbent, {'at most over the moves' if turning else 'at the end'}",
            )
        )
    said.assumptions += [
        f"A support counts as hidden where less than {HIDDEN_AREA:g} px^2 of it shows: a choice.",
        (
            f"The prop hides like a solid {prop.shape} of its size about its centre of mass; only the prop itself"
            " hides its support."
        ),
        (
            "The mount is shifted so that the settled prop is on its mark, and not tilted: the prop leans as it"
            " settles."
        ),
    ]
    if not hides:
        said.assumptions.append(
            "The picture's height is not known, so what is above or below the frame counts as shown."
        )
    if turning:
        said.assumptions.append("A rolling rig is pictured in the shape in which it settles at the end.")
        said.assumptions.append(
            f"What shows is looked at in {len(frames.first)} frames of the moves, and in all frames between two that"
            " differ; between two that are alike it is taken to stay so."
        )
    return shown


def whether_hidden(shot: Shot, body: Carried, camera: Camera) -> Finding:
    """Find whether the supports of a prop are hidden: the finding of `hidden_support`, as far as a verdict needs it.

    Its status alone; once a support shows, no other is looked at, and no further frame.
    """
    if body.shape is None:
        return _no_outline()
    hidden = Finding(id="hidden", label=HIDDEN_LABEL, status=Status.PASS, says="")
    if _surely_hidden(body, camera):
        return hidden
    from rigcheck.picture.visibility import visible_area

    frames = frames_of(shot, body)
    # What shows at all mostly does when the moves have ended.
    for rows in (slice(-1, None), slice(None, -1)):
        position = frames.position[rows]
        rotation = frames.rotation if len(frames.rotation) == 1 else frames.rotation[rows]
        area = np.zeros(len(position))
        solid = body.solid(rotation, position)
        for band in _bands(body.lines, rotation, position):
            area += visible_area(band, camera, solid)
            if area.max(initial=0.0) >= HIDDEN_AREA:
                return replace(hidden, status=Status.CAUTION)
    return hidden


def _surely_hidden(body: Carried, camera: Camera) -> bool:
    """Whether one look tells that no support shows in any frame."""
    if (
        camera.position is not None
        or is_turning(body.travels)
        or any(line.wide is not None for line in body.lines)
    ):
        return False
    from rigcheck.picture.visibility import surely_hidden

    # Without a lens the picture of what only slides is the same wherever it is.
    rotation, position = np.eye(3)[None], np.zeros((1, 3))
    solid = body.solid(rotation, position)
    return all(
        surely_hidden(_placed(line, rotation, position), float(line.diameters.max()), camera, solid)[0]
        for line in body.lines
    )


def _no_outline() -> Finding:
    return skipped("hidden", HIDDEN_LABEL, "No size is given, so its outline is not known.")


def _placed(line: Line, rotation: Array, position: Array) -> Array:
    """Points of a support in poses, (n, k, 3)."""
    return np.asarray(position[:, None, :] + line.points @ np.swapaxes(rotation, -1, -2))


def _bands(lines: Sequence[Line], rotation: Array, position: Array) -> Iterator[Band]:
    """Supports in poses; a strip piece by piece, because it may be wide in another direction in each."""
    from rigcheck.picture.visibility import Band

    for line in lines:
        points = _placed(line, rotation, position)
        if line.thickness is None or line.wide is None:
            yield Band(points=points, diameter=line.diameters)
            continue
        for piece, (diameter, sleeved) in enumerate(zip(line.diameters, line.sleeved, strict=True)):
            ends = points[:, piece : piece + 2]
            if sleeved:
                yield Band(points=ends, diameter=np.asarray(diameter))
            else:
                yield Band(
                    points=ends,
                    diameter=np.asarray(diameter),
                    thickness=line.thickness,
                    wide_direction=np.broadcast_to(rotation @ line.wide[piece], position.shape),
                )


def _visible(body: Carried, camera: Camera, rotation: Array, position: Array) -> Array:
    """Length, width and area of the supports that show in poses, (3, n)."""
    found = np.zeros((3, len(position)))
    _add(found, body, camera, rotation, position)
    return found


def _add(found: Array, body: Carried, camera: Camera, rotation: Array, position: Array) -> None:
    """Add what shows of the supports in poses to length, width and area, (3, n)."""
    from rigcheck.picture.visibility import visible_support

    solid = body.solid(rotation, position)
    for band in _bands(body.lines, rotation, position):
        shows = visible_support(band, camera, solid)
        found[0] += shows.length_px
        found[1] = np.maximum(found[1], shows.width_px)
        found[2] += shows.area_px


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Sides:
    """A straight first support from r sides, in m poses: root and tip in the frame's axes, (r, m, 2, 3) [m]."""

    names: tuple[str, ...]
    points: Array
    wide: Array | None
    rotation: Array
    position: Array


def _first_look(body: Carried, camera: Camera, frames: Frames, sides: _Sides) -> tuple[Array, Array]:
    """What shows in the frames looked at first, (3, n), and from each side at most, (r,) [px^2]."""
    from rigcheck.picture.visibility import Band, visible_support

    count = frames.position.shape[0]
    line = body.lines[0]
    solid = body.solid(sides.rotation, sides.position)
    ways, poses = sides.points.shape[:2]
    if line.wide is None and not line.sleeved.any():
        # One call for both costs little more than one of them: the straight ones get as many pieces.
        share = np.linspace(0.0, 1.0, len(line.points))[:, None]
        straight = sides.points[:, :, :1] * (1 - share) + sides.points[:, :, 1:] * share
        placed = _placed(line, frames.rotation, frames.position)
        own = body.solid(frames.rotation, frames.position)
        both = replace(
            own,
            centre=np.concatenate([own.centre, np.tile(solid.centre, (ways, 1))]),
            orientation=np.concatenate([own.orientation, np.tile(solid.orientation, (ways, 1, 1))]),
        )
        band = Band(
            points=np.concatenate([placed, straight.reshape(-1, *placed.shape[1:])]), diameter=line.diameters
        )
        shows = visible_support(band, camera, both)
        found = np.stack([shows.length_px[:count], shows.width_px[:count], shows.area_px[:count]])
        rest = replace(body, lines=body.lines[1:])
        _add(found, rest, camera, frames.rotation, frames.position)
        return found, shows.area_px[count:].reshape(ways, poses).max(axis=1)
    found = _visible(body, camera, frames.rotation, frames.position)
    band = Band(
        points=sides.points,
        diameter=np.asarray(line.diameters[-1]),
        thickness=line.thickness,
        wide_direction=sides.wide,
    )
    return found, visible_support(band, camera, solid).area_px.max(axis=1)


def _look(body: Carried, camera: Camera, frames: Frames, found: Array) -> Shown:
    """Look at the end of the moves and at frames over them, closer where the support comes into view."""
    first, count = frames.first, frames.count
    areas = found[2, :-1]
    length, width, area = (float(value) for value in found[:, -1])
    shows = areas >= HIDDEN_AREA
    unlike = np.flatnonzero(shows[1:] != shows[:-1])
    more = _thinned(first[unlike] + 1, first[unlike + 1])
    if len(more):
        areas = np.concatenate([areas, _visible(body, camera, *body.poses(frames.times(more)))[2]])
    looked = np.concatenate([first, more])
    order = np.argsort(looked)
    visible, total = _counted(looked[order], areas[order])
    return Shown(
        length=length,
        width=width,
        area=area,
        most=float(max(areas.max(), area)),
        share=visible / count,
        frames=count if body.travels and frames.rate is not None else None,
        visible_frames=visible if body.travels else 0,
        total=total,
    )


def _thinned(starts: Index, stops: Index) -> Index:
    """Frames from each start to before its stop; of too many every so many."""
    counts = stops - starts
    before = np.cumsum(counts) - counts
    places = np.arange(0, int(counts.sum()), max(1, int(counts.sum()) // _MOST_FRAMES))
    gap = np.searchsorted(before, places, side="right") - 1
    return np.asarray(starts[gap] + places - before[gap])


def _counted(looked: Index, areas: Array) -> tuple[int, float]:
    """In how many frames the support shows, and all that shows of it [px2].

    Between two frames looked at the area is a straight line: from `low` at the first of n frames to `high` at the one
    after the last, it passes the least that shows after ``n (least - low) / (high - low)`` frames. So no frame needs
    to be gone through.
    """
    low, high, frames = areas[:-1], areas[1:], np.diff(looked)
    rise = high - low
    crosses = (low >= HIDDEN_AREA) != (high >= HIDDEN_AREA)
    passes = np.divide(HIDDEN_AREA - low, rise, out=np.zeros_like(rise), where=crosses)
    first = np.where(low >= HIDDEN_AREA, 0, np.ceil(passes * frames))
    last = np.where(high >= HIDDEN_AREA, frames, np.floor(passes * frames) + 1)
    never = (low < HIDDEN_AREA) & (high < HIDDEN_AREA)
    last = np.where(never, first, np.minimum(last, frames))
    shown = np.maximum(last - first, 0)
    # The middle of an arithmetic series times its members.
    middle = low + rise * (first + last - 1) / (2 * frames)
    end = areas[-1] >= HIDDEN_AREA
    return int(shown.sum()) + int(end), float((shown * middle).sum() + areas[-1] * end)


def _sides(body: Carried, camera: Camera, frames: Frames) -> _Sides:
    """The sides from which the first support could come, were it straight."""
    line = body.lines[0]
    tip = line.points[-1]
    length = float(np.linalg.norm(np.diff(line.points, axis=0), axis=1).sum())
    turning = is_turning(body.travels)
    every = max(1, len(frames.position) // LOOKS) if turning else len(frames.position)
    rows = np.arange(len(frames.position) - 1, -1, -every)  # the last is the end of the moves
    position = frames.position[rows]
    rotation = frames.rotation[rows] if len(frames.rotation) > 1 else frames.rotation
    ways = {name: np.array(way) for name, way in SIDES.items()}
    middle = body.middles(rotation[:1], position[:1])[0]
    sight = camera.toward if camera.position is None else camera.position - middle
    away = -sight / np.linalg.norm(sight)
    # In the frame's axes at the end of the moves, which are those of the rig.
    if float(away @ ways["behind"]) < np.cos(np.deg2rad(1.0)):
        ways[_IN_LINE] = away
    directions = np.array(list(ways.values()))
    points = np.stack([tip + length * directions, np.broadcast_to(tip, directions.shape)], axis=1)
    wide = None
    if line.wide is not None:
        flat = width_direction(points)
        across = flat[:, 0] - (flat[:, 0] * directions).sum(axis=1, keepdims=True) * directions
        wide = np.broadcast_to(np.einsum("nij,rj->rni", rotation, across), (len(ways), len(position), 3))
    return _Sides(
        names=tuple(ways),
        points=position[:, None] + points[:, None] @ np.swapaxes(rotation, -1, -2),
        wide=wide,
        rotation=rotation,
        position=position,
    )


def _now(prop: Prop) -> str | None:
    """The side from which the only support comes; None where it is bent or there are several."""
    first = prop.support[0]
    return first.from_ if first.path is None and len(prop.support) == 1 else None


def _side_advice(sides: dict[str, float], shown: Shown, now: str | None) -> tuple[str, ...]:
    name, area = next(iter(sides.items()))
    straight = sides[now] if now is not None else np.inf
    if straight < WORTH_MOVING * shown.most and straight <= area + HIDDEN_AREA:
        now_shows = _area_words(shown.most)
        return (
            f"Take a stiffer or shorter support: straight, {_area_words(straight)} would show, not {now_shows}.",
        )
    if area >= WORTH_MOVING * shown.most or name == now:
        return ()
    words = _IN_LINE_WORDS if name == _IN_LINE else side_words(name)
    return (
        f"Bring the support in {words}: {_area_words(area)} of it would show, not {_area_words(shown.most)}.",
    )


def _area_words(area: float) -> str:
    if area < HIDDEN_AREA:
        return "0 px^2"
    return f"{_pixels(area)} px^2"


def _pixels(value: float) -> str:
    return f"{float(f'{value:.3g}'):,.10g}"


def _shown_words(shown: Shown, *, moves: bool) -> str:
    over = ""
    if moves and shown.visible_frames:
        if shown.frames is None:
            over = f"for {share_words(shown.share)} of the moves"
        elif shown.visible_frames == shown.frames:
            over = f"in all {shown.frames:,} frames of the moves"
        else:
            over = f"in {shown.visible_frames:,} of {shown.frames:,} frames of the moves"
    if shown.area >= HIDDEN_AREA:
        says = (
            f"{'When the moves have ended ' if moves else ''}{_pixels(shown.length)} px of the support show beside"
            f" the prop, {shown.width:.3g} px wide ({_area_words(shown.area)})"
        )
        return f"{capitalised(says)}{f', and it shows {over}' if over else ''}."
    if over:
        return f"It shows {over}, at most {_area_words(shown.most)}; when they have ended it is hidden."
    if shown.most >= HIDDEN_AREA:
        return f"It comes into view on the way, at most {_area_words(shown.most)}."
    return "The prop hides its support" + (", while it moves and after." if moves else ".")
