"""Clean it up in post or rig it again, by the user's own rates."""

from __future__ import annotations

import numpy as np

from rigcheck.model import Shot
from rigcheck.studies.contributions import Said, skipped
from rigcheck.studies.hiding import Shown
from rigcheck.studies.results import Figure, Finding, Status

__all__ = ["weigh_cleanup"]

_CLEANUP = "clean-up"


def weigh_cleanup(shot: Shot, shown: Shown | None, said: Said) -> None:
    """Weigh cleaning up against rigging again, by the user's own rates."""
    post = shot.post
    if post is None:
        return
    reason = None
    if post.cleanup is None and post.cleanup_per_megapixel is None:
        reason = "No rate is given: add cleanup or cleanup_per_megapixel to [post]."
    elif shown is None:
        reason = "What shows of the support is not known."
    elif shown.frames is None:
        reason = "The frames cannot be counted without a move and the camera's frame_rate."
    if reason is not None or shown is None:
        said.findings.append(skipped("cleanup", _CLEANUP, reason or ""))
        return
    from rigcheck.picture.cleanup import time_by_area, time_by_frames, weigh

    if post.cleanup is not None:
        time = float(time_by_frames(shown.visible_frames, time_per_frame=post.cleanup.m_as("s")))
        how = f"{shown.visible_frames:,} frames at {post.cleanup}"
    else:
        assert post.cleanup_per_megapixel is not None
        rate = post.cleanup_per_megapixel.m_as("s")
        time = float(time_by_area(np.array([shown.total]), time_per_megapixel=rate))
        how = f"{shown.total / 1e6:.3g} megapixels at {post.cleanup_per_megapixel}"
    said.figures.append(Figure(label=_CLEANUP, value=_time_words(time), note=f"{how}, your rate"))
    said.assumptions.append("Clean-up counts the frames of the moves; a hold before or after comes on top.")
    parts = [part for part in (post.rerig, post.take) if part is not None]
    if not parts:
        return
    choice = weigh(time, sum(part.m_as("s") for part in parts))
    again = _time_words(choice.rerig_time)
    advice: tuple[str, ...] = ()
    if time == 0:
        says = "Nothing of the support shows, so there is nothing to clean up."
    elif choice.saving > 0:
        says = (
            f"Cleaning it up takes {_time_words(time)} by your rate; to rig and shoot it again takes {again}."
        )
        advice = (
            f"Rig it again so that the support is hidden: that saves {_time_words(choice.saving)}.",
            f"Cleaning up is as quick at {choice.break_even:.2g} times your rate.",
        )
    else:
        says = (
            f"Cleaning it up takes {_time_words(time)} by your rate, no longer than the {again} to rig and shoot it"
            " again."
        )
    said.findings.append(
        Finding(
            id="cleanup",
            label=_CLEANUP,
            status=Status.CAUTION if choice.saving > 0 else Status.PASS,
            value=choice.cleanup_time / 60,
            limit=choice.rerig_time / 60,
            unit="min",
            says=says,
            advice=advice,
        )
    )
    said.assumptions.append("Rigging again is taken to hide the support in every frame.")


def _time_words(time: float) -> str:
    if time < 90:
        return f"{time:.2g} s"
    return f"{time / 60:.3g} min" if time < 5400 else f"{time / 3600:.3g} h"
