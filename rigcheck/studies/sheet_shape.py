"""The settled supports as curves in space, for drawing: what the engine solved, place by place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.statics import centre_lines, settle
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.rigs import GRAVITY, build_frame

__all__ = ["Curve", "settled_curves"]

Array = NDArray[np.float64]

_STATIONS = np.linspace(0.0, 1.0, 25)
"""Places along each straight piece."""
_DOWN = np.array([0.0, -GRAVITY, 0.0])


@dataclass(frozen=True, kw_only=True, eq=False)
class Curve:
    """One support before and after it has given way to the weight.

    Attributes
    ----------
    unloaded, settled : array, shape (n, 3)
        The same places of its centre line [m], root to tip, from the first support's unloaded tip.
    along : array, shape (n,)
        Their distance from the root along the unloaded support [m].
    """

    unloaded: Array
    settled: Array
    along: Array


def settled_curves(still: Outcome) -> tuple[Curve, ...]:
    """Give every support's centre line before and after settling.

    Parameters
    ----------
    still : Outcome
        At rest and solved; the first variant is used.

    Returns
    -------
    tuple of Curve

    Notes
    -----
    The same frame, load and theory as `rigcheck.studies.evaluate`: linear with the stiffness that the weight
    brings, or geometrically exact where that outcome is.
    """
    frame, _ = build_frame(still.rig, order=still.settings.order)
    starts = [support.points[0, :-1] for support in frame.supports]
    steps = [np.diff(support.points[0], axis=0) for support in frame.supports]
    unloaded = [
        (start[:, None] + _STATIONS[:, None] * step[:, None]).reshape(-1, 3)
        for start, step in zip(starts, steps, strict=True)
    ]
    if still.large[0]:
        from rigcheck.mechanics.large import settle_large

        large = settle_large(frame.supports, frame.prop, _DOWN, shear=still.settings.shear)
        moved = [line[0] for line in large.centre_line(_STATIONS)]
    else:
        settled = settle(frame, frame.inertial_load(_DOWN), load_stiffens=still.settings.gravity_stiffness)
        shifts = centre_lines(frame, settled.state, _STATIONS)
        moved = [line + shift[0] for line, shift in zip(unloaded, shifts, strict=True)]
    return tuple(_curve(line, at) for line, at in zip(unloaded, moved, strict=True))


def _curve(unloaded: Array, settled: Array) -> Curve:
    """A curve without the places that two pieces share."""
    steps = np.linalg.norm(np.diff(unloaded, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    kept = np.concatenate([[True], steps > 1e-12 * along[-1]])
    return Curve(unloaded=unloaded[kept], settled=settled[kept], along=along[kept])
