"""A test take as a video: one point followed through it, the camera's shake by points that stay, and the track.

Needs the extra ``video``. Coordinates count from the middle of the first pixel: x to the right, y down.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError, InputError, Problem
from rigcheck.files.takes import Take
from rigcheck.files.video_frames import Frame, FrameSource, Video, is_video, opened
from rigcheck.files.video_patch import HALF_SIZE, SMALL_HALF, Lost, Patch, expected_error
from rigcheck.files.video_points import MARGIN, Proposals, marked_picture, propose_points

__all__ = [
    "RATE_OF_RIG",
    "FrameSource",
    "Progress",
    "TrackedVideo",
    "Video",
    "is_video",
    "marked_picture",
    "propose_points",
    "track_csv",
    "track_video",
]

FloatArray = NDArray[np.float64]
Point = tuple[float, float]
Progress = Callable[[int, int | None], None]

RATE_OF_RIG = "as camera.frame_rate of the rig file says"
"""For the notes, where the frame rate comes from there."""

_LEAST_FRAMES = 4
_WIDEST = 201  # px of the square
_PARTED = 0.75  # agreement of the worst side once the point has moved: less, and the square shows two things
_UNCLEAR = 0.5  # px of expected error from which a point is refused
_ROUGH = 0.1  # and from which it is remarked upon
_OFTEN = 0.2  # of the frames
_UNEVEN = 0.25  # of a frame: more, and the file's clock is uneven
_REPEAT = 0.1  # of the usual difference between frames: less, and a frame repeats the one before
_LONGEST_REPEAT = 3  # frames; longer is a picture at rest without grain
_AROUND = 9  # frames that tell what the usual difference is
_FLOOR = 0.02  # px: no point is believed to be followed better, when they are weighed against each other
_BETTER = 0.7  # of what shifts alone leave: less, and the camera is taken to turn or zoom too


@dataclass(frozen=True, kw_only=True)
class TrackedVideo:
    """A point followed through a video.

    Attributes
    ----------
    take : Take
        The track, for the study of it.
    frames : ndarray of int, (n,)
        Number of each frame of the video, from 0.
    times : ndarray, (n,)
        When each was taken [s].
    positions, background : ndarray, (n, 2)
        The point, and a fixed point near it as the camera's shake would carry it [px]; NaN where not found. The
        background is None where nothing was followed.
    match : ndarray, (n,)
        Correlation with the first frame, 1 at most; NaN where not found.
    way_back : ndarray, (n,)
        Difference between two independent methods [px]; NaN where not found.
    point : tuple of float
        The point in the first frame [px].
    still : tuple of tuple of float
        The fixed points in the first frame [px].
    expected_error : float
        Standard error of one position, from the texture and the grain [px].
    frame_rate : float
        Frames a second that the times count [Hz].
    """

    take: Take
    frames: NDArray[np.int64]
    times: FloatArray
    positions: FloatArray
    background: FloatArray | None
    match: FloatArray
    way_back: FloatArray
    point: Point
    still: tuple[Point, ...]
    expected_error: float
    frame_rate: float


def track_video(
    path: str | Path | Video | FrameSource,
    *,
    point: Point | None = None,
    still: Sequence[Point] | Literal["auto"] = "auto",
    frame_rate: float | None = None,
    rate_from: str = "as given",
    square: int | None = None,
    proposals: Proposals | None = None,
    progress: Progress | None = None,
) -> TrackedVideo:
    """Follow a point of the first frame through a video.

    Parameters
    ----------
    path : str, Path, Video or FrameSource
        The video.
    point : tuple of float, optional
        The point on the prop, x and y in the first frame [px]. The strongest one that moves if left out.
    still : sequence of tuple of float or "auto", optional
        Points of the background, to take the camera's shake out; proposed ones if left out, none where empty.
    frame_rate : float, optional
        Frames a second as shot [Hz]; the file's own if left out, which is wrong where it was slowed down.
    rate_from : str, optional
        Where that comes from, for the notes.
    square : int, optional
        Side of the square around the point that is followed, 25 to 201 [px]; 41 if left out, 25 where the point
        proposed lies on a small prop.
    proposals : Proposals, optional
        What `propose_points` found, so that it need not look again.
    progress : callable, optional
        Called with the frames done and the frames in all (None where the file does not say).

    Returns
    -------
    TrackedVideo
        The track. A frame in which the point was not found is missing in it, and told in the take's notes.

    Raises
    ------
    ArgumentError
        The frame rate is not a number above 0, or the square is too small or too large.
    InputError
        The file cannot be read as a video, a point lies where nothing can be followed, or was lost at once.
    RigcheckError
        The extra ``video`` is not installed.
    """
    if frame_rate is not None and not (math.isfinite(frame_rate) and frame_rate > 0.0):
        raise ArgumentError(f"frame_rate: given {frame_rate:g}; it has to be a finite number above 0.")
    if square is not None and not 2 * SMALL_HALF < square <= _WIDEST:
        raise ArgumentError(f"square: given {square}; it has to be {2 * SMALL_HALF + 1} to {_WIDEST} px.")
    half = HALF_SIZE if square is None else square // 2
    video = opened(path)
    notes: list[str] = []
    if proposals is None and (point is None or still == "auto"):
        proposals = propose_points(video, progress=progress)
    if point is None:
        if proposals is None or not proposals.moving:
            raise _problem(
                video,
                "point",
                "nothing in the picture was seen to move against the rest.",
                "Name the point on the prop: --follow X,Y, in pixels of the first frame.",
            )
        point = (proposals.moving[0].x, proposals.moving[0].y)
        half = proposals.moving[0].half if square is None else half
        notes.append(f"No point was named; the strongest that moves was followed: {_place(point)}.")
    if still == "auto":
        stills = tuple((one.x, one.y) for one in proposals.still) if proposals is not None else ()
        stills = tuple(one for one in stills if math.dist(one, point) > half + HALF_SIZE)
    else:
        stills = tuple(still)

    raw = _follow_all(video, point, stills, half, progress)
    expected = _check_points(video, raw, half, notes)
    times, rate, missing = _clock(video, raw.stamps, frame_rate, rate_from, notes)
    positions = raw.places[:, 0]
    repeats = _repeats(raw.differences, video, notes)
    positions[repeats] = np.nan
    background = _background(raw.places[:, 1:], positions, notes) if stills else None
    _tell_lost(raw, repeats, stills, times, notes)
    found = np.isfinite(positions).all(axis=1)
    if background is not None:
        found &= np.isfinite(background).all(axis=1)
    if found.sum() < _LEAST_FRAMES:
        lost = f" The point was lost at frame {np.argmin(found)}." if 0 < found.sum() < found.size else ""
        raise _problem(
            video,
            "the track",
            f"has {int(found.sum())} frames with a position of {found.size}; at least {_LEAST_FRAMES} are needed."
            f"{lost}",
            "Name a point with more texture, on the same side of the prop all through.",
        )
    rows = np.flatnonzero(found)
    take = Take(
        times=times[rows],
        positions=positions[rows],
        unit="px",
        background=None if background is None else background[rows],
        dropped=int(rows[-1] - rows[0] + 1 - rows.size) + int(missing[rows[0] : rows[-1]].sum()),
        frame_rate=rate,
        source=video.source,
        notes=tuple(notes),
    )
    return TrackedVideo(
        take=take,
        frames=np.arange(found.size),
        times=times,
        positions=positions,
        background=background,
        match=np.where(found, raw.match, np.nan),
        way_back=np.where(found, raw.way_back, np.nan),
        point=point,
        still=stills,
        expected_error=expected,
        frame_rate=rate,
    )


def track_csv(track: TrackedVideo) -> str:
    """Write a track as a table that `read_take` reads.

    Parameters
    ----------
    track : TrackedVideo
        The track.

    Returns
    -------
    str
        Columns frame, time_s, x_px, y_px, still_x_px and still_y_px where background was followed, and match, the
        correlation with the first frame. Cells are empty where the point was not found.
    """
    source = "".join(letter if letter.isprintable() else "?" for letter in Path(track.take.source).name)
    lines = [
        f"# Track of {source}, point {_place(track.point)}; y counts down",
        f"# {track.frame_rate:.10g} frames a second",
    ]
    columns = [track.positions] if track.background is None else [track.positions, track.background]
    names = ["x_px", "y_px", "still_x_px", "still_y_px"][: 2 * len(columns)]
    lines.append(",".join(["frame", "time_s", *names, "match"]))
    table = np.column_stack([*columns, track.match])
    for frame, time, row in zip(track.frames, track.times, table, strict=True):
        cells = [f"{value:.4f}" if math.isfinite(value) else "" for value in row]
        lines.append(",".join([str(frame), f"{time:.7f}", *cells]))
    return "\n".join(lines) + "\n"


@dataclass(kw_only=True)
class _Raw:
    """What one pass through the video gives; first axis frames, second points, the prop's first."""

    places: FloatArray
    match: FloatArray
    way_back: FloatArray
    side: FloatArray
    why: dict[int, str]
    stamps: FloatArray
    differences: FloatArray
    errors: list[float]


def _follow_all(
    video: Video | FrameSource, point: Point, stills: Sequence[Point], half: int, progress: Progress | None
) -> _Raw:
    """Follow all points in one pass."""
    patches: list[Patch] = []
    places: list[FloatArray] = []
    quality: list[tuple[float, float, float]] = []
    stamps: list[float] = []
    differences: list[float] = []
    why: dict[int, str] = {}
    before: Frame | None = None
    for frame in video.frames():
        if before is None:
            patches = _first_looks(video, frame, point, stills, half)
            place = np.array([point, *stills], dtype=np.float64)
            quality.append((1.0, 0.0, 1.0))
            differences.append(np.nan)
        else:
            place = np.full((len(patches), 2), np.nan)
            for number, patch in enumerate(patches):
                found = patch.follow(frame)
                if isinstance(found, Lost):
                    if number == 0:
                        why[frame.number] = found.why
                        quality.append((np.nan,) * 3)
                    continue
                place[number] = found.place
                if number == 0:
                    quality.append((found.match, found.way_back, found.side))
            change = np.abs(frame.thin.astype(np.int16) - before.thin)
            differences.append(float(change.mean()))
        places.append(place)
        stamps.append(frame.time)
        before = frame
        if progress is not None:
            progress(frame.number + 1, video.info.promised)
    match, way_back, side = np.array(quality).T
    return _Raw(
        places=np.array(places),
        match=match,
        way_back=way_back,
        side=side,
        why=why,
        stamps=np.array(stamps),
        differences=np.array(differences),
        errors=[expected_error(patch.first) for patch in patches],
    )


def _first_looks(
    video: Video | FrameSource, frame: Frame, point: Point, stills: Sequence[Point], half: int
) -> list[Patch]:
    """Take the square around each point, or say which lies where none can be taken."""
    width, height = video.info.width, video.info.height
    patches = []
    for name, one, size in [("point", point, half), *(("still", one, HALF_SIZE) for one in stills)]:
        margin = size + MARGIN - HALF_SIZE
        if min(width, height) <= 2 * margin:
            says = f"has a picture of {width} x {height} px; {2 * margin + 1} each way are needed."
            raise _problem(video, "the file", says, None)
        x, y = one
        if not (margin <= x <= width - 1 - margin and margin <= y <= height - 1 - margin):
            raise _problem(
                video,
                name,
                f"lies outside the picture or too near its edge: x has to be {margin} to {width - 1 - margin} and "
                f"y {margin} to {height - 1 - margin}, since a square of {2 * size + 1} px around it is followed.",
                None,
                given=f"{x:g},{y:g}",
            )
        patch = Patch(frame, np.array(one, dtype=np.float64), size, rests=name == "still")
        if not expected_error(patch.first) < _UNCLEAR:
            raise _problem(
                video,
                name,
                "lies on a plain surface or a straight edge, where no place can be told from the next.",
                "Choose a corner, a print or a speck, or stick a small mark on; without --follow, points are "
                "proposed.",
                given=f"{x:g},{y:g}",
            )
        patches.append(patch)
    return patches


def _check_points(video: Video | FrameSource, raw: _Raw, half: int, notes: list[str]) -> float:
    """Say what the file and the texture of the points do to the track; the expected error of the point [px]."""
    frames, promised = len(raw.stamps), video.info.promised
    if frames < _LEAST_FRAMES:
        raise _problem(
            video,
            "the file",
            f"has {frames} frame{'' if frames == 1 else 's'}; at least {_LEAST_FRAMES} are needed.",
            "Film through the move and ten seconds on.",
        )
    if promised is not None and frames < 0.98 * promised - 1:
        notes.append(
            f"The file ends after {frames:,} of the {promised:,} frames it says it has: it is cut short or "
            "damaged there."
        )
    away = np.linalg.norm(raw.places[:, 0] - raw.places[0, 0], axis=1) > half
    if away.any() and np.median(raw.side[away]) < _PARTED:
        notes.append(
            f"One side of the square of {2 * half + 1} px around the point shows something that does not move with "
            "it, which pulls the track astray: name a point further inside the prop, or a smaller --square."
        )
    if raw.errors[0] > _ROUGH:
        notes.append(
            f"The point has little texture: each position is good to {raw.errors[0]:.2f} px at best. "
            "A small printed mark on the prop would do better."
        )
    return raw.errors[0]


def _clock(
    video: Video | FrameSource, stamps: FloatArray, frame_rate: float | None, rate_from: str, notes: list[str]
) -> tuple[FloatArray, float, NDArray[np.int64]]:
    """Give the time of each frame, the frames a second, and how many frames are missing after each."""
    own = video.info.rate
    numbers = np.arange(stamps.size)
    missing = np.zeros(stamps.size - 1, dtype=np.int64)
    steps = np.diff(stamps)
    usual = float(np.median(steps))
    clock_runs = bool((steps > 0.0).all()) and usual > 0.0
    # Times in whole milliseconds are rounded by one.
    uneven = clock_runs and float(np.abs(steps - usual).max()) > max(_UNEVEN * usual, 1.5e-3)
    if own is None and clock_runs:
        own = 1.0 / usual
    if frame_rate is None and own is None:
        raise _problem(
            video,
            "frame rate",
            "is not in the file.",
            "Give the rate as shot: --fps 50, or camera.frame_rate in the rig file.",
        )
    rate = frame_rate or own or 1.0
    if frame_rate is None:
        notes.append(
            f"Times count {rate:.6g} frames a second, as the file says. If it was shot faster and slowed down, "
            "that is wrong: give the rate as shot (--fps, or camera.frame_rate in the rig file)."
        )
    elif own is not None and abs(own - rate) > 0.01 * rate:
        notes.append(f"Times count {rate:.6g} frames a second, {rate_from}; the file plays at {own:.6g}.")
    else:
        notes.append(f"Times count {rate:.6g} frames a second, {rate_from}.")
    if not uneven:
        return numbers / rate, rate, missing
    counts = steps / usual
    whole = np.rint(counts)
    if np.abs(counts - whole).max() < _UNEVEN and whole.min() >= 1:
        missing = whole.astype(np.int64) - 1
        notes.append(
            f"{int(missing.sum())} frames are missing by the file's clock, the first after frame "
            f"{int(np.flatnonzero(missing)[0])}; the times take that into account."
        )
        return np.concatenate([[0.0], np.cumsum(whole)]) / rate, rate, missing
    usual_rate = 1.0 / usual
    stretch = 1.0 if frame_rate is None else usual_rate / frame_rate
    notes.append(
        f"The frames are not evenly spaced: {1e3 * steps.min():.1f} to {1e3 * steps.max():.1f} ms apart in the file. "
        "Its times were used; a camera set to a constant frame rate gives a better track."
    )
    return stretch * (stamps - stamps[0]), rate if frame_rate is not None else usual_rate, missing


def _repeats(differences: FloatArray, video: Video | FrameSource, notes: list[str]) -> NDArray[np.bool_]:
    """Find the frames that repeat the one before, while the picture changes around them."""
    count = differences.size
    half = _AROUND // 2
    padded = np.pad(differences[1:], half, mode="reflect") if count > _AROUND else differences[1:]
    if count > _AROUND:
        windows = np.lib.stride_tricks.sliding_window_view(padded, _AROUND)
        usual = np.quantile(windows, 0.75, axis=1)
    else:
        usual = np.full(count - 1, np.quantile(padded, 0.75))
    still = (differences[1:] < _REPEAT * usual) | (differences[1:] == 0.0)  # at rest without grain too
    repeats = np.concatenate([[False], still])
    edges = np.flatnonzero(np.diff(np.concatenate([[0], repeats.astype(np.int8), [0]])))
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        if end - start > _LONGEST_REPEAT or not usual[start - 1 : end - 1].all():
            repeats[start:end] = False
    total = int(repeats.sum())
    if total:
        text = (
            f"{total:,} of {count:,} frames repeat the one before (the first is frame {int(np.argmax(repeats))}); "
            "they were left out."
        )
        if total > 0.1 * count and video.info.rate is not None:
            text += (
                f" The file was probably brought from about {video.info.rate * (count - total) / count:.3g} to "
                f"{video.info.rate:.6g} frames a second: the rate to give is that of the file's frames in real time, "
                "or export it again without repeats."
            )
        notes.append(text)
    return repeats


def _background(places: FloatArray, positions: FloatArray, notes: list[str]) -> FloatArray:
    """Give where a fixed point near the prop would be, by the points that stay.

    Parameters
    ----------
    places : ndarray, (n, k, 2)
        The points that should stay [px], NaN where lost.
    positions : ndarray, (n, 2)
        The prop [px].
    notes : list of str
        Is added to.

    Returns
    -------
    ndarray, (n, 2)
        The first of those points as the camera's shake carries it at the place of the prop [px], NaN where no point
        was found.

    Notes
    -----
    One or two points give a shift, the median over points. From three on, the picture may also turn and grow: with
    places as complex numbers, z' = a z + b is fitted by least squares, in which a point that is further off than
    twice the median weighs less by the square of that (five rounds). That is used where it leaves clearly less than
    shifts alone do.
    """
    z = places[..., 0] + 1j * places[..., 1]
    start = z[0]
    seen = np.isfinite(z)
    shifts = z - start
    with np.errstate(all="ignore"):
        shift = np.full(len(z), np.nan, dtype=complex)
        some = seen.any(axis=1)
        shift[some] = np.nanmedian(shifts[some].real, axis=1) + 1j * np.nanmedian(shifts[some].imag, axis=1)
    moved = shift
    turned = False
    if z.shape[1] >= 3:
        full = seen.sum(axis=1) >= 2
        scale, offset, left = _similarity(start, np.where(seen, z, 0.0)[full], seen[full])
        plain = np.abs((shifts - shift[:, None])[full][seen[full]])
        if (
            plain.size
            and np.median(left[seen[full]]) < _BETTER * np.median(plain)
            and np.median(plain) > _FLOOR
        ):
            turned = True
            prop = positions[full, 0] + 1j * positions[full, 1]
            moved = np.full(len(z), np.nan, dtype=complex)
            moved[full] = prop - (prop - offset) / scale
    there = np.isfinite(moved)
    way = moved[there]
    if way.size:
        span = max(float(np.ptp(way.real)), float(np.ptp(way.imag)))
        how = "its turning included" if turned else "as a shift"
        few = f"{z.shape[1]} points of the background" if z.shape[1] > 1 else "one point of the background"
        notes.append(f"Camera shake was followed by {few}, {how}: {span:.2g} px from end to end.")
    fixed = start[0] + moved
    return np.column_stack([fixed.real, fixed.imag])


def _similarity(
    start: NDArray[np.complex128], z: NDArray[np.complex128], seen: NDArray[np.bool_]
) -> tuple[NDArray[np.complex128], NDArray[np.complex128], FloatArray]:
    """Fit z = a start + b in each row: a, b, and how far each point is off [px]."""
    weights = seen.astype(np.float64)
    left = np.zeros_like(weights)
    a = np.ones(len(z), dtype=complex)
    b = np.zeros(len(z), dtype=complex)
    for _ in range(5):
        total = weights.sum(axis=1)
        middle = (weights * start).sum(axis=1) / total
        there = (weights * z).sum(axis=1) / total
        from_middle = start - middle[:, None]
        a = (weights * np.conj(from_middle) * (z - there[:, None])).sum(axis=1) / (
            weights * np.abs(from_middle) ** 2
        ).sum(axis=1)
        b = there - a * middle
        left = np.abs(z - a[:, None] * start - b[:, None])
        spread = np.maximum(np.nanmedian(np.where(seen, left, np.nan), axis=1), _FLOOR)
        weights = seen * np.minimum(1.0, 2.0 * spread[:, None] / np.maximum(left, 1e-12)) ** 2
    return a, b, left


def _tell_lost(
    raw: _Raw, repeats: NDArray[np.bool_], stills: Sequence[Point], times: FloatArray, notes: list[str]
) -> None:
    """Say when the point was lost, and which background points are of no use."""
    lost = ~np.isfinite(raw.places[:, 0]).all(axis=1) & ~repeats
    edges = np.flatnonzero(np.diff(np.concatenate([[0], lost.astype(np.int8), [0]])))
    spans = list(zip(edges[::2], edges[1::2], strict=True))
    for start, end in spans[:5]:
        why = raw.why.get(int(start), "it was not found")
        if end == lost.size:
            notes.append(
                f"The point was lost for good at frame {start} ({times[start]:.3g} s): {why}. "
                "If it is still in view there, name a point further inside the prop, or with more texture."
            )
        elif end - start == 1:
            notes.append(f"The point was lost in frame {start} ({times[start]:.3g} s): {why}.")
        else:
            notes.append(f"The point was lost from frame {start} to {end - 1} ({times[start]:.3g} s): {why}.")
    if len(spans) > 5:
        notes.append(
            f"It was lost {len(spans) - 5} more time{'' if len(spans) == 6 else 's'}, "
            f"{int(lost.sum()):,} frames in all."
        )
    gone = np.isnan(raw.places[:, 1:, 0])
    often = [(still, lost) for still, lost in zip(stills, gone.T, strict=True) if lost.mean() > _OFTEN]
    if often:
        places = "; ".join(f"{_place(still)} from frame {int(np.argmax(lost))}" for still, lost in often)
        notes.append(
            f"{len(often)} of {len(stills)} background points were hidden or lost in many frames ({places}); there "
            "the others were used."
        )


def _place(point: Point) -> str:
    return f"{point[0]:g},{point[1]:g}"


def _problem(
    video: Video | FrameSource, where: str, says: str, hint: str | None, *, given: str | None = None
) -> InputError:
    return InputError(video.source, [Problem(where=where, given=given, says=says, hint=hint)])
