"""What the command ``explain`` is told about a take that is a video: which points to follow, and what to write."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from rigcheck.errors import InputError, Problem
from rigcheck.files.video import (
    Progress,
    TrackedVideo,
    Video,
    marked_picture,
    propose_points,
    track_csv,
    track_video,
)
from rigcheck.files.video_points import Proposals
from rigcheck.files.writing import check_free, write_whole
from rigcheck.units import shown

__all__ = ["Followed", "follow_video"]

_PLACE = re.compile(r"\s*([0-9]{1,6}(?:\.[0-9]{1,6})?)\s*[,;]\s*([0-9]{1,6}(?:\.[0-9]{1,6})?)\s*")
_NUMBER = re.compile(r"\s*([0-9]{1,3})\s*")


@dataclass(frozen=True, kw_only=True)
class Followed:
    """What came of it.

    Attributes
    ----------
    track : TrackedVideo
        The track.
    proposals : Proposals or None
        The points proposed; None where all were named.
    written : tuple of Path
        The files written.
    says : tuple of str
        The proposed points, which of them was followed, and the files written, line by line.
    """

    track: TrackedVideo
    proposals: Proposals | None
    written: tuple[Path, ...]
    says: tuple[str, ...]


def follow_video(
    path: str | Path,
    *,
    follow: str | None = None,
    still: Sequence[str] = (),
    square: int | None = None,
    frame_rate: float | None = None,
    rate_from: str = "as given",
    track_to: Path | None = None,
    marks: Path | None = None,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> Followed:
    """Follow a point through a video as the flags say.

    Parameters
    ----------
    path : str or Path
        The video.
    follow : str, optional
        The point in the first frame, ``612,340`` [px], or the number of a proposed one. The strongest that moves if
        left out.
    still : sequence of str
        Fixed points in the same way; proposed ones if left out, none where the one word is ``none``.
    square : int, optional
        Side of the square that is followed [px].
    frame_rate, rate_from : float, str, optional
        Frames a second as shot [Hz], and where that comes from.
    track_to, marks : Path, optional
        Where to write the track (CSV) and the first frame with the proposed points marked (PNG).
    overwrite : bool, optional
        Whether they may replace files that are there.
    progress : callable, optional
        Called with the frames done and in all.

    Returns
    -------
    Followed
        The track and what was written.

    Raises
    ------
    InputError
        A flag cannot be read, or see `track_video`.
    OutputError
        A file to be written is there already, or cannot be written.
    """
    # Before minutes of work, not after.
    for target in (track_to, marks):
        if target is not None:
            check_free(target, overwrite=overwrite)
    no_still = [text.strip().lower() for text in still] == ["none"]
    named = [] if no_still else list(still)
    video = Video(path)
    by_number = [text for text in (*([] if follow is None else [follow]), *named) if _NUMBER.fullmatch(text)]
    proposals = None
    if follow is None or by_number or not still or marks is not None:
        proposals = propose_points(video, progress=progress)
    written = []
    if marks is not None and proposals is not None:
        # First, so that the marks are there to choose by even where following fails.
        written.append(write_whole(marks, marked_picture(video, proposals), overwrite=overwrite))
    point = None if follow is None else _place("--follow", follow, proposals)
    stills: Sequence[tuple[float, float]] | Literal["auto"] = "auto"
    if still:
        stills = [_place("--still", text, proposals) for text in named]
    track = track_video(
        video,
        point=point,
        still=stills,
        frame_rate=frame_rate,
        rate_from=rate_from,
        square=square,
        proposals=proposals,
        progress=progress,
    )
    if track_to is not None:
        written.append(write_whole(track_to, track_csv(track), overwrite=overwrite))
    says = [] if proposals is None else _listed(proposals, track)
    says += [f"Written: {path}" for path in written]
    return Followed(track=track, proposals=proposals, written=tuple(written), says=tuple(says))


def _listed(proposals: Proposals, track: TrackedVideo) -> list[str]:
    """The proposed points as a short list."""
    lines = []
    for title, group in (("Points that move", proposals.moving), ("Points that stay", proposals.still)):
        if not group:
            continue
        lines.append(f"{title} (x,y in the first frame, from the top left):")
        for one in group:
            used = (one.x, one.y) == track.point or (one.x, one.y) in track.still
            move = f"moves {one.extent:.3g} px, " if one.moving else ""
            place = f"{one.x:g},{one.y:g}"
            lines.append(
                f"  {one.number:>2}  {place:<10} {move}good to {max(one.expected_error, 0.01):.2f} px"
                f"{', followed' if used else ''}"
            )
    if proposals.moving:
        lines.append("Another one: --follow with its number or place; --marks FILE.png shows where they are.")
    return lines


def _place(flag: str, text: str, proposals: Proposals | None) -> tuple[float, float]:
    """Read one point."""
    if found := _PLACE.fullmatch(text):
        return float(found[1]), float(found[2])
    says = "is not a place in the picture: x and y in pixels of the first frame, from the top left."
    hint = f'Write it like "{flag} 612,340".'
    if (found := _NUMBER.fullmatch(text)) and proposals is not None:
        every = (*proposals.moving, *proposals.still)
        for one in every:
            if one.number == int(found[1]):
                return one.x, one.y
        says = f"is no point that was proposed: there are {len(every)}."
        hint = "Name a place in the first frame, x,y in pixels from the top left."
    problem = Problem(where=flag, given=shown(text, 40), says=says, hint=hint)
    raise InputError("flags", [problem])
