"""Points of a video worth following: on what moves, and on what stays."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.files.video_frames import Frame, FrameSource, Picture, Video, load_cv2, opened
from rigcheck.files.video_patch import HALF_SIZE, SMALL_HALF, Found, Patch, expected_error

__all__ = ["MARGIN", "Proposal", "Proposals", "marked_picture", "propose_points"]

FloatArray = NDArray[np.float64]
Progress = Callable[[int, int | None], None]

MARGIN = HALF_SIZE + 3
"""How far from the edge of the picture a point has to be [px]."""

_MOST_CORNERS = 250
_APART = 16  # px in the picture that is searched, between corners
_WIDTH = 800  # px to which a wide picture is brought for this
_LOOK = 25  # frames between two looks at what moves
_CLEAR = 2.0 * HALF_SIZE  # px that the prop has to be away from where it was, so that the look can end
_MOST_FRAMES = 2000
_MOST_RETURN = 0.7  # px between the way there and the way back
_LEAST_SIDE = 0.85  # agreement of the worst side with the first look, in three of four frames
_LEAST_FOUND = 0.7  # share of the frames
_PARTED = 8.0  # px from where it was at first, from which a square that shows two things betrays itself
_LEAST_AWAY = 3  # frames so far from there that they alone are judged by
_TRIED = 10  # corners of a kind that are followed on trial
_TRIAL = 400  # frames of it at most
_MOST_MOVING, _MOST_STILL = 6, 8
_NEIGHBOURS = 2.5 * HALF_SIZE  # px within which corners should move alike
_SAME = 0.7  # share of the neighbours
_ROUGH = 0.2  # px of expected error from which a corner is no use


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """A point worth following.

    Attributes
    ----------
    number : int
        For the user to name it by, from 1.
    x, y : float
        In the first picture: to the right and down from the middle of its first pixel [px].
    moving : bool
        Whether it moves against what stays.
    extent : float
        How far it came in the frames looked at [px].
    expected_error : float
        Standard error of its place in one frame, from its texture and the grain [px].
    half : int
        Half the side of the square to follow, without its middle [px]: small on a small prop.
    """

    number: int
    x: float
    y: float
    moving: bool
    extent: float
    expected_error: float
    half: int = HALF_SIZE


@dataclass(frozen=True, kw_only=True)
class Proposals:
    """The points worth following, strongest first.

    Attributes
    ----------
    moving, still : tuple of Proposal
        On what moves, and on what stays.
    frames : int
        How many frames were looked at.
    """

    moving: tuple[Proposal, ...]
    still: tuple[Proposal, ...]
    frames: int


def propose_points(path: str | Path | Video | FrameSource, *, progress: Progress | None = None) -> Proposals:
    """Find points worth following in a video.

    Parameters
    ----------
    path : str, Path, Video or FrameSource
        The video.
    progress : callable, optional
        Called with the frames done and the frames in all (None where the file does not say).

    Returns
    -------
    Proposals
        At most six that move and eight that stay; none where there is nothing of the kind.

    Raises
    ------
    InputError
        The file cannot be read as a video.
    RigcheckError
        The extra ``video`` is not installed.

    Notes
    -----
    Corners after Shi and Tomasi, "Good Features to Track" (1994), of the first frame are followed from frame to frame
    by pyramids of Lucas and Kanade's method (Bouguet 2000), there and back, until something has clearly moved or the
    video ends. What moves least is taken to be the background; a corner counts as moving where it comes clearly
    further, and where most of its neighbours do.
    """
    video = opened(path)
    paths, kept, first, count = _ways(video, progress)
    if paths.shape[1] == 0:
        return Proposals(moving=(), still=(), frames=count)
    corners = paths[0]
    extent = np.ptp(paths, axis=0).max(axis=1)
    base = float(np.quantile(extent[kept], 0.1)) if kept.any() else 0.0
    still = kept & (extent <= 1.5 * base + 0.5)
    moving = kept & (extent > 3.0 * base + 0.5)
    reach = np.linalg.norm(corners[:, None] - corners[None], axis=2) < _NEIGHBOURS
    chosen: dict[bool, tuple[list[int], FloatArray, FloatArray, int]] = {}
    tried: dict[bool, tuple[FloatArray, FloatArray]] = {}
    for half in (HALF_SIZE, SMALL_HALF):
        rows: dict[bool, list[int]] = {}
        for is_moving, kind in ((True, moving), (False, still)):
            alike = reach & kind
            if half == HALF_SIZE:
                places, good = corners, kind & (alike.sum(axis=1) > _SAME * (reach & kept).sum(axis=1))
            else:
                # Corners of a small prop lie on its outline; the middle of those that move together lies inside.
                places, good = alike @ corners / np.maximum(alike.sum(axis=1), 1)[:, None], kind
            places = np.rint(places)
            errors = np.full(len(places), np.inf)
            for row in np.flatnonzero(good):
                errors[row] = expected_error(Patch(first, places[row], half).first)
            rows[is_moving] = (
                _best(good & (errors < _ROUGH), places, errors, _TRIED) if is_moving not in chosen else []
            )
            tried[is_moving] = places, errors
        every = [(is_moving, row) for is_moving, group in rows.items() for row in group]
        passed = _trial(video, [tried[is_moving][0][row] for is_moving, row in every], half, count)
        for is_moving, most in ((True, _MOST_MOVING), (False, _MOST_STILL)):
            kept_rows = [
                row for (moves, row), good in zip(every, passed, strict=True) if good and moves is is_moving
            ]
            if kept_rows:
                chosen[is_moving] = (kept_rows[:most], *tried[is_moving], half)
        if len(chosen) == 2:
            break
    found: list[tuple[Proposal, ...]] = []
    for is_moving in (True, False):
        group, places, errors, half = chosen.get(is_moving, ([], corners, np.zeros(0), HALF_SIZE))
        found.append(
            tuple(
                Proposal(
                    number=number,
                    x=float(places[row, 0]),
                    y=float(places[row, 1]),
                    moving=is_moving,
                    extent=float(extent[row]),
                    expected_error=float(errors[row]),
                    half=half,
                )
                for number, row in enumerate(group, 1 + sum(map(len, found)))
            )
        )
    return Proposals(moving=found[0], still=found[1], frames=count)


def marked_picture(path: str | Path | Video | FrameSource, proposals: Proposals) -> bytes:
    """Draw the first frame with the proposed points numbered: circles on what moves, squares on what stays.

    Parameters
    ----------
    path : str, Path, Video or FrameSource
        The video.
    proposals : Proposals
        What was found in it.

    Returns
    -------
    bytes
        A PNG picture.
    """
    cv2: Any = load_cv2()
    video = opened(path)
    picture = next(iter(video.frames())).picture
    if picture.ndim == 2:
        picture = cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR)
    picture = picture.copy()
    scale = max(picture.shape[1] / 1280.0, 0.5)
    for proposal in (*proposals.still, *proposals.moving):
        at = (round(proposal.x), round(proposal.y))
        room = at[0] + HALF_SIZE + 4 + 36 * scale < picture.shape[1]
        text_at = (
            at[0] + HALF_SIZE + 4 if room else at[0] - HALF_SIZE - round(36 * scale),
            at[1] - HALF_SIZE // 2,
        )
        # Black under white is seen on any ground.
        for colour, width in (((0, 0, 0), 3.0), ((255, 255, 255), 1.0)):
            thick = max(1, round(width * scale))
            if proposal.moving:
                cv2.circle(picture, at, proposal.half, colour, thick, cv2.LINE_AA)
            else:
                half = np.array([proposal.half, proposal.half])
                cv2.rectangle(picture, np.array(at) - half, np.array(at) + half, colour, thick)
            cv2.putText(
                picture,
                str(proposal.number),
                text_at,
                cv2.FONT_HERSHEY_SIMPLEX,
                0.9 * scale,
                colour,
                thick,
                cv2.LINE_AA,
            )
    _, content = cv2.imencode(".png", picture)
    return bytes(content)


def _ways(
    video: Video | FrameSource, progress: Progress | None
) -> tuple[FloatArray, NDArray[np.bool_], Frame, int]:
    """Follow corners from frame to frame.

    Returns their places in each frame (frames, n, 2) [px of the whole picture], which of them held all the way, the
    first frame, and how many frames were seen.
    """
    cv2: Any = load_cv2()
    shrink = max(1.0, video.info.width / _WIDTH)
    first: Frame | None = None
    before = picture = np.zeros((0, 0), dtype=np.uint8)
    points = np.zeros((0, 1, 2), dtype=np.float32)
    kept = np.zeros(0, dtype=bool)
    paths: list[FloatArray] = []
    frame: Frame | None = None
    for frame in video.frames():
        picture = frame.grey()
        if shrink > 1.0:
            size = (round(video.info.width / shrink), round(video.info.height / shrink))
            picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
        if first is None:
            first = frame
            points = _corners(cv2, picture, shrink)
            kept = np.ones(len(points), dtype=bool)
        elif len(points):
            there, ahead, _ = cv2.calcOpticalFlowPyrLK(
                before, picture, points, None, winSize=(21, 21), maxLevel=4
            )
            back, behind, _ = cv2.calcOpticalFlowPyrLK(
                picture, before, there, None, winSize=(21, 21), maxLevel=4
            )
            kept &= (ahead[:, 0] & behind[:, 0]).astype(bool)
            kept &= np.linalg.norm((back - points)[:, 0], axis=1) < _MOST_RETURN
            points = there
        before = picture
        paths.append(shrink * (points[:, 0].astype(np.float64) + 0.5) - 0.5)
        if progress is not None:
            progress(frame.number + 1, video.info.promised)
        if frame.number + 1 >= _MOST_FRAMES or (frame.number % _LOOK == _LOOK - 1 and _clear(paths, kept)):
            break
    if first is None or frame is None:  # a video without frames has raised before
        raise AssertionError
    return np.array(paths), kept, first, frame.number + 1


def _corners(cv2: Any, picture: Picture, shrink: float) -> NDArray[np.float32]:
    """Strong corners, far enough from the edges, shape (n, 1, 2)."""
    margin = int(np.ceil(MARGIN / shrink)) + 1
    inside = np.zeros_like(picture)
    inside[margin:-margin, margin:-margin] = 255
    found = cv2.goodFeaturesToTrack(picture, _MOST_CORNERS, 0.005, _APART, mask=inside, blockSize=7)
    return (
        np.zeros((0, 1, 2), dtype=np.float32) if found is None else found.astype(np.float32).reshape(-1, 1, 2)
    )


def _clear(paths: Sequence[FloatArray], kept: NDArray[np.bool_]) -> bool:
    """Whether something has clearly moved against the rest."""
    moved = np.linalg.norm(paths[-1] - paths[0], axis=1)[kept]
    return moved.size > 0 and bool(
        np.sort(moved)[-min(3, moved.size)] > _CLEAR + 3.0 * np.quantile(moved, 0.1)
    )


def _trial(video: Video | FrameSource, places: Sequence[FloatArray], half: int, count: int) -> list[bool]:
    """Follow points through the frames looked at, and say of which the whole square stays what it was.

    A square that shows two things which part, or that something comes before, would be pulled both ways.
    """
    if not places:
        return []
    patches: list[Patch] = []
    sides: list[list[tuple[float, bool]]] = [[] for _ in places]
    for frame in video.frames():
        if not patches:
            patches = [Patch(frame, place, half) for place in places]
            continue
        for patch, seen in zip(patches, sides, strict=True):
            found = patch.follow(frame)
            if isinstance(found, Found):
                far = bool(np.linalg.norm(found.place - patch.start) > _PARTED)
                seen.append((found.side, far))
            else:
                seen.append((np.nan, True))
        if frame.number + 1 >= min(count, _TRIAL):
            break
    return [_holds(np.array(seen, dtype=np.float64).reshape(-1, 2)) for seen in sides]


def _holds(seen: FloatArray) -> bool:
    """Whether a square stayed what it was: the agreement of its worst side, and whether it was away, by frame."""
    side, away = seen[:, 0], seen[:, 1].astype(bool)
    # Two things in one square show only once they have parted; then it may be lost.
    side = side[away] if away.sum() >= _LEAST_AWAY else side
    found = side[np.isfinite(side)]
    return found.size > _LEAST_FOUND * side.size and bool(np.quantile(found, 0.25) > _LEAST_SIDE)


def _best(kind: NDArray[np.bool_], corners: FloatArray, errors: FloatArray, most: int) -> list[int]:
    """Choose the clearest of a kind, and of the rest those far from the ones chosen; the clearest first."""
    rows = np.flatnonzero(kind)
    if rows.size == 0:
        return []
    chosen = [int(rows[np.argmin(errors[rows])])]
    while len(chosen) < most:
        away = np.linalg.norm(corners[rows][:, None] - corners[chosen][None], axis=2).min(axis=1)
        worth = away / errors[rows]
        worth[away < _APART] = 0.0
        if not worth.max() > 0.0:
            break
        chosen.append(int(rows[np.argmax(worth)]))
    return sorted(chosen, key=lambda row: errors[row])
