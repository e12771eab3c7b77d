"""The settled supports as curves in space, for drawing: what the engine solved, place by place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.frame import PROP_FREEDOMS
from rigcheck.mechanics.statics import centre_lines, settle
from rigcheck.mechanics.turns import from_vector, rotation_matrix
from rigcheck.studies.evaluate import Outcome, large_elements
from rigcheck.studies.rigs import DOWN, build_frame, take

__all__ = ["Curve", "settled_curves"]

Array = NDArray[np.float64]

_STATIONS = np.linspace(0.0, 1.0, 25)
"""Places along each straight piece."""


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
    The same frame, load and theory as `rigcheck.studies.evaluate`: linear with the stiffness that the weight brings,
    or geometrically exact where that outcome is; with the bend that a yielding wire takes on. Slack lines carry
    nothing and are drawn straight.
    """
    rig = take(still.rig, slice(0, 1))
    taut = ~still.slack[0]
    if not taut.all():
        from rigcheck.studies.slack import without

        rig = without(rig, taut)
    frame, _ = build_frame(rig, order=still.settings.order)
    unloaded = [_places(support.points[0]) for support in frame.supports]
    if still.large[0]:
        from rigcheck.mechanics.large import settle_large

        large = settle_large(
            frame.supports,
            frame.prop,
            DOWN,
            push=rig.push,
            natural=still.natural,
            shear=still.settings.shear,
            elements=int(large_elements(frame, DOWN, still.settings, bent=still.natural is not None)[0]),
        )
        moved = [line[0] for line in large.centre_line(_STATIONS)]
    else:
        load = frame.inertial_load(DOWN)
        if rig.push is not None:
            load[:, :PROP_FREEDOMS] += rig.push
        settled = settle(frame, load, load_stiffens=still.settings.gravity_stiffness)
        shifts = centre_lines(frame, settled.state, _STATIONS)
        moved = [line + shift[0] for line, shift in zip(unloaded, shifts, strict=True)]
        if still.yielding is not None and np.isfinite(still.yielding).all():
            moved = [
                _with_bend(line, at, still, settled.state[0, :PROP_FREEDOMS])
                for line, at in zip(unloaded, moved, strict=True)
            ]
    found = iter([_curve(line, at) for line, at in zip(unloaded, moved, strict=True)])
    return tuple(
        next(found) if pulls else _limp(still, support.points[0])
        for pulls, support in zip(taut, still.rig.supports, strict=True)
    )


def _with_bend(unloaded: Array, settled: Array, still: Outcome, elastic: Array) -> Array:
    """A curve with what yielding adds to it: small, right at both ends and in its slope there, a cubic between."""
    turn = still.rotation[0] - elastic[3:]
    arm = unloaded[-1] - still.rig.centre_of_mass[0]
    shift = still.displacement[0] - elastic[:3] + np.cross(turn, arm)
    steps = np.linalg.norm(np.diff(unloaded, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    s = (along / along[-1])[:, None]
    way = unloaded[-1] - unloaded[-2]
    slope = np.cross(turn, way / np.linalg.norm(way)) * along[-1]
    return np.asarray(settled + shift * (3 * s**2 - 2 * s**3) + slope * (s**3 - s**2))


def _limp(still: Outcome, points: Array) -> Curve:
    """A slack line, drawn straight from its root to where the prop has taken its tip."""
    turn = rotation_matrix(from_vector(still.rotation[0]))
    centre = still.rig.centre_of_mass[0]
    tip = centre + still.displacement[0] + turn @ (points[-1] - centre)
    return _curve(_places(points), _places(np.stack([points[0], tip]), pieces=len(points) - 1))


def _places(points: Array, *, pieces: int = 1) -> Array:
    """The stations of each straight piece of a polyline, or of a single piece cut into `pieces`."""
    if pieces > 1:
        points = points[0] + np.linspace(0.0, 1.0, pieces + 1)[:, None] * (points[-1] - points[0])
    steps = np.diff(points, axis=0)
    return np.asarray((points[:-1, None] + _STATIONS[:, None] * steps[:, None]).reshape(-1, 3))


def _curve(unloaded: Array, settled: Array) -> Curve:
    """A curve without the places that two pieces share."""
    steps = np.linalg.norm(np.diff(unloaded, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    kept = np.concatenate([[True], steps > 1e-12 * along[-1]])
    return Curve(unloaded=unloaded[kept], settled=settled[kept], along=along[kept])
